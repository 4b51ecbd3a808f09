//! `schema`: the JSON Schema of a kind of file.

use super::args::{SchemaArguments, SchemaKind};
use super::{Outcome, print};
use crate::input::schema::{Kind, text};

/// Prints the schema.
pub(super) fn run(arguments: &SchemaArguments) -> anyhow::Result<Outcome> {
    let kind = match arguments.kind {
        SchemaKind::Layout => Kind::Layout,
        SchemaKind::Objectives => Kind::Objectives,
        SchemaKind::Brief => Kind::Brief,
    };
    print(text(kind))?;
    Ok(Outcome::Met)
}
