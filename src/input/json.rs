//! A walk over JSON that goes on past a fault, so that all are found at once.
//!
//! Text becomes an own tree first, because the usual ones keep only the last of two equal
//! keys. A [`Node`] is a place in that tree, present or absent, that knows its path;
//! its readers either return a value or put a fault into the common [`Sink`] and return
//! nothing, so that a fault is reported once and where it is.

#[cfg(test)]
mod tests;
mod tree;

pub(super) use tree::{Value, parse};

use super::fault::{Fault, Faults, nearest, quoted, quoted_list};
use crate::number::Point;
use std::cell::RefCell;

/// Coordinates beyond 10 m are no bicycle's, mm.
pub(crate) const FARTHEST: f64 = 10_000.0;
/// An allowance or width below this is a slip; dividing by it would overflow sooner or later.
pub(super) const SMALLEST: f64 = 1e-9;
/// Beyond this no quantity of a suspension lies, whatever its unit.
const LARGEST: f64 = 1e9;

/// Where the faults of one file gather.
pub(super) struct Sink<'t> {
    pub(super) file: &'t str,
    faults: RefCell<Vec<Fault>>,
}

impl<'t> Sink<'t> {
    pub(super) fn new(file: &'t str) -> Self {
        Self {
            file,
            faults: RefCell::default(),
        }
    }

    pub(super) fn push(&self, fault: Fault) {
        self.faults.borrow_mut().push(fault);
    }

    pub(super) fn fault(
        &self,
        path: impl Into<String>,
        found: impl Into<String>,
        expected: impl Into<String>,
    ) {
        self.push(Fault::new(self.file, path, found, expected));
    }

    pub(super) fn into_faults(self) -> Vec<Fault> {
        self.faults.into_inner()
    }

    /// The value read, unless there were faults.
    pub(super) fn finish<T>(self, value: Option<T>) -> Result<T, Faults> {
        let faults = self.faults.into_inner();
        match value {
            Some(value) if faults.is_empty() => Ok(value),
            _ => {
                debug_assert!(
                    !faults.is_empty(),
                    "a reader returned nothing without a fault"
                );
                Err(Faults(faults))
            }
        }
    }
}

/// `path` lengthened by `key`, quoted where it is not a plain word.
pub(super) fn join(path: &str, key: &str) -> String {
    let plain = |letter: char| letter.is_alphanumeric() || matches!(letter, '_' | '-');
    if key.is_empty() || !key.chars().all(plain) {
        format!("{path}[{}]", quoted(key))
    } else if path.is_empty() {
        key.into()
    } else {
        format!("{path}.{key}")
    }
}

/// The shortest text of `number` that is read back as the same bits.
pub(super) fn number_text(number: f64) -> String {
    if number != 0.0 && !(1e-5..1e17).contains(&number.abs()) {
        format!("{number:e}")
    } else {
        format!("{number}")
    }
}

/// A place in the tree: a value, or where one is missing.
#[derive(Clone)]
pub(super) struct Node<'t> {
    pub(super) sink: &'t Sink<'t>,
    pub(super) path: String,
    value: Option<&'t Value>,
}

impl<'t> Node<'t> {
    pub(super) fn root(sink: &'t Sink<'t>, value: &'t Value) -> Self {
        Self {
            sink,
            path: String::new(),
            value: Some(value),
        }
    }

    /// The node, if there is anything there.
    pub(super) fn given(self) -> Option<Self> {
        self.value.is_some().then_some(self)
    }

