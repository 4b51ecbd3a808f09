//! Finds where the pivots of a bicycle's rear suspension should go.
pub mod input;
pub mod number;
pub mod optimise;
