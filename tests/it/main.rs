//! Integration tests, one binary.

mod agreement;
mod closed_form;
mod derivatives;
mod endings;
mod handbook;
mod invariance;
mod linkages;
mod oracle;
mod reference_layouts;
mod structure;
