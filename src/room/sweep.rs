//! The clearances of the continuous motion: where they are smallest, or largest.

use super::gap::{Closest, Room};
use crate::curves::Suspension;
use crate::input::Part;
use crate::mechanism::{Motion, Pose};
use crate::number::{Dual, Point, roots};
use std::cell::RefCell;
use std::ops::Range;
use std::sync::Arc;

/// A number with its derivative by the parameter of the motion.
type Rate = Dual<f64, 1>;

/// Into how many intervals a range is cut to find every minimum in it.
const INTERVALS: u32 = 64;

/// Every how manieth moment is looked at first.
const STRIDE: usize = 8;

/// By how much bounds may be off, mm.
const ROUNDING: f64 = 1e-9;

/// Halvings of a bracket about a maximum: to 1e-10 of the range.
const NARROWINGS: usize = 48;

/// A clearance at one moment of the motion, and between what.
#[derive(Clone, Debug, PartialEq)]
pub struct Nearest {
    /// Parameter of the motion, 0 to 1.
    pub parameter: f64,
    /// The clearance, mm.
    pub value: f64,
    /// The parts that it is between.
    pub parts: [Arc<Part>; 2],
}

/// One suspension and the parts around it, moved through.
#[derive(Debug)]
pub struct Sweep<'s> {
    suspension: &'s Suspension<'s>,
    motion: Motion<'s, Rate>,
    room: &'s Room,
    scratch: RefCell<Scratch>,
    /// Moments of the whole motion, which most limits are about.
    whole: Vec<Moment>,
}

#[derive(Debug)]
struct Scratch {
    pose: Pose<Rate>,
    moving: Vec<Point<Rate>>,
    values: Vec<Point<f64>>,
}

/// All corners at one moment, and those that may move with their rates.
#[derive(Clone, Debug)]
struct Moment {
    parameter: f64,
    moving: Vec<Point<Rate>>,
    values: Vec<Point<f64>>,
}

/// The clearance of one pair and its derivative by the parameter.
#[derive(Clone, Copy)]
struct Sample {
    value: f64,
    slope: f64,
}

impl<'s> Sweep<'s> {
    /// Moves `suspension` through its motion, looking at the parts of `room`.
    #[must_use]
    pub fn new(suspension: &'s Suspension<'s>, room: &'s Room) -> Self {
        let motion = suspension.motion_in();
        let pose = Pose::new(motion.plan());
        let mut sweep = Self {
            suspension,
            motion,
            room,
            scratch: RefCell::new(Scratch {
                pose,
                moving: Vec::new(),
                values: room.blank().collect(),
            }),
            whole: Vec::new(),
        };
        if room.gaps().iter().any(|gap| !gap.stands_still) {
            sweep.whole = sweep.moments(0.0, 1.0);
        }
        sweep
    }

    /// The suspension that is moved.
    #[must_use]
    pub fn suspension(&self) -> &'s Suspension<'s> {
        self.suspension
    }

    fn moments(&self, from: f64, to: f64) -> Vec<Moment> {
        let nodes = (0..=INTERVALS).map(|node| match node {
            INTERVALS => to,
            node => from + (to - from) * (f64::from(node) / f64::from(INTERVALS)),
        });
        nodes.map(|parameter| self.moment(parameter)).collect()
    }

    fn moment(&self, parameter: f64) -> Moment {
        self.look(parameter, |scratch| Moment {
            parameter,
            moving: scratch.moving.clone(),
            values: scratch.values.clone(),
        })
    }

    fn look<R>(&self, parameter: f64, read: impl FnOnce(&Scratch) -> R) -> R {
        let motion = &self.motion;
        let scratch = &mut *self.scratch.borrow_mut();
        motion.pose(Rate::variable(parameter, 0), &mut scratch.pose);
        self.room.place(motion, &scratch.pose, &mut scratch.moving);
        let values = &mut scratch.values;
        self.room
            .values(&scratch.moving, |index, corner| values[index] = corner);
        read(scratch)
    }

