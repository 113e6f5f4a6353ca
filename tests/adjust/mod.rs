//! Scenarios with keys set in their text, and engines at the operating points of the measurements.

pub(crate) mod bench;
pub(crate) mod car;
pub(crate) mod figures;
pub(crate) mod table;
