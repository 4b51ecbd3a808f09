//! The scatter that holes may have for a yield of 99 %.

use super::Study;
use crate::design::measure::Sampler;
use crate::input::MOST_SCATTER;
use crate::mechanism::Hole;

/// The yield that is asked for.
const WANTED: f64 = 0.99;

/// Frames by which a yield is judged while a scatter is looked for; the same ones every time, so
/// that the yield falls as scatter grows.
const FRAMES: u64 = 4096;

/// The same for one hole alone, which has two dimensions only.
const FRAMES_ALONE: u64 = 1024;

/// Halvings of a bracket.
const HALVINGS: usize = 12;

/// A hole and the scatter that it may have.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HoleLimit {
    /// The hole.
    pub hole: Hole,
    /// The radius asked about, mm.
    pub radius: f64,
    /// The radius that it may have for a yield of 99 % if all radii and the shock's scatter grow
    /// or shrink alike, mm.
    pub together: Option<f64>,
    /// The same if all others are exact, mm; at most 20.
    pub alone: Option<f64>,
}

impl Study<'_> {
    /// By what all scatter may be multiplied.
    pub(super) fn factor(&self, sampler: &Sampler) -> Option<f64> {
        let share = |factor: f64| {
            let radii: Vec<f64> = self
                .frames
                .radii
                .iter()
                .map(|radius| radius * factor)
                .collect();
            self.share_met(sampler, &radii, factor, FRAMES)
        };
        let scatter = self.frames.radii.iter().copied().fold(0.0, f64::max);
        let largest = scatter.max(self.frames.eye_to_eye).max(self.frames.stroke);
        if largest <= 0.0 {
            return None;
        }
        largest_that_holds(share, MOST_SCATTER / largest)
    }

    /// What every hole may have.
    pub(super) fn hole_limits(&self, sampler: &Sampler, factor: Option<f64>) -> Vec<HoleLimit> {
        let count = self.frames.radii.len();
        (0..count)
            .map(|index| {
                let share = |radius: f64| {
                    let mut radii = vec![0.0; count];
                    radii[index] = radius;
                    self.share_met(sampler, &radii, 0.0, FRAMES_ALONE)
                };
                let radius = self.frames.radii[index];
                HoleLimit {
                    hole: self.hole(index),
                    radius,
                    together: factor.map(|factor| factor * radius),
                    alone: largest_that_holds(share, MOST_SCATTER),
                }
            })
            .collect()
    }
}

/// The largest number up to `most` whose yield is what is wanted; none where even zero's is not.
fn largest_that_holds(share: impl Fn(f64) -> f64, most: f64) -> Option<f64> {
    if share(0.0) < WANTED {
        return None;
    }
    let (mut good, mut bad) = (0.0, most / 64.0);
    while share(bad) >= WANTED {
        good = bad;
        bad *= 2.0;
        if bad > most {
            return Some(good);
        }
    }
    for _ in 0..HALVINGS {
        let middle = 0.5 * (good + bad);
        if share(middle) >= WANTED {
            good = middle;
        } else {
            bad = middle;
        }
    }
    Some(good)
}
