//! Finds where the pivots of a bicycle's rear suspension should go.
pub mod cli;
pub mod curves;
pub mod design;
pub mod input;
pub mod mechanism;
pub mod number;
pub mod optimise;
pub mod report;
pub mod study;