    pub(super) fn value(&self) -> Option<&'t Value> {
        self.value
    }

    /// Reports that `expected` should stand here, and returns nothing.
    pub(super) fn fault<T>(&self, expected: impl Into<String>) -> Option<T> {
        self.fault_suggesting(expected, None)
    }

    /// As [`Node::fault`], with a suggestion as it would stand in the file.
    pub(super) fn fault_suggesting<T>(
        &self,
        expected: impl Into<String>,
        suggestion: Option<String>,
    ) -> Option<T> {
        let found = self.value.map_or_else(|| "nothing".into(), Value::describe);
        let fault = Fault::new(self.sink.file, &self.path, found, expected);
        self.sink.push(fault.suggesting(suggestion));
        None
    }

    fn child(&self, key: &str, value: Option<&'t Value>) -> Self {
        Self {
            sink: self.sink,
            path: join(&self.path, key),
            value,
        }
    }

    /// An object whose keys are the reader's own names; blank and repeated ones are faults.
    pub(super) fn entries(&self, what: &str) -> Option<Vec<(&'t str, Self)>> {
        let Some(Value::Object(entries)) = self.value else {
            return self.fault(what);
        };
        for (index, (key, value)) in entries.iter().enumerate() {
            let earlier = entries[..index]
                .iter()
                .filter(|(other, _)| other == key)
                .count();
            if earlier == 1 {
                let path = self.child(key, Some(value)).path;
                self.sink
                    .fault(path, format!("the key {} twice", quoted(key)), "it once");
            }
        }
        let children = entries
            .iter()
            .map(|(key, value)| (&**key, self.child(key, Some(value))));
        Some(children.collect())
    }

    /// An object with no keys but `known`.
    pub(super) fn object(&self, known: &'static [&'static str], what: &str) -> Option<Object<'t>> {
        self.object_explaining(known, what, |_| None)
    }

    /// As [`Node::object`]; where an unknown key has an explanation, that is what was expected.
    pub(super) fn object_explaining(
        &self,
        known: &'static [&'static str],
        what: &str,
        explain: impl Fn(&str) -> Option<&'static str>,
    ) -> Option<Object<'t>> {
        for (key, child) in self.entries(what)? {
            if known.contains(&key) {
                continue;
            }
            let found = format!("the unknown key {}", quoted(key));
            let fault = if let Some(explanation) = explain(key) {
                Fault::new(self.sink.file, child.path, found, explanation)
            } else {
                let expected = format!("one of {}", quoted_list(known.iter().copied()));
                Fault::new(self.sink.file, child.path, found, expected)
                    .suggesting(nearest(key, known.iter().copied()).map(quoted))
            };
            self.sink.push(fault);
        }
        Some(Object { node: self.clone() })
    }

    pub(super) fn list(&self, what: &str) -> Option<Vec<Self>> {
        let Some(Value::List(items)) = self.value else {
            return self.fault(what);
        };
        let child = |(index, item)| Self {
            sink: self.sink,
            path: format!("{}[{index}]", self.path),
            value: Some(item),
        };
        Some(items.iter().enumerate().map(child).collect())
    }

    /// A list of exactly `N`.
    pub(super) fn list_of<const N: usize>(&self, what: &str) -> Option<[Self; N]> {
        let items = self.list(what)?;
        items.try_into().ok().or_else(|| self.fault(what))
    }

    /// Text that is not blank and has no control characters.
    pub(super) fn text(&self, what: &str) -> Option<&'t str> {
        match self.value {
            Some(Value::Text(text)) if is_name(text) => Some(text),
            Some(Value::Text(_)) => self.fault(format!("{what}, not blank, without line breaks")),
            _ => self.fault(what),
        }
    }

    /// The text, where it is one, without complaint where it is not.
    pub(super) fn as_text(&self) -> Option<&'t str> {
        match self.value {
            Some(Value::Text(text)) => Some(text),
            _ => None,
        }
    }

    /// The number, where it is one, without complaint where it is not.
    pub(super) fn as_number(&self) -> Option<f64> {
        match self.value {
            Some(Value::Number(number)) => number.as_f64(),
            _ => None,
        }
    }

    /// One of a few words.
    pub(super) fn choice<T: Copy>(&self, choices: &[(&str, T)]) -> Option<T> {
        let names = || choices.iter().map(|&(name, _)| name);
        let expected = || names().map(quoted).collect::<Vec<_>>().join(" or ");
        let Some(text) = self.as_text() else {
            return self.fault(expected());
        };
        let found = choices
            .iter()
            .find(|&&(name, _)| name == text)
            .map(|&(_, value)| value);
        found.or_else(|| self.fault_suggesting(expected(), nearest(text, names()).map(quoted)))
    }

    /// The index of the name that stands here among `names`; `what` is what they are.
    pub(super) fn name_among<'n>(
        &self,
        names: impl IntoIterator<Item = &'n str, IntoIter: Clone>,
        what: &str,
    ) -> Option<usize> {
        let Some(text) = self.as_text() else {
            return self.fault(what);
        };
        let mut names = names.into_iter();
        let suggestion = nearest(text, names.clone()).map(quoted);
        names
            .position(|name| name == text)
            .or_else(|| self.fault_suggesting(what, suggestion))
    }

    /// A number that `accept` accepts; `what` says which those are.
    pub(super) fn number(&self, what: &str, accept: impl Fn(f64) -> bool) -> Option<f64> {
        match self.as_number() {
            Some(number) if number.abs() <= LARGEST && accept(number) => Some(number),
            _ => self.fault(what),
        }
    }

    /// A number from `low` to `high`, both allowed.
    pub(super) fn number_within(&self, low: f64, high: f64, what: &str) -> Option<f64> {
        let expected = format!("{what}, {} to {}", number_text(low), number_text(high));
        self.number(&expected, |number| low <= number && number <= high)
    }

    /// A whole number from `low` to `high`, both allowed; 32.0 is one.
    pub(super) fn whole(&self, low: u64, high: u64, what: &str) -> Option<u64> {
        let number = match self.value {
            Some(Value::Number(number)) => number
                .as_u64()
                .or_else(|| number.as_f64().and_then(as_whole)),
            _ => None,
        };
        number
            .filter(|number| (low..=high).contains(number))
            .or_else(|| self.fault(format!("{what}, a whole number from {low} to {high}")))
    }

    /// `[x, y]` in mm.
    pub(super) fn point(&self, what: &str) -> Option<Point<f64>> {
        let [x, y] = self.list_of(&format!("{what} as [x, y] in mm"))?;
        let [x, y] = [(x, "x"), (y, "y")].map(|(node, axis)| {
            node.number_within(-FARTHEST, FARTHEST, &format!("{axis} of {what} in mm"))
        });
        Some(Point::new(x?, y?))
    }

    /// `[low, high]` with `low` less than `high`, each read by `read`.
    pub(super) fn bounds(
        &self,
        what: &str,
        read: impl Fn(&Self) -> Option<f64>,
    ) -> Option<(f64, f64)> {
        let [low, high] = self.list_of(&format!("{what} as [low, high]"))?;
        let (low, high) = (read(&low), read(&high));
        let (low, high) = (low?, high?);
        if high - low >= SMALLEST {
            return Some((low, high));
        }
        let words = if low > high { "inverted" } else { "empty" };
        let texts = [number_text(low), number_text(high)];
        let suggestion = (low > high).then(|| format!("[{}, {}]", texts[1], texts[0]));
        let found = format!("the {words} range [{}, {}]", texts[0], texts[1]);
        let fault = Fault::new(self.sink.file, &self.path, found, "low below high");
        self.sink.push(fault.suggesting(suggestion));
        None
    }
}

