//! Paths of many points in few letters: after the first, steps from point to point.

use std::fmt::Write;

/// Tenths of a pixel are finer than anybody sees.
const PARTS: f64 = 10.0;

/// No picture is larger, px: what is farther away, or no number, is as good as there.
const FARTHEST: f64 = 20_000.0;

/// A path while it is drawn.
///
/// Steps are between rounded places, so that nothing adds up along the path.
#[derive(Clone, Debug, Default)]
pub(super) struct Path {
    text: String,
    last: Option<(i64, i64)>,
    stepping: bool,
}

impl Path {
    /// The path through all of these places.
    pub fn through(places: impl IntoIterator<Item = (f64, f64)>) -> String {
        let mut path = Self::default();
        for (x, y) in places {
            path.to(x, y);
        }
        path.text
    }

    /// Goes on to a place, or begins there.
    pub fn to(&mut self, x: f64, y: f64) {
        let (x, y) = (tenths(x), tenths(y));
        let (across, down) = match self.last {
            None => {
                self.text.push('M');
                self.stepping = false;
                (x, y)
            }
            Some((before, above)) => {
                self.text.push(if self.stepping { ' ' } else { 'l' });
                self.stepping = true;
                (x - before, y - above)
            }
        };
        push(&mut self.text, across);
        self.text.push(' ');
        push(&mut self.text, down);
        self.last = Some((x, y));
    }

    /// Leaves a gap.
    pub const fn lift(&mut self) {
        self.last = None;
    }

    /// The path as it stands in a drawing.
    pub fn text(self) -> String {
        self.text
    }
}

#[expect(clippy::cast_possible_truncation)]
fn tenths(value: f64) -> i64 {
    (value.clamp(-FARTHEST, FARTHEST) * PARTS).round() as i64
}

/// A number of tenths, with a decimal only where it has one.
fn push(text: &mut String, tenths: i64) {
    let (whole, part) = (tenths.unsigned_abs() / 10, tenths.unsigned_abs() % 10);
    let sign = if tenths < 0 { "-" } else { "" };
    // Writing to a string cannot fail.
    let _ = match part {
        0 => write!(text, "{sign}{whole}"),
        part => write!(text, "{sign}{whole}.{part}"),
    };
}

/// A length on the paper.
pub(in crate::report) fn px(value: f64) -> String {
    let mut text = String::new();
    push(&mut text, tenths(value));
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_are_short_and_zero_has_no_sign() {
        assert_eq!(px(-0.01), "0");
        assert_eq!(px(12.04), "12");
        assert_eq!(px(-3.26), "-3.3");
        assert_eq!(px(-0.5), "-0.5");
    }

    #[test]
    fn steps_add_up_to_the_rounded_places() {
        let places = [(1.04, 2.0), (2.11, 1.0), (2.22, 0.96)];
        assert_eq!(Path::through(places), "M1 2l1.1 -1 0.1 0");
        let mut path = Path::default();
        path.to(1.0, 1.0);
        path.lift();
        path.to(5.0, 5.0);
        path.to(f64::NAN, 5.5);
        assert_eq!(path.text(), "M1 1M5 5l-5 0.5");
    }
}
