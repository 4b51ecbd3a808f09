//! Integration tests, one binary.

mod reference_layouts;
