//! Clearances as rows: few for each, whatever the number of pairs and samples.
//!
//! The range of the travel is cut into [`SEGMENTS`]; the row of each is the smallest clearance
//! (for an upper bound the largest) over its samples and all pairs, and where that is a turning
//! point, that of the parabola through the sample and its neighbours. The weights of the three
//! do not count in the derivative, since the parabola is level there.

use super::limit_rows::UNIT;
use super::moments::{Moment, Moments, Places, SAMPLES, sample_parameter};
use super::rows::Rows;
use crate::input::{Bound, Place};
use crate::mechanism::Motion;
use crate::number::{Point, Scalar};
use crate::optimise::Row;
use crate::room::{Closest, Room};

/// Rows of a clearance for each of its bounds.
const SEGMENTS: usize = 4;

/// Where parts are looked at.
#[derive(Clone, Copy, Debug)]
enum Look {
    Sample(usize),
    Place(usize),
}

impl From<Moment> for Look {
    fn from(moment: Moment) -> Self {
        match moment {
            Moment::Top => Self::Sample(0),
            Moment::End => Self::Sample(SAMPLES - 1),
            Moment::Place(index) => Self::Place(index),
        }
    }
}

impl Look {
    fn parameter<T: Scalar>(self, moments: &Moments<T>) -> f64 {
        match self {
            Self::Sample(index) => sample_parameter(index),
            Self::Place(index) => moments.parameter(Moment::Place(index)),
        }
    }
}

/// A clearance with its places found in the moments of a problem.
#[derive(Clone, Debug)]
pub(super) struct ClearanceRows {
    gap: usize,
    from: Moment,
    to: Moment,
    segments: usize,
    low: Option<f64>,
    high: Option<f64>,
}

/// The corners of all parts in all moments looked at; the memory is reused.
#[derive(Clone, Debug)]
pub(super) struct View<T> {
    /// Those that may move, in groups of lanes.
    groups: Vec<Vec<Point<T>>>,
    /// All, one lane after the other, in plain numbers.
    values: Vec<Point<f64>>,
    /// The values before: derivatives are taken in passes whose values are the same.
    before: Vec<Point<f64>>,
    /// The nearest pair of each gap in each moment, as far as it was looked for.
    closest: Vec<Option<Closest>>,
    corners: usize,
    sample_groups: usize,
}

impl<T: Scalar> View<T> {
    /// A view of nothing.
    pub fn new() -> Self {
        Self {
            groups: Vec::new(),
            values: Vec::new(),
            before: Vec::new(),
            closest: Vec::new(),
            corners: 0,
            sample_groups: 0,
        }
    }

    /// Places all parts.
    pub fn look(&mut self, room: &Room, motion: &Motion<'_, T>, moments: &Moments<T>) {
        let poses = moments.poses().iter().chain(moments.place_poses());
        self.sample_groups = moments.poses().len();
        self.groups
            .resize(self.sample_groups + moments.place_poses().len(), Vec::new());
        self.corners = room.corner_count();
        let lanes = self.groups.len() * T::LANES;
        std::mem::swap(&mut self.values, &mut self.before);
        if self.values.len() != lanes * self.corners {
            self.values = (0..lanes).flat_map(|_| room.blank()).collect();
        }
        let of_group = self.values.chunks_mut((self.corners * T::LANES).max(1));
        for ((group, pose), values) in self.groups.iter_mut().zip(poses).zip(of_group) {
            room.place(motion, pose, group);
            let corners = self.corners;
            room.values(group, |index, corner| {
                let (x, y) = (corner.x.to_lanes(), corner.y.to_lanes());
                for lane in 0..T::LANES {
                    values[lane * corners + index] = Point::new(x[lane], y[lane]);
                }
            });
        }
        if self.values != self.before {
            self.closest.clear();
            let slots = room.gaps().len() * self.groups.len() * T::LANES;
            self.closest.resize(slots, None);
        }
    }

    /// Takes over what another view, which looked at plain numbers, knows of its nearest pairs;
    /// it is of use where the same candidate is looked at next.
    pub fn remember<U: Scalar>(&mut self, other: &View<U>) {
        if T::LANES == U::LANES {
            self.values.clone_from(&other.values);
            self.closest.clone_from(&other.closest);
        }
    }

    fn closest(&mut self, room: &Room, gap: usize, likely: usize, moment: Look) -> Closest {
        let (group, lane) = self.slot(moment);
        let slot = (gap * self.groups.len() + group) * T::LANES + lane;
        if let Some(Some(closest)) = self.closest.get(slot) {
            return *closest;
        }
        let closest = room.closest_from(gap, likely, self.values(moment));
        if let Some(known) = self.closest.get_mut(slot) {
            *known = Some(closest);
        }
        closest
    }

    fn slot(&self, moment: Look) -> (usize, usize) {
        match moment {
            Look::Sample(index) => (index / T::LANES, index % T::LANES),
            Look::Place(index) => (self.sample_groups + index / T::LANES, index % T::LANES),
        }
    }

    fn values(&self, moment: Look) -> &[Point<f64>] {
        let (group, lane) = self.slot(moment);
        let start = (group * T::LANES + lane) * self.corners;
        &self.values[start..start + self.corners]
    }

