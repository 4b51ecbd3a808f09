//! A curve by its samples over a range: extrema and turns.

use super::sampled::SAMPLES;

/// Values along the motion in one lane.
#[derive(Clone, Copy, Debug)]
pub(super) struct Course {
    points: [(f64, f64); SAMPLES + 2],
    count: usize,
}

impl Course {
    pub const fn new() -> Self {
        Self {
            points: [(0.0, 0.0); SAMPLES + 2],
            count: 0,
        }
    }

    pub fn push(&mut self, q: f64, value: f64) {
        self.points[self.count] = (q, value);
        self.count += 1;
    }

    fn points(&self) -> &[(f64, f64)] {
        &self.points[..self.count]
    }

    pub fn greatest(&self) -> (f64, f64) {
        self.best(|a, b| b > a)
    }

    pub fn least(&self) -> (f64, f64) {
        self.best(|a, b| b < a)
    }

    /// The greatest or the least, by its parameter and value.
    pub fn extreme(&self, greatest: bool) -> (f64, f64) {
        if greatest {
            self.greatest()
        } else {
            self.least()
        }
    }

    fn best(&self, better: impl Fn(f64, f64) -> bool) -> (f64, f64) {
        let points = self.points();
        let mut best = 0;
        for (index, point) in points.iter().enumerate() {
            if better(points[best].1, point.1) {
                best = index;
            }
        }
        self.refined(best)
    }

    /// The vertex of the parabola through a point and its neighbours, if it has both.
    fn refined(&self, index: usize) -> (f64, f64) {
        let points = self.points();
        if index == 0 || index + 1 >= points.len() {
            return points[index];
        }
        let (q, value) = points[index];
        let (before, after) = (points[index - 1].0 - q, points[index + 1].0 - q);
        let (low, high) = (points[index - 1].1 - value, points[index + 1].1 - value);
        let curvature = (low / before - high / after) / (before - after);
        let slope = low / before - curvature * before;
        let offset = -slope / (2.0 * curvature);
        if offset > before && offset < after {
            (q + offset, value + 0.5 * slope * offset)
        } else {
            (q, value)
        }
    }

    /// The largest turn against a direction as a share of the whole change.
    pub fn reversal(&self, sign: f64) -> f64 {
        let points = self.points();
        let extremes = (0..points.len()).map(|index| {
            let turns = index > 0
                && index + 1 < points.len()
                && (points[index].1 - points[index - 1].1)
                    * (points[index + 1].1 - points[index].1)
                    <= 0.0;
            if turns {
                self.refined(index).1
            } else {
                points[index].1
            }
        });
        let (mut lowest, mut turn) = (f64::INFINITY, 0.0_f64);
        let (mut least, mut most) = (f64::INFINITY, f64::NEG_INFINITY);
        for value in extremes {
            let along = value * sign;
            turn = turn.max(along - lowest);
            lowest = lowest.min(along);
            least = least.min(value);
            most = most.max(value);
        }
        let whole = most - least;
        if turn > crate::design::ROUNDING * whole {
            turn / whole
        } else {
            0.0
        }
    }
}

/// The parabola through three points at `q`.
pub(super) fn interpolate(points: [(f64, f64); 3], q: f64) -> f64 {
    let [(a, at_a), (b, at_b), (c, at_c)] = points;
    at_a * (q - b) * (q - c) / ((a - b) * (a - c))
        + at_b * (q - a) * (q - c) / ((b - a) * (b - c))
        + at_c * (q - a) * (q - b) / ((c - a) * (c - b))
}
