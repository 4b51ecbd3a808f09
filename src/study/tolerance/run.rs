//! Frames by the chunk over threads: counts and kept values.

use super::Study;
use super::frames::Eight;
use crate::design::ROUNDING;
use crate::design::measure::{Batch, Sampled, Sampler};
use crate::number::{LANES, Scalar};
use crate::study::drift::Break;
use rayon::prelude::*;
use std::ops::Range;

/// Frames of one chunk; what is kept and summed does not depend on threads.
const CHUNK: u64 = 2048;

/// Frames of which every number is kept, for quantiles and shares.
pub(super) const KEPT: u64 = 1 << 16;

/// Parts with a larger gap than this are not together, mm.
const LARGEST_GAP: f64 = 1e-8;

/// What came of many frames.
#[derive(Clone, Debug, Default)]
pub(super) struct Tally {
    pub frames: u64,
    pub met: u64,
    missed_targets: Vec<u64>,
    missed_limits: Vec<u64>,
    without_motion: u64,
    /// Numbers of every kept frame that moves, frame by frame, with the frame's number.
    pub kept: Vec<(u32, Vec<f64>)>,
}

impl Study<'_> {
    /// All targets, each with the set that it is of.
    pub(super) fn targets(&self) -> Vec<(usize, usize)> {
        let mut targets: Vec<(usize, usize)> = self
            .aims
            .iter()
            .map(|aim| (aim.objective, aim.index))
            .collect();
        targets.dedup();
        targets
    }

    /// Builds all frames of the question.
    pub(super) fn count(&self, sampler: &Sampler) -> Tally {
        let frames = self.question.frames;
        let targets = self.targets();
        let chunks: Vec<Tally> = (0..frames.div_ceil(CHUNK))
            .into_par_iter()
            .map(|chunk| {
                let range = chunk * CHUNK..((chunk + 1) * CHUNK).min(frames);
                self.count_chunk(&mut sampler.clone(), &targets, range)
            })
            .collect();
        let mut total = Tally {
            missed_targets: vec![0; targets.len()],
            missed_limits: vec![0; self.question.limits.len()],
            ..Tally::default()
        };
        for chunk in chunks {
            total.frames += chunk.frames;
            total.met += chunk.met;
            total.without_motion += chunk.without_motion;
            for (total, more) in [
                (&mut total.missed_targets, &chunk.missed_targets),
                (&mut total.missed_limits, &chunk.missed_limits),
            ] {
                for (total, more) in total.iter_mut().zip(more) {
                    *total += more;
                }
            }
            total.kept.extend(chunk.kept);
        }
        total
    }

    fn count_chunk(
        &self,
        sampler: &mut Sampler,
        targets: &[(usize, usize)],
        range: Range<u64>,
    ) -> Tally {
        let mut tally = Tally {
            missed_targets: vec![0; targets.len()],
            missed_limits: vec![0; self.question.limits.len()],
            ..Tally::default()
        };
        let (mut eight, mut out) = (self.frames.room(), Sampled::default());
        let numbers = self.measures.len();
        let mut missed = vec![false; targets.len()];
        for first in range.clone().step_by(LANES) {
            let first_frame = u32::try_from(first).unwrap_or(u32::MAX);
            self.look(
                sampler,
                first_frame,
                &self.frames.radii,
                1.0,
                &mut eight,
                &mut out,
            );
            let gaps = eight.fitting.gap_squared.to_lanes();
            let lanes = usize::try_from(range.end - first)
                .unwrap_or(LANES)
                .min(LANES);
            for lane in 0..lanes {
                tally.frames += 1;
                if !moves(gaps[lane], out.margin[lane]) {
                    tally.without_motion += 1;
                    continue;
                }
                missed.fill(false);
                for (aim, values) in self.aims.iter().zip(&out.values[numbers..]) {
                    if !holds(aim.residual(values[lane])) {
                        let target = (aim.objective, aim.index);
                        let known = targets.iter().position(|known| *known == target);
                        missed[known.unwrap_or(0)] = true;
                    }
                }
                let mut met = true;
                for (count, missed) in tally.missed_targets.iter_mut().zip(&missed) {
                    *count += u64::from(*missed);
                    met &= !missed;
                }
                for (count, slacks) in tally.missed_limits.iter_mut().zip(&out.slacks) {
                    let broken = slacks[lane].is_nan() || slacks[lane] < -ROUNDING;
                    *count += u64::from(broken);
                    met &= !broken;
                }
                tally.met += u64::from(met);
                if first < KEPT {
                    let sizes = self.measures.iter().zip(&out.values);
                    let values = sizes
                        .map(|(measure, values)| values[lane] * measure.form.sign(values[lane]));
                    let frame = first_frame + u32::try_from(lane).unwrap_or(0);
                    tally.kept.push((frame, values.collect()));
                }
            }
        }
        tally
    }

    /// Builds eight frames and looks at them.
    fn look(
        &self,
        sampler: &mut Sampler,
        first: u32,
        radii: &[f64],
        factor: f64,
        eight: &mut Eight,
        out: &mut Sampled,
    ) {
        self.frames.build(first, radii, factor, eight);
        let batch = Batch {
            points: &eight.fitting.points,
            stroke: eight.stroke,
            mass_shift: eight.mass_shift,
        };
        sampler.look(&batch, out);
    }

    /// The share of `frames` frames in all bands, with the given radii and the shock's scatter
    /// times `factor`; `sampler` looks at the bands alone.
    pub(super) fn share_met(
        &self,
        sampler: &Sampler,
        radii: &[f64],
        factor: f64,
        frames: u64,
    ) -> f64 {
        let met: u64 = (0..frames.div_ceil(CHUNK))
            .into_par_iter()
            .map(|chunk| {
                let mut sampler = sampler.clone();
                let (mut eight, mut out) = (self.frames.room(), Sampled::default());
                let end = ((chunk + 1) * CHUNK).min(frames);
                let mut met = 0;
                for first in (chunk * CHUNK..end).step_by(LANES) {
                    let first_frame = u32::try_from(first).unwrap_or(u32::MAX);
                    self.look(
                        &mut sampler,
                        first_frame,
                        radii,
                        factor,
                        &mut eight,
                        &mut out,
                    );
                    let gaps = eight.fitting.gap_squared.to_lanes();
                    let lanes = usize::try_from(end - first).unwrap_or(LANES).min(LANES);
                    for lane in 0..lanes {
                        let aims = self.aims.iter().zip(&out.values);
                        let good = moves(gaps[lane], out.margin[lane])
                            && aims
                                .map(|(aim, values)| aim.residual(values[lane]))
                                .all(holds)
                            && out.slacks.iter().all(|slacks| slacks[lane] >= -ROUNDING);
                        met += u64::from(good);
                    }
                }
                met
            })
            .sum();
        met as f64 / frames as f64
    }
}

impl Tally {
    /// How many frames miss what, the most first.
    pub(super) fn misses(&self, study: &Study) -> Vec<(Break, u64)> {
        let targets = study.targets();
        let targets = targets.iter().zip(&self.missed_targets);
        let targets = targets
            .map(|(&(objective, index), &count)| (Break::Target { objective, index }, count));
        let limits = self.missed_limits.iter().enumerate();
        let limits = limits.map(|(index, &count)| (Break::Limit(index), count));
        let motion = [(Break::Motion, self.without_motion)];
        let mut misses: Vec<(Break, u64)> = targets
            .chain(limits)
            .chain(motion)
            .filter(|&(_, count)| count > 0)
            .collect();
        misses.sort_by_key(|&(_, count)| std::cmp::Reverse(count));
        misses
    }
}

pub(super) fn moves(gap_squared: f64, margin: f64) -> bool {
    gap_squared < LARGEST_GAP * LARGEST_GAP && margin > 0.0
}

fn holds(residual: f64) -> bool {
    residual.abs() <= 1.0 + ROUNDING
}
