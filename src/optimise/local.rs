//! argmin frame, to come.
/// Placeholder.
pub struct LocalSolver;
