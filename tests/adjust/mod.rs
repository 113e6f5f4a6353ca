//! Scenarios with keys set in their text, and engines held where a figure is read.

pub(crate) mod bench;
pub(crate) mod car;
pub(crate) mod figures;
pub(crate) mod table;
