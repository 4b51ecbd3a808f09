//! What a report shows of frames as built: few frames, everything about them.

use super::shares::{Source, quantile};
use super::{Question, Study, wilson};
use crate::curves::Suspension;
use crate::design::measure::{Batch, Measure, Sampled, Sampler};
use crate::mechanism::Assembly;
use crate::number::{LANES, Scalar};
use crate::study::drift::Break;

/// Frames of an overview: the interval of a yield of one half is 6 % wide.
pub const FRAMES: u64 = 1024;

/// What becomes of a layout as built, as few frames tell it.
#[derive(Clone, Debug, PartialEq)]
pub struct Overview {
    /// Frames built.
    pub frames: u64,
    /// Frames in all bands.
    pub met: u64,
    /// Interval in which the yield lies with 95 % confidence.
    pub interval: (f64, f64),
    /// What is missed by some frame, the most frequent first.
    pub misses: Vec<Missed>,
    /// Every reported number.
    pub spreads: Vec<Carried>,
}

/// A band or limit that frames miss.
#[derive(Clone, Debug, PartialEq)]
pub struct Missed {
    /// What is missed.
    pub part: Break,
    /// By how many frames; a frame may miss several.
    pub frames: u64,
    /// What moves it, largest first: squared correlation with the source's own coordinates.
    pub carriers: Vec<(Source, f64)>,
}

/// What becomes of a number.
#[derive(Clone, Debug, PartialEq)]
pub struct Carried {
    /// The number.
    pub measure: Measure,
    /// What 5, 50 and 95 % of the frames are below.
    pub quantiles: [f64; 3],
    /// What moves it, largest first: squared correlation with the source's own coordinates.
    pub carriers: Vec<(Source, f64)>,
}

/// Builds the frames of the question and looks at them, one after another; none where the drawn
/// position is singular.
#[must_use]
pub fn overview(question: &Question, suspension: &Suspension) -> Option<Overview> {
    let assembly = Assembly::new(&question.layout.mechanism, suspension.drawn())?;
    let study = Study::new(question, suspension, &assembly);
    let mut columns = Columns::new(&study);
    columns.fill(&study, &mut study.sampler(suspension, true));
    Some(columns.overview(&study))
}

/// Everything about every frame that moves, a column a number.
struct Columns {
    /// Coordinates of every hole, the shock's length and stroke.
    sources: Vec<Vec<f64>>,
    /// Reported numbers.
    numbers: Vec<Vec<f64>>,
    /// Violations of targets, then of limits, in units of their bands.
    violations: Vec<Vec<f64>>,
    targets: Vec<(usize, usize)>,
    met: u64,
    without_motion: u64,
}

impl Columns {
    fn new(study: &Study) -> Self {
        let targets = study.targets();
        let bands = targets.len() + study.question.limits.len();
        Self {
            sources: vec![Vec::new(); 2 * study.frames.radii.len() + 2],
            numbers: vec![Vec::new(); study.measures.len()],
            violations: vec![Vec::new(); bands],
            targets,
            met: 0,
            without_motion: 0,
        }
    }

    fn fill(&mut self, study: &Study, sampler: &mut Sampler) {
        let (mut eight, mut out) = (study.frames.room(), Sampled::default());
        for first in (0..study.question.frames).step_by(LANES) {
            let frame = u32::try_from(first).unwrap_or(u32::MAX);
            let radii = &study.frames.radii;
            study.frames.build(frame, radii, 1.0, &mut eight);
            let batch = Batch {
                points: &eight.fitting.points,
                stroke: eight.stroke,
                mass_shift: eight.mass_shift,
            };
            sampler.look(&batch, &mut out);
            let gaps = eight.fitting.gap_squared.to_lanes();
            let lanes = usize::try_from(study.question.frames - first).unwrap_or(LANES);
            for (lane, &gap) in gaps.iter().enumerate().take(lanes) {
                if !super::run::moves(gap, out.margin[lane]) {
                    self.without_motion += 1;
                    continue;
                }
                for (hole, offset) in eight.offsets.iter().enumerate() {
                    self.sources[2 * hole].push(offset.x.lane(lane));
                    self.sources[2 * hole + 1].push(offset.y.lane(lane));
                }
                let lengths = 2 * eight.offsets.len();
                self.sources[lengths].push(eight.longer.lane(lane));
                self.sources[lengths + 1].push(eight.stroke.lane(lane));
                self.take(study, &out, lane);
            }
        }
    }

