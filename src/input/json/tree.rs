//! JSON text as a tree that keeps repeated keys.

use crate::input::fault::{Fault, Faults, quoted};
use serde::de::{Deserialize, Deserializer, MapAccess, SeqAccess, Visitor};
use serde_json::Number;
use std::fmt;

/// A JSON value with every key, repeated ones too.
#[derive(Clone, Debug)]
pub(in crate::input) enum Value {
    Null,
    Truth(bool),
    Number(Number),
    Text(String),
    List(Vec<Value>),
    Object(Vec<(String, Value)>),
}

impl Value {
    /// The words for what was found.
    pub(super) fn describe(&self) -> String {
        match self {
            Self::Null => "null".into(),
            Self::Truth(truth) => truth.to_string(),
            Self::Number(number) => number.to_string(),
            Self::Text(text) if text.chars().count() > 60 => {
                quoted(&format!("{}...", text.chars().take(60).collect::<String>()))
            }
            Self::Text(text) => quoted(text),
            Self::List(items) if items.is_empty() => "an empty list".into(),
            Self::List(items) => format!("a list of {}", items.len()),
            Self::Object(_) => "an object".into(),
        }
    }

    /// Whether any key or text within satisfies `test`.
    pub(in crate::input) fn mentions(&self, test: fn(&str) -> bool) -> bool {
        match self {
            Self::Text(text) => test(text),
            Self::List(items) => items.iter().any(|item| item.mentions(test)),
            Self::Object(entries) => entries
                .iter()
                .any(|(key, value)| test(key) || value.mentions(test)),
            Self::Null | Self::Truth(_) | Self::Number(_) => false,
        }
    }
}

impl<'de> Deserialize<'de> for Value {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_any(ValueVisitor)
    }
}

struct ValueVisitor;

impl<'de> Visitor<'de> for ValueVisitor {
    type Value = Value;

    fn expecting(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str("a JSON value")
    }

    fn visit_unit<E>(self) -> Result<Value, E> {
        Ok(Value::Null)
    }

    fn visit_bool<E>(self, truth: bool) -> Result<Value, E> {
        Ok(Value::Truth(truth))
    }

    fn visit_i64<E>(self, number: i64) -> Result<Value, E> {
        Ok(Value::Number(number.into()))
    }

    fn visit_u64<E>(self, number: u64) -> Result<Value, E> {
        Ok(Value::Number(number.into()))
    }

    fn visit_f64<E>(self, number: f64) -> Result<Value, E> {
        Ok(Number::from_f64(number).map_or(Value::Null, Value::Number))
    }

    fn visit_str<E>(self, text: &str) -> Result<Value, E> {
        Ok(Value::Text(text.into()))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut items: A) -> Result<Value, A::Error> {
        let mut list = Vec::new();
        while let Some(item) = items.next_element()? {
            list.push(item);
        }
        Ok(Value::List(list))
    }

    fn visit_map<A: MapAccess<'de>>(self, mut entries: A) -> Result<Value, A::Error> {
        let mut object = Vec::new();
        while let Some(entry) = entries.next_entry()? {
            object.push(entry);
        }
        Ok(Value::Object(object))
    }
}

/// The tree of `text`, or the fault of syntax with its line and column.
pub(in crate::input) fn parse(file: &str, text: &str) -> Result<Value, Faults> {
    // Some editors put a byte order mark in front, which means nothing in UTF-8.
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    serde_json::from_str(text).map_err(|error| {
        let (line, column) = (error.line(), error.column());
        let message = error.to_string();
        let message = message.split(" at line ").next().unwrap_or_default();
        let expected = message.strip_prefix("expected ").map_or_else(
            || format!("valid JSON ({message})"),
            |rest| format!("{rest} (JSON)"),
        );
        let found = text
            .lines()
            .nth(line.saturating_sub(1))
            .and_then(|line| line.get(column.saturating_sub(1)..))
            .and_then(|rest| rest.chars().next())
            .filter(|_| !error.is_eof())
            .map_or_else(
                || "the end of the line".into(),
                |letter| quoted(&letter.to_string()),
            );
        let found = if error.is_eof() {
            "the end of the text".into()
        } else {
            found
        };
        let commaless = message.starts_with("expected `,`") && !error.is_eof();
        if let Some((line, column)) = end_before(text, line, column).filter(|_| commaless) {
            // The comma is missing there, not where the next line begins.
            return Fault::new(
                file,
                format!("line {line}, column {column}"),
                "the end of the line",
                expected,
            )
            .into();
        }
        Fault::new(
            file,
            format!("line {line}, column {column}"),
            found,
            expected,
        )
        .into()
    })
}

/// The place just after what stands before a place, if that is on an earlier line.
fn end_before(text: &str, line: usize, column: usize) -> Option<(usize, usize)> {
    let lines: Vec<&str> = text.lines().take(line).collect();
    let (last, earlier) = lines.split_last()?;
    let own = last.get(..column.saturating_sub(1))?;
    if !own.trim().is_empty() {
        return None;
    }
    let index = earlier.iter().rposition(|line| !line.trim().is_empty())?;
    Some((index + 1, earlier[index].trim_end().len() + 1))
}