/// Whether `text` can stand in a table: not blank, no control characters.
pub(super) fn is_name(text: &str) -> bool {
    !text.trim().is_empty() && !text.chars().any(char::is_control)
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
fn as_whole(number: f64) -> Option<u64> {
    let whole = number.fract() == 0.0 && (0.0..=9e15).contains(&number);
    whole.then_some(number as u64)
}

/// An object whose keys are known; asks for one by name.
pub(super) struct Object<'t> {
    node: Node<'t>,
}

impl<'t> Object<'t> {
    /// The object without a look at its keys; nothing, and no fault, where it is none.
    pub(super) fn unchecked(node: &Node<'t>) -> Option<Self> {
        let object = matches!(node.value, Some(Value::Object(_)));
        object.then(|| Self { node: node.clone() })
    }

    /// The place of the object itself.
    pub(super) fn node(&self) -> &Node<'t> {
        &self.node
    }

    /// The value of `key`, or the place where it is missing.
    pub(super) fn get(&self, key: &str) -> Node<'t> {
        let value = match self.node.value {
            Some(Value::Object(entries)) => entries
                .iter()
                .find(|(other, _)| other == key)
                .map(|(_, value)| value),
            _ => None,
        };
        self.node.child(key, value)
    }

    /// The one of `keys` that is given; none or several are a fault.
    pub(super) fn exactly_one(&self, keys: &[&'static str]) -> Option<&'static str> {
        let given = self.given(keys);
        if let [key] = given[..] {
            return Some(key);
        }
        let found = match given[..] {
            [] => "none of them".into(),
            _ => quoted_list(given.iter().copied()),
        };
        let expected = format!("exactly one of {}", quoted_list(keys.iter().copied()));
        self.node.sink.fault(&self.node.path, found, expected);
        None
    }

    /// Those of `keys` that are given.
    pub(super) fn given(&self, keys: &[&'static str]) -> Vec<&'static str> {
        keys.iter()
            .copied()
            .filter(|key| self.get(key).value.is_some())
            .collect()
    }
}