    /// The clearance at one moment.
    #[must_use]
    pub fn at(&self, gap: usize, parameter: f64) -> Nearest {
        let closest = self.look(parameter, |scratch| self.room.closest(gap, &scratch.values));
        self.nearest(gap, parameter, &closest)
    }

    fn nearest(&self, gap: usize, parameter: f64, closest: &Closest) -> Nearest {
        Nearest {
            parameter,
            value: closest.value,
            parts: self.room.parts(gap, closest).clone(),
        }
    }

    fn over<R>(&self, from: f64, to: f64, read: impl FnOnce(&[Moment]) -> R) -> R {
        if from == 0.0 && to == 1.0 && !self.whole.is_empty() {
            read(&self.whole)
        } else {
            read(&self.moments(from, to))
        }
    }

    /// The smallest clearance between two parameters: of each pair the samples' least, and
    /// every minimum between samples that could be less, at the root of the exact slope.
    #[must_use]
    pub fn smallest(&self, gap: usize, from: f64, to: f64) -> Nearest {
        if self.room.gaps()[gap].stands_still {
            return self.at(gap, from);
        }
        let parameter = self.over(from, to, |moments| self.least_parameter(gap, moments));
        self.at(gap, parameter)
    }

    fn least_parameter(&self, gap: usize, moments: &[Moment]) -> f64 {
        let (mut least, mut at) = (f64::INFINITY, moments[0].parameter);
        let samples = self.near_samples(gap, moments);
        for (sample, moment) in samples
            .iter()
            .flat_map(|of_pair| of_pair.iter().zip(moments))
        {
            if let Some(sample) = sample.filter(|sample| sample.value < least) {
                (least, at) = (sample.value, moment.parameter);
            }
        }
        for (pair, samples) in samples.iter().enumerate() {
            for (ends, bracket) in samples.windows(2).zip(moments.windows(2)) {
                let [Some(first), Some(second)] = [ends[0], ends[1]] else {
                    continue;
                };
                let [low, high] = [bracket[0].parameter, bracket[1].parameter];
                let steepest = first.slope.abs().max(second.slope.abs());
                let lower = first.value.min(second.value) - steepest * (high - low);
                let turns = first.slope < 0.0 && second.slope > 0.0;
                if !turns || lower >= least {
                    continue;
                }
                let slope = |parameter: f64| self.sample_at(gap, pair, parameter).slope;
                let Some(parameter) = roots::bracketed(slope, low, high) else {
                    continue;
                };
                let value = self.sample_at(gap, pair, parameter).value;
                if value < least {
                    (least, at) = (value, parameter);
                }
            }
        }
        at
    }

    /// Of every pair its samples in all moments where, or next to which, it could be nearest. Some
    /// moments are looked at first: from one of them to another moment a clearance changes by no
    /// more than the corners move, and what is farther for that than the least so far is left out.
    fn near_samples(&self, gap: usize, moments: &[Moment]) -> Vec<Vec<Option<Sample>>> {
        let pairs = self.room.pair_count(gap);
        let value = |pair: usize, moment: &Moment| {
            let closest = self.room.closest_of(gap, pair, &moment.values);
            closest.value
        };
        let first: Vec<Vec<f64>> = (0..pairs)
            .map(|pair| {
                let some = moments.iter().step_by(STRIDE);
                some.map(|moment| value(pair, moment)).collect()
            })
            .collect();
        let least = first
            .iter()
            .flatten()
            .copied()
            .fold(f64::INFINITY, f64::min);
        let last = moments.len() - 1;
        let of_pair = |pair: usize| -> Vec<Option<Sample>> {
            let corners = self.room.corners_of(gap, pair);
            let steps: Vec<f64> = moments
                .windows(2)
                .map(|pair| moved(&corners, &pair[0], &pair[1]))
                .collect();
            let far: Vec<bool> = (0..=last)
                .map(|index| {
                    let node = ((index + STRIDE / 2) / STRIDE).min(last / STRIDE);
                    let off = moved(&corners, &moments[index], &moments[node * STRIDE]);
                    // Between moments by a step at most, to either side.
                    let beside = [index.checked_sub(1), Some(index)].into_iter().flatten();
                    let step = beside.filter_map(|step| steps.get(step)).copied();
                    first[pair][node] - off - step.fold(0.0, f64::max) > least + ROUNDING
                })
                .collect();
            (0..=last)
                .map(|index| {
                    let around = index.saturating_sub(1)..(index + 2).min(last + 1);
                    let Moment { moving, values, .. } = &moments[index];
                    let near = far[around].contains(&false);
                    near.then(|| self.sample(gap, pair, moving, values))
                })
                .collect()
        };
        (0..pairs).map(of_pair).collect()
    }

