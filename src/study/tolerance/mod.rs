//! What comes of a layout when its holes are where a workshop puts them.
//!
//! Frames are drawn evenly from the scatter of every hole of every part, the shock's length and
//! stroke and the centre of mass, put together (`mechanism::Assembly`), and looked at eight at
//! once (`design::measure::Sampler`). The yield is the share of frames in all bands; its
//! interval is Wilson's (*Probable inference*, J. Am. Stat. Assoc. 22, 1927) for random frames,
//! wider than need be for evenly drawn ones. Shares of variance are of first order, from the
//! exact slopes; beside them stands what the frames themselves say.

mod frames;
mod lattice;
mod limits;
mod overview;
mod ranking;
mod run;
mod shares;

pub use lattice::MOST as MOST_FRAMES;
pub use limits::HoleLimit;
pub use overview::{Carried, FRAMES as OVERVIEW_FRAMES, Missed, Overview, overview};
pub use ranking::rank_by_yield;
pub use shares::{Share, Source};

use super::drift::Break;
use crate::curves::Suspension;
use crate::design::measure::{Aim, Form, Measure, Sampler, aims, reported};
use crate::input::{Layout, Limit, ObjectiveSet, Scatter};
use crate::mechanism::{Assembly, Hole};
use frames::Frames;

/// What is asked of frames as built.
#[derive(Clone, Debug)]
pub struct Question<'a> {
    /// The layout.
    pub layout: &'a Layout,
    /// Targets, set by set.
    pub sets: &'a [&'a ObjectiveSet],
    /// Limits.
    pub limits: &'a [Limit],
    /// How far everything may be off.
    pub scatter: &'a Scatter,
    /// How many frames to build, at most [`MOST_FRAMES`].
    pub frames: u64,
    /// Seed of the frames drawn.
    pub seed: u64,
}

/// What becomes of one number over all frames.
#[derive(Clone, Debug, PartialEq)]
pub struct Spread {
    /// The number.
    pub measure: Measure,
    /// Its value as drawn.
    pub drawn: f64,
    /// What 5, 50 and 95 % of the frames are below.
    pub quantiles: [f64; 3],
    /// Standard deviation.
    pub deviation: f64,
    /// What carries its variance, largest first.
    pub shares: Vec<Share>,
    /// The variance to first order over that of the frames: near one where slopes tell all.
    pub first_order: f64,
}

/// What becomes of a layout as built.
#[derive(Clone, Debug, PartialEq)]
pub struct Tolerance {
    /// Frames built.
    pub frames: u64,
    /// Frames in all bands.
    pub met: u64,
    /// Interval in which the yield lies with 95 % confidence.
    pub interval: (f64, f64),
    /// How many frames miss each target or limit, the most first; a frame may miss several.
    pub misses: Vec<(Break, u64)>,
    /// Every reported number.
    pub spreads: Vec<Spread>,
    /// Every hole with its scatter, and the scatter that it may have.
    pub holes: Vec<HoleLimit>,
    /// By what all scatter may be multiplied for a yield of 99 %; none where as drawn something
    /// is missed.
    pub factor: Option<f64>,
}

impl Tolerance {
    /// Share of the frames in all bands.
    #[must_use]
    pub fn share_met(&self) -> f64 {
        self.met as f64 / self.frames as f64
    }
}

/// A tolerance study, ready to be run.
#[derive(Debug)]
struct Study<'a> {
    question: &'a Question<'a>,
    assembly: &'a Assembly,
    frames: Frames<'a>,
    measures: Vec<Measure>,
    aims: Vec<Aim>,
}

/// Builds frames and looks at them; none where the drawn position is singular.
#[must_use]
pub fn tolerance(question: &Question, suspension: &Suspension) -> Option<Tolerance> {
    let layout = question.layout;
    let assembly = Assembly::new(&layout.mechanism, suspension.drawn())?;
    let study = Study::new(question, suspension, &assembly);
    let sampler = study.sampler(suspension, true);
    let tally = study.count(&sampler);
    let slopes = study.slopes(suspension);
    let bands = study.sampler(suspension, false);
    let factor = study.factor(&bands);
    Some(Tolerance {
        frames: tally.frames,
        met: tally.met,
        interval: wilson(tally.met, tally.frames),
        misses: tally.misses(&study),
        spreads: study.spreads(&tally, &slopes),
        holes: study.hole_limits(&bands, factor),
        factor,
    })
}

/// The share of frames in all bands, from `frames` of them, and nothing else.
#[must_use]
pub fn yield_of(question: &Question, suspension: &Suspension) -> Option<f64> {
    let layout = question.layout;
    let assembly = Assembly::new(&layout.mechanism, suspension.drawn())?;
    let study = Study::new(question, suspension, &assembly);
    let sampler = study.sampler(suspension, false);
    Some(study.share_met(&sampler, &study.frames.radii, 1.0, question.frames))
}

impl<'a> Study<'a> {
    fn new(question: &'a Question<'a>, suspension: &Suspension, assembly: &'a Assembly) -> Self {
        let bicycle = suspension.bicycle();
        let sets = question.sets.iter().enumerate();
        let aims = sets.flat_map(|(objective, set)| {
            let targets = set.targets.iter().enumerate();
            targets.flat_map(move |(index, target)| aims(bicycle, target, objective, index))
        });
        Self {
            question,
            assembly,
            frames: Frames::new(question.layout, assembly, question.scatter, question.seed),
            measures: reported(bicycle),
            aims: aims.collect(),
        }
    }

    /// Looks at the bands, and where asked at the reported numbers before them.
    fn sampler<'p>(&self, suspension: &Suspension<'p>, reported: bool) -> Sampler<'p> {
        let measures = self.measures.iter().map(|measure| &measure.form);
        let measures = measures.filter(|_| reported);
        let forms: Vec<&Form> = measures
            .chain(self.aims.iter().map(|aim| &aim.form))
            .collect();
        Sampler::new(suspension, &forms, self.question.limits)
    }

    fn hole(&self, index: usize) -> Hole {
        self.assembly.holes()[index]
    }
}

/// Wilson's interval of a share with 95 % confidence.
#[must_use]
pub fn wilson(met: u64, of: u64) -> (f64, f64) {
    // The normal quantile of 97.5 %.
    const Z: f64 = 1.959_963_984_540_054;
    let (count, share) = (of as f64, met as f64 / of as f64);
    let centre = share + Z * Z / (2.0 * count);
    let half = Z * ((share * (1.0 - share) + Z * Z / (4.0 * count)) / count).sqrt();
    let whole = 1.0 + Z * Z / count;
    (
        ((centre - half) / whole).max(0.0),
        ((centre + half) / whole).min(1.0),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    #[test]
    fn wilson_interval_is_the_published_one() {
        // Newcombe, Two-sided confidence intervals for the single proportion, Statist. Med. 17
        // (1998), table I, method 3 (from memory): 81 of 263 and 0 of 20.
        let (low, high) = wilson(81, 263);
        assert_abs_diff_eq!(low, 0.2553, epsilon = 5e-5);
        assert_abs_diff_eq!(high, 0.3662, epsilon = 5e-5);
        let (low, high) = wilson(0, 20);
        assert_abs_diff_eq!(low, 0.0, epsilon = 5e-5);
        assert_abs_diff_eq!(high, 0.1611, epsilon = 5e-5);
    }
}
