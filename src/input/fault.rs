//! What a user's mistake looks like: where it stands, what was found, what was expected.

use std::fmt;

/// One mistake in a file that a person wrote.
///
/// `found` and `expected` are phrases that read on after these two words; names in them
/// are already in quotes.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{file}: {place}found {found}, expected {expected}{hint}",
    place = place(path), hint = hint(suggestion.as_deref()))]
pub struct Fault {
    /// The file, as the caller named it.
    pub file: String,
    /// The JSON path, such as `mechanism.bodies.rocker[2]`; line and column for a fault of
    /// syntax; empty for the file as a whole.
    pub path: String,
    /// What stands there.
    pub found: String,
    /// What should stand there.
    pub expected: String,
    /// What was probably meant, written as it would stand in the file.
    pub suggestion: Option<String>,
}

impl Fault {
    /// A fault without a suggestion.
    pub fn new(
        file: impl Into<String>,
        path: impl Into<String>,
        found: impl Into<String>,
        expected: impl Into<String>,
    ) -> Self {
        Self {
            file: file.into(),
            path: path.into(),
            found: found.into(),
            expected: expected.into(),
            suggestion: None,
        }
    }

    /// A name that is none of the `known` ones; the nearest of them is suggested.
    pub fn unknown_name<'n>(
        file: impl Into<String>,
        path: impl Into<String>,
        name: &str,
        expected: impl Into<String>,
        known: impl IntoIterator<Item = &'n str>,
    ) -> Self {
        Self::new(file, path, quoted(name), expected).suggesting(nearest(name, known).map(quoted))
    }

    /// The same fault with `suggestion`, written as it would stand in the file.
    #[must_use]
    pub fn suggesting(mut self, suggestion: Option<String>) -> Self {
        self.suggestion = suggestion;
        self
    }
}

fn place(path: &str) -> String {
    if path.is_empty() {
        String::new()
    } else {
        format!("{path}: ")
    }
}

fn hint(suggestion: Option<&str>) -> String {
    suggestion.map_or_else(String::new, |text| format!("; did you mean {text}?"))
}

/// All faults of the first stage that has any; never empty as an error.
///
/// Printed one per line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Faults(pub Vec<Fault>);

impl Faults {
    /// `value` when there are no faults.
    ///
    /// # Errors
    ///
    /// The faults, when there are any.
    pub fn none_or<T>(faults: Vec<Fault>, value: T) -> Result<T, Self> {
        if faults.is_empty() {
            Ok(value)
        } else {
            Err(Self(faults))
        }
    }
}

impl fmt::Display for Faults {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (index, fault) in self.0.iter().enumerate() {
            if index > 0 {
                formatter.write_str("\n")?;
            }
            write!(formatter, "{fault}")?;
        }
        Ok(())
    }
}

impl std::error::Error for Faults {}

impl From<Fault> for Faults {
    fn from(fault: Fault) -> Self {
        Self(vec![fault])
    }
}

/// `name` in double quotes, escaped as in JSON.
#[must_use]
pub fn quoted(name: &str) -> String {
    serde_json::Value::from(name).to_string()
}

/// The names in double quotes, separated by commas.
#[must_use]
pub fn quoted_list<'n>(names: impl IntoIterator<Item = &'n str>) -> String {
    names.into_iter().map(quoted).collect::<Vec<_>>().join(", ")
}

/// The name of `known` that `name` is probably a slip of: the first of those at the least
/// edit distance, and none where more than a third of the letters would have to change.
pub fn nearest<'n>(name: &str, known: impl IntoIterator<Item = &'n str>) -> Option<&'n str> {
    let plain = fold(name);
    // A text that long is no slip of a name, and comparing it would take time.
    let short = |letters: &[char]| letters.len() <= 100;
    known
        .into_iter()
        .filter_map(|candidate| {
            let other = fold(candidate);
            if !short(&plain) || !short(&other) {
                return None;
            }
            let distance = edit_distance(&plain, &other);
            (distance <= plain.len().max(other.len()) / 3).then_some((distance, candidate))
        })
        .min_by_key(|&(distance, _)| distance)
        .map(|(_, candidate)| candidate)
}

/// Case and the choice of separator are the commonest slips and cost nothing.
fn fold(name: &str) -> Vec<char> {
    name.chars()
        .flat_map(char::to_lowercase)
        .map(|letter| {
            if matches!(letter, '-' | ' ') {
                '_'
            } else {
                letter
            }
        })
        .collect()
}

/// Insertions, deletions, replacements and swaps of neighbours that turn `a` into `b`
/// (optimal string alignment).
fn edit_distance(a: &[char], b: &[char]) -> usize {
    let mut before = Vec::new();
    let mut above: Vec<usize> = (0..=b.len()).collect();
    for (i, letter) in a.iter().enumerate() {
        let mut row = vec![i + 1];
        for (j, other) in b.iter().enumerate() {
            let replaced = above[j] + usize::from(letter != other);
            let mut least = replaced.min(above[j + 1] + 1).min(row[j] + 1);
            if i > 0 && j > 0 && *letter == b[j - 1] && a[i - 1] == *other {
                let swapped: &Vec<usize> = &before;
                least = least.min(swapped[j - 1] + 1);
            }
            row.push(least);
        }
        before = std::mem::replace(&mut above, row);
    }
    above[b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fault_reads_as_a_sentence() {
        let fault = Fault::unknown_name(
            "m.layout.json",
            "mechanism.bodies.rocker[2]",
            "rocker_stai",
            "a point of mechanism.points",
            ["axle", "rocker_stay", "rocker_pivot"],
        );
        assert_eq!(
            fault.to_string(),
            "m.layout.json: mechanism.bodies.rocker[2]: found \"rocker_stai\", \
             expected a point of mechanism.points; did you mean \"rocker_stay\"?"
        );
        let whole = Fault::new("b", "", "a list of 2", "an object");
        assert_eq!(
            whole.to_string(),
            "b: found a list of 2, expected an object"
        );
        assert_eq!(
            Faults(vec![whole.clone(), whole])
                .to_string()
                .lines()
                .count(),
            2
        );
    }

    #[test]
    fn the_nearest_name_is_suggested_only_when_near() {
        assert_eq!(
            nearest("Main Pivot", ["axle", "main_pivot"]),
            Some("main_pivot")
        );
        assert_eq!(nearest("alxe", ["idler", "axle"]), Some("axle"));
        assert_eq!(nearest("x", ["y"]), None);
        assert_eq!(nearest("suspension", ["axle", "main_pivot"]), None);
        assert_eq!(nearest("", [""]), Some(""));
    }

    #[test]
    fn edit_distance_counts_each_kind_of_slip() {
        let distance = |a: &str, b: &str| edit_distance(&fold(a), &fold(b));
        assert_eq!(distance("stay", "stay"), 0);
        assert_eq!(distance("stay", "sty"), 1);
        assert_eq!(distance("sty", "stay"), 1);
        assert_eq!(distance("stay", "stey"), 1);
        assert_eq!(distance("stay", "saty"), 1);
        assert_eq!(distance("", "stay"), 4);
    }
}