    /// The largest clearance between two parameters. That of the nearest pair has its largest
    /// value where pairs change places as often as where its slope is zero, so brackets are
    /// narrowed by its values.
    #[must_use]
    pub fn largest(&self, gap: usize, from: f64, to: f64) -> Nearest {
        if self.room.gaps()[gap].stands_still {
            return self.at(gap, from);
        }
        let (mut most, mut at) = (f64::NEG_INFINITY, from);
        let values: Vec<(f64, f64)> = self.over(from, to, |moments| {
            let value = |moment: &Moment| self.room.closest(gap, &moment.values).value;
            moments
                .iter()
                .map(|moment| (moment.parameter, value(moment)))
                .collect()
        });
        for &(parameter, value) in &values {
            if value > most {
                (most, at) = (value, parameter);
            }
        }
        let step = |index: usize| {
            let ends = values.get(index).zip(values.get(index + 1));
            ends.map_or(0.0, |(one, other)| (one.1 - other.1).abs())
        };
        for (index, bracket) in values.windows(3).enumerate() {
            let [low, middle, high] = [bracket[0], bracket[1], bracket[2]];
            let rise = step(index).max(step(index + 1));
            if middle.1 < low.1 || middle.1 < high.1 || middle.1 + rise < most {
                continue;
            }
            let (parameter, value) = self.narrow(gap, low.0, high.0);
            if value > most {
                (most, at) = (value, parameter);
            }
        }
        self.at(gap, at)
    }

    /// The largest value in a bracket with one maximum, by golden section.
    fn narrow(&self, gap: usize, mut low: f64, mut high: f64) -> (f64, f64) {
        let part = 0.5 * (5f64.sqrt() - 1.0);
        let value = |parameter: f64| self.at(gap, parameter).value;
        let (mut a, mut b) = (high - part * (high - low), low + part * (high - low));
        let (mut at_a, mut at_b) = (value(a), value(b));
        for _ in 0..NARROWINGS {
            if at_a > at_b {
                (high, b, at_b) = (b, a, at_a);
                a = high - part * (high - low);
                at_a = value(a);
            } else {
                (low, a, at_a) = (a, b, at_b);
                b = low + part * (high - low);
                at_b = value(b);
            }
        }
        if at_a > at_b { (a, at_a) } else { (b, at_b) }
    }

    fn sample_at(&self, gap: usize, pair: usize, parameter: f64) -> Sample {
        self.look(parameter, |scratch| {
            self.sample(gap, pair, &scratch.moving, &scratch.values)
        })
    }

    fn sample(
        &self,
        gap: usize,
        pair: usize,
        moving: &[Point<Rate>],
        values: &[Point<f64>],
    ) -> Sample {
        let closest = self.room.closest_of(gap, pair, values);
        let rate = self.room.measure(gap, &closest, |index| moving[index]);
        Sample {
            value: rate.value,
            slope: rate.partials[0],
        }
    }
}

/// By how much the corners of two figures are elsewhere at most, together, mm.
fn moved(corners: &[Range<usize>; 2], one: &Moment, other: &Moment) -> f64 {
    let farthest = |corners: &Range<usize>| {
        let here = one.values[corners.clone()].iter();
        let there = other.values[corners.clone()].iter();
        let squares = here.zip(there).map(|(a, b)| (*a - *b).length_squared());
        squares.fold(0.0, f64::max).sqrt()
    };
    farthest(&corners[0]) + farthest(&corners[1])
}
