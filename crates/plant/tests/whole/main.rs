//! The plant as a whole: books that close, figures that are plausible, and no input that breaks it.

mod books;
mod figures;
mod harsh;
mod kinds;
mod rig;
mod running;