    fn take(&mut self, study: &Study, out: &Sampled, lane: usize) {
        let sizes = study.measures.iter().zip(&out.values);
        for (column, (measure, values)) in self.numbers.iter_mut().zip(sizes) {
            column.push(values[lane] * measure.form.sign(values[lane]));
        }
        let mut worst = vec![f64::NEG_INFINITY; self.violations.len()];
        for (aim, values) in study.aims.iter().zip(&out.values[study.measures.len()..]) {
            let target = (aim.objective, aim.index);
            let number = self.targets.iter().position(|known| *known == target);
            let violation = aim.residual(values[lane]).abs() - 1.0;
            if let Some(worst) = number.and_then(|number| worst.get_mut(number)) {
                // What is no number is missed.
                *worst = if violation.is_nan() {
                    f64::INFINITY
                } else {
                    worst.max(violation)
                };
            }
        }
        for (slacks, worst) in out.slacks.iter().zip(&mut worst[self.targets.len()..]) {
            let slack = slacks[lane];
            *worst = if slack.is_nan() {
                f64::INFINITY
            } else {
                -slack
            };
        }
        self.met += u64::from(worst.iter().all(|&violation| !missed(violation)));
        for (column, violation) in self.violations.iter_mut().zip(worst) {
            column.push(violation);
        }
    }

    fn overview(mut self, study: &Study) -> Overview {
        let carriers = |column: &[f64]| carriers(study, &self.sources, column);
        let counted = self
            .violations
            .iter()
            .enumerate()
            .filter_map(|(number, column)| {
                let frames = column
                    .iter()
                    .filter(|&&violation| missed(violation))
                    .count() as u64;
                let part = match self.targets.get(number) {
                    Some(&(objective, index)) => Break::Target { objective, index },
                    None => Break::Limit(number - self.targets.len()),
                };
                (frames > 0).then(|| Missed {
                    part,
                    frames,
                    carriers: carriers(column),
                })
            });
        let motion = (self.without_motion > 0).then(|| Missed {
            part: Break::Motion,
            frames: self.without_motion,
            carriers: Vec::new(),
        });
        let mut misses: Vec<Missed> = counted.chain(motion).collect();
        misses.sort_by_key(|missed| std::cmp::Reverse(missed.frames));
        let moved: Vec<Vec<(Source, f64)>> =
            self.numbers.iter().map(|column| carriers(column)).collect();
        let columns = self.numbers.iter_mut().zip(moved);
        let spreads = study.measures.iter().zip(columns);
        let frames = study.question.frames;
        Overview {
            frames,
            met: self.met,
            interval: wilson(self.met, frames),
            misses,
            spreads: spreads
                .map(|(measure, (column, carriers))| Carried {
                    measure: measure.clone(),
                    quantiles: [0.05, 0.5, 0.95].map(|share| quantile(column, share)),
                    carriers,
                })
                .collect(),
        }
    }
}

fn missed(violation: f64) -> bool {
    violation > crate::design::ROUNDING
}

/// What moves a number, largest first.
fn carriers(study: &Study, sources: &[Vec<f64>], column: &[f64]) -> Vec<(Source, f64)> {
    let holes = study.frames.radii.len();
    let share = |range: std::ops::Range<usize>| -> f64 {
        range
            .map(|source| correlation(&sources[source], column))
            .sum()
    };
    let hole = |hole: usize| {
        (
            Source::Hole(study.hole(hole)),
            share(2 * hole..2 * hole + 2),
        )
    };
    let mut all: Vec<(Source, f64)> = (0..holes).map(hole).collect();
    all.push((Source::EyeToEye, share(2 * holes..2 * holes + 1)));
    all.push((Source::Stroke, share(2 * holes + 1..2 * holes + 2)));
    all.sort_by(|one, other| other.1.total_cmp(&one.1));
    all
}

/// Squared correlation of two columns; none where one of them does not vary, or is not finite.
fn correlation(one: &[f64], other: &[f64]) -> f64 {
    let count = one.len() as f64;
    let mean = |column: &[f64]| column.iter().sum::<f64>() / count;
    let (a, b) = (mean(one), mean(other));
    let (mut product, mut across, mut along) = (0.0, 0.0, 0.0);
    for (x, y) in one.iter().zip(other) {
        let (x, y) = (x - a, y - b);
        product += x * y;
        across += x * x;
        along += y * y;
    }
    let squared = product * product / (across * along);
    if squared.is_finite() { squared } else { 0.0 }
}
