//! Integration tests, one binary.

mod agreement;
mod cli;
mod closed_form;
mod demo;
mod derivatives;
mod endings;
mod faults;
mod handbook;
mod invariance;
mod linkages;
mod oracle;
mod published;
mod reference_layouts;
mod structure;
