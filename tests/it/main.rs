//! Integration tests, one binary.

mod agreement;
mod linkages;
mod oracle;
mod reference_layouts;
