//! stub
#[derive(Clone, Debug)]
pub struct Contradiction;
pub fn contradictions() {}
