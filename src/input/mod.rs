//! stub
pub mod layout;
pub mod quantity;
pub use layout::*;
pub use quantity::*;
#[derive(Debug)]
pub struct Faults(pub Vec<Fault>);
#[derive(Debug, Clone)]
pub struct Fault {
    pub file: String,
    pub path: String,
    pub found: String,
    pub expected: String,
    pub suggestion: Option<String>,
}
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Place {
    Top,
    Sag,
    End,
    Fraction(f64),
}
