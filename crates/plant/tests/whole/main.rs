//! The plant as a whole: books that close, figures that are plausible, and no input that breaks it.
#![expect(clippy::print_stdout, reason = "how much was tried is worth telling")]

mod books;
mod figures;
mod harsh;
mod kinds;
mod rig;
mod running;
