//! What carries the variance of every number: by slopes, and checked against the frames.

use super::run::Tally;
use super::{Spread, Study};
use crate::curves::Suspension;
use crate::design::measure::{Form, Slope, gradient};
use crate::mechanism::Hole;
use crate::number::{LANES, Scalar, Vector};

/// What may be off.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Source {
    /// A hole.
    Hole(Hole),
    /// The shock's eye-to-eye length.
    EyeToEye,
    /// The shock's stroke.
    Stroke,
}

/// What one source carries of a number's variance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Share {
    /// The source.
    pub source: Source,
    /// To first order, from the slopes: share of the variance that all sources carry so.
    pub first_order: f64,
    /// From the frames: squared correlation with the source's own coordinates.
    pub sampled: f64,
}

/// Rounds in which parts are put together for derivatives; the first is exact.
const ROUNDS: usize = 2;

impl Study<'_> {
    /// Values of every measure as drawn, and their slopes by both coordinates of every hole, then the shock's length and
    /// stroke.
    pub(super) fn slopes(&self, suspension: &Suspension) -> (Vec<f64>, Vec<Vec<f64>>) {
        let forms: Vec<&Form> = self.measures.iter().map(|measure| &measure.form).collect();
        let holes = self.frames.radii.len();
        let x = vec![0.0; 2 * holes + 2];
        let stroke = suspension.full_stroke();
        gradient(suspension, &forms, &x, |x| {
            let (offsets, lengths) = x.split_at(2 * holes);
            let offsets: Vec<Vector<Slope>> = offsets
                .chunks_exact(2)
                .map(|pair| Vector::new(pair[0], pair[1]))
                .collect();
            let mut fitting = self.assembly.fitting();
            self.assembly
                .fit(&offsets, lengths[0], ROUNDS, &mut fitting);
            (fitting.points, lengths[1] + stroke)
        })
    }

    /// What becomes of every number.
    pub(super) fn spreads(
        &self,
        tally: &Tally,
        (drawn, slopes): &(Vec<f64>, Vec<Vec<f64>>),
    ) -> Vec<Spread> {
        let correlations = Correlations::of(self, tally);
        (0..self.measures.len())
            .map(|number| {
                let mut values: Vec<f64> = tally
                    .kept
                    .iter()
                    .map(|(_, values)| values[number])
                    .collect();
                let deviation = correlations.variance(number).sqrt();
                let mut shares = self.first_order(number, slopes);
                let carried: f64 = shares.iter().map(|share| share.first_order).sum();
                for (source, share) in shares.iter_mut().enumerate() {
                    share.sampled = correlations.share(number, source);
                    if carried > 0.0 {
                        share.first_order /= carried;
                    }
                }
                shares.sort_by(|a, b| b.first_order.total_cmp(&a.first_order));
                Spread {
                    measure: self.measures[number].clone(),
                    drawn: drawn[number],
                    quantiles: [0.05, 0.5, 0.95].map(|share| quantile(&mut values, share)),
                    deviation,
                    shares,
                    first_order: carried / correlations.variance(number),
                }
            })
            .collect()
    }

    /// The variance that each source carries to first order.
    fn first_order(&self, number: usize, slopes: &[Vec<f64>]) -> Vec<Share> {
        let frames = &self.frames;
        let squared = |line: usize| slopes[line][number] * slopes[line][number];
        let holes = frames.radii.len();
        let mut shares: Vec<Share> = (0..holes)
            .map(|hole| {
                let radius = frames.radii[hole];
                let variance = frames.hole_variance() * radius * radius;
                Share {
                    source: Source::Hole(self.hole(hole)),
                    first_order: variance * (squared(2 * hole) + squared(2 * hole + 1)),
                    sampled: 0.0,
                }
            })
            .collect();
        for (source, scatter, line) in [
            (Source::EyeToEye, frames.eye_to_eye, 2 * holes),
            (Source::Stroke, frames.stroke, 2 * holes + 1),
        ] {
            shares.push(Share {
                source,
                first_order: frames.length_variance() * scatter * scatter * squared(line),
                sampled: 0.0,
            });
        }
        shares
    }
}

