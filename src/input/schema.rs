//! JSON Schemas of the three files, for editors that complete and check.
//!
//! They say what a schema can say: keys, types, ranges and combinations. Names that must
//! be known, and numbers that must fit each other, are left to the readers. A file that a
//! reader accepts is always valid by its schema.

/// The kinds of file that a person writes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// `*.layout.json`
    Layout,
    /// `*.objectives.json`
    Objectives,
    /// `*.brief.json`
    Brief,
}

/// The text of the JSON Schema (2020-12) of that kind of file.
#[must_use]
pub const fn text(kind: Kind) -> &'static str {
    match kind {
        Kind::Layout => include_str!("schema/layout.schema.json"),
        Kind::Objectives => include_str!("schema/objectives.schema.json"),
        Kind::Brief => include_str!("schema/brief.schema.json"),
    }
}

#[cfg(test)]
mod tests;
