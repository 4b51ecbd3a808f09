//! Constrained optimisation that knows no mechanism.