/// Sums over frames, taken in the order of the frames.
struct Correlations {
    count: f64,
    numbers: Vec<Moments>,
    coordinates: Vec<Moments>,
    /// Mean products, number by number.
    products: Vec<Vec<f64>>,
}

#[derive(Clone, Copy, Debug, Default)]
struct Moments {
    first: f64,
    sum: f64,
    squares: f64,
}

impl Moments {
    /// Sums are of differences from the first value, so that nothing is lost.
    fn take(&mut self, value: f64) -> f64 {
        let off = value - self.first;
        self.sum += off;
        self.squares += off * off;
        off
    }

    fn variance(&self, count: f64) -> f64 {
        (self.squares - self.sum * self.sum / count) / count
    }
}

impl Correlations {
    fn of(study: &Study, tally: &Tally) -> Self {
        let holes = study.frames.radii.len();
        let (numbers, coordinates) = (study.measures.len(), 2 * holes + 2);
        let mut sums = Self {
            count: tally.kept.len() as f64,
            numbers: vec![Moments::default(); numbers],
            coordinates: vec![Moments::default(); coordinates],
            products: vec![vec![0.0; coordinates]; numbers],
        };
        if let Some((_, first)) = tally.kept.first() {
            for (moments, &value) in sums.numbers.iter_mut().zip(first) {
                moments.first = value;
            }
        }
        let mut eight = study.frames.room();
        let mut built = None;
        let mut offs = vec![0.0; coordinates];
        for (frame, values) in &tally.kept {
            let lanes = u32::try_from(LANES).unwrap_or(1);
            let first = frame - frame % lanes;
            if built != Some(first) {
                study
                    .frames
                    .build(first, &study.frames.radii, 1.0, &mut eight);
                built = Some(first);
            }
            let lane = (frame % lanes) as usize;
            for hole in 0..holes {
                offs[2 * hole] = eight.offsets[hole].x.lane(lane);
                offs[2 * hole + 1] = eight.offsets[hole].y.lane(lane);
            }
            offs[2 * holes] = eight.longer.lane(lane);
            offs[2 * holes + 1] =
                eight.stroke.lane(lane) - study.question.layout.mechanism.shock.stroke;
            for (moments, &off) in sums.coordinates.iter_mut().zip(&offs) {
                moments.take(off);
            }
            for (number, &value) in values.iter().enumerate() {
                let value = sums.numbers[number].take(value);
                for (product, off) in sums.products[number].iter_mut().zip(&offs) {
                    *product += value * off;
                }
            }
        }
        sums
    }

    fn variance(&self, number: usize) -> f64 {
        self.numbers[number].variance(self.count)
    }

    /// Squared correlation of a number with the coordinates of a source.
    fn share(&self, number: usize, source: usize) -> f64 {
        let holes = (self.coordinates.len() - 2) / 2;
        let coordinates = if source < holes {
            2 * source..2 * source + 2
        } else {
            holes + source..holes + source + 1
        };
        let squared = |coordinate: usize| {
            let (value, off) = (&self.numbers[number], &self.coordinates[coordinate]);
            let product = self.products[number][coordinate] - value.sum * off.sum / self.count;
            let covariance = product / self.count;
            let (across, along) = (value.variance(self.count), off.variance(self.count));
            if across > 0.0 && along > 0.0 {
                covariance * covariance / (across * along)
            } else {
                0.0
            }
        };
        coordinates.map(squared).sum()
    }
}

/// What that share of the values is below.
pub(super) fn quantile(values: &mut [f64], share: f64) -> f64 {
    if values.is_empty() {
        return f64::NAN;
    }
    let rank = share * (values.len() - 1) as f64;
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    let rank = rank.round() as usize;
    *values.select_nth_unstable_by(rank, f64::total_cmp).1
}
