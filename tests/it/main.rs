//! Integration tests, one binary.

mod agreement;
mod cli;
mod closed_form;
mod command_search;
mod costs;
mod demo;
mod derivatives;
mod drift;
mod endings;
mod faults;
mod free_points;
mod handbook;
mod invariance;
mod linkages;
mod oracle;
mod planted;
mod published;
mod reference_layouts;
mod reference_problem;
mod room;
mod search_invariance;
mod sensitivity;
mod structure;
mod target_forms;
mod trial;
mod variants;