    fn measure(&self, room: &Room, gap: usize, moment: Look, closest: &Closest) -> T::Lane {
        let (group, lane) = self.slot(moment);
        room.measure(gap, closest, |index| {
            let corner = self.groups[group][index];
            Point::new(corner.x.extract(lane), corner.y.extract(lane))
        })
    }
}

impl ClearanceRows {
    /// Plans the rows of gap number `gap` of `room`.
    pub fn new(
        room: &Room,
        gap: usize,
        bound: Bound,
        (from, to): (Place, Place),
        places: &mut Places,
    ) -> Self {
        // What stands still is looked at once.
        let still = room.gaps()[gap].stands_still;
        Self {
            gap,
            from: places.moment(from),
            to: places.moment(to),
            segments: if still { 1 } else { SEGMENTS },
            low: bound.low(),
            high: bound.high(),
        }
    }

    /// The bands of its rows: those of the lower bound, then those of the upper.
    pub fn bands(&self) -> Vec<Row> {
        let low = self.low.map(|low| Row::at_least(low / UNIT));
        let high = self.high.map(|high| Row::at_most(high / UNIT));
        let rows = low.into_iter().chain(high);
        rows.flat_map(|row| vec![row.scaled(1.0); self.segments])
            .collect()
    }

    /// Appends the rows for a candidate.
    pub fn fill<T: Scalar>(
        &self,
        room: &Room,
        view: &mut View<T>,
        moments: &Moments<T>,
        rows: &mut Rows,
    ) {
        let mut times = Vec::with_capacity(SAMPLES + 2);
        times.push(Look::from(self.from));
        if self.segments > 1 {
            let inside = |index: &usize| moments.inside(*index, self.from, self.to);
            times.extend((0..SAMPLES).filter(inside).map(Look::Sample));
            times.push(Look::from(self.to));
        }
        // From moment to moment the nearest pair is mostly the same.
        let mut likely = 0;
        let mut found: Vec<Closest> = Vec::with_capacity(times.len());
        for &moment in &times {
            let closest = view.closest(room, self.gap, likely, moment);
            likely = closest.pair;
            found.push(closest);
        }
        let signs = [self.low.map(|_| 1.0), self.high.map(|_| -1.0)];
        for sign in signs.into_iter().flatten() {
            for segment in 0..self.segments {
                let start = segment * times.len() / self.segments;
                let end = (segment + 1) * times.len() / self.segments;
                let start = start.min(times.len() - 1);
                let best = (start + 1..end).fold(start, |best, index| {
                    if sign * found[index].value < sign * found[best].value {
                        index
                    } else {
                        best
                    }
                });
                let value = self.refined(room, view, moments, (&times, &found), best, sign);
                rows.push(value / UNIT);
            }
        }
    }

    /// The clearance at a moment, or that of the turning point near it.
    fn refined<T: Scalar>(
        &self,
        room: &Room,
        view: &View<T>,
        moments: &Moments<T>,
        (times, found): (&[Look], &[Closest]),
        best: usize,
        sign: f64,
    ) -> T::Lane {
        let measure = |index: usize| view.measure(room, self.gap, times[index], &found[index]);
        let around = best.checked_sub(1).zip(times.get(best + 1));
        let Some((before, _)) = around else {
            return measure(best);
        };
        let near = before..best + 2;
        let samples = times[near.clone()]
            .iter()
            .all(|moment| matches!(moment, Look::Sample(_)));
        let values = [0, 1, 2].map(|index| sign * found[before + index].value);
        let turns = values[1] < values[0] && values[1] < values[2];
        if !samples || !turns {
            return measure(best);
        }
        let q = [0, 1, 2].map(|index| times[before + index].parameter(moments));
        let weights = vertex_weights(q, values);
        let mut sum = T::Lane::from_f64(0.0);
        for (index, weight) in near.zip(weights) {
            sum = sum + measure(index) * weight;
        }
        sum
    }
}

/// The weights of three values in that of their parabola where it turns, between the outer two.
fn vertex_weights(q: [f64; 3], values: [f64; 3]) -> [f64; 3] {
    let first = (values[1] - values[0]) / (q[1] - q[0]);
    let second = (values[2] - values[1]) / (q[2] - q[1]);
    let curvature = (second - first) / (q[2] - q[0]);
    let at = 0.5 * (q[0] + q[1]) - 0.5 * first / curvature;
    let weight =
        |i: usize, j: usize, k: usize| (at - q[j]) * (at - q[k]) / ((q[i] - q[j]) * (q[i] - q[k]));
    [weight(0, 1, 2), weight(1, 0, 2), weight(2, 0, 1)]
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    #[test]
    fn a_parabola_is_found_where_it_turns() {
        let parabola = |q: f64| 3.0 * (q - 0.23) * (q - 0.23) - 4.0;
        let q = [0.1, 0.2, 0.4];
        let values = q.map(parabola);
        let weights = vertex_weights(q, values);
        let turned: f64 = weights.iter().zip(values).map(|(w, v)| w * v).sum();
        assert_abs_diff_eq!(turned, -4.0, epsilon = 1e-12);
        assert_abs_diff_eq!(weights.iter().sum::<f64>(), 1.0, epsilon = 1e-12);
    }
}
