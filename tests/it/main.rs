//! Integration tests, one binary.

mod cli;
mod faults;
mod published;
mod reference_layouts;
