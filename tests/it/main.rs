//! Integration tests, one binary.

mod published;
mod reference_layouts;
