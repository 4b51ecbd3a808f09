//! How far each layout of a run is from its edges, in the drawing and as built: what the report
//! shows of it, kept as a text of the run folder since it costs more than the page.

use super::drift::{Question as DriftQuestion, break_words};
use super::sensitivity::name;
use super::tolerance::source;
use crate::curves::Suspension;
use crate::input::{Faults, Layout, Limit, ObjectiveSet, Scatter};
use crate::mechanism::Plan;
use crate::report::run::Run;
use crate::study::drift::{CLOSENESS, Drift, FARTHEST, Outline};
use crate::study::tolerance::{OVERVIEW_FRAMES, Overview, Question, Source, overview};
use rayon::prelude::*;
use serde::{Deserialize, Serialize};

/// Radius of scatter of every hole where the search was asked about none, mm: a machined frame
/// (common practice, no source).
pub const SCATTER: f64 = 0.15;

/// The least share that a source is named for.
const LEAST_SHARE: f64 = 0.05;

/// Sources that are named of each number.
const NAMED: usize = 3;

/// The margins of all layouts of a run.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Margins {
    /// SHA-256 of what they are of: the layouts, and what they are judged by.
    pub of: String,
    /// How the outlines were obtained.
    pub outlines: OutlineRule,
    /// How the frames were built.
    pub frames: FrameRule,
    /// The layouts, best first.
    pub layouts: Vec<LayoutMargins>,
}

/// How outlines were obtained.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct OutlineRule {
    /// Farther than this nothing was looked for, mm.
    pub farthest: f64,
    /// A distance is closed in on, on samples, to this share of it.
    pub closeness: f64,
}

/// How frames were built.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FrameRule {
    /// Radius of the disc in which every hole of every part lies about its place, mm.
    pub scatter: f64,
    /// By how much the shock's length is off at most, mm.
    pub eye_to_eye: f64,
    /// The same of its stroke.
    pub stroke: f64,
    /// How many frames each layout was built in.
    pub count: u64,
    /// Seed of the frames.
    pub seed: u64,
}

/// The margins of one layout.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LayoutMargins {
    /// What breaks at some edge, in words.
    pub edges: Vec<String>,
    /// The safe region of every point of the drawing, the others held.
    pub regions: Vec<SafeRegion>,
    /// What becomes of it as built; none where the drawn position is singular.
    pub built: Option<AsBuilt>,
}

/// Where a point may go in the drawing.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SafeRegion {
    /// The point.
    pub point: String,
    /// Exits in evenly spread directions, counter-clockwise from +x: mm, and the number of the edge
    /// among those of the layout.
    pub outline: Vec<(f64, Option<usize>)>,
    /// The nearest edge, of the continuous curves.
    pub nearest: Nearest,
}

/// The nearest edge of a safe region.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Nearest {
    /// Degrees counter-clockwise from +x.
    pub direction: f64,
    /// mm.
    pub distance: f64,
    /// What breaks there, and where along the travel.
    pub breaks: String,
}

/// What becomes of a layout as built.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct AsBuilt {
    /// Frames in all bands.
    pub met: u64,
    /// Share of frames in all bands.
    pub share: f64,
    /// Interval in which that share lies with 95 % confidence.
    pub interval: [f64; 2],
    /// What is missed by some frame, the most frequent first.
    pub misses: Vec<MissedBand>,
    /// Every reported number.
    pub numbers: Vec<Spread>,
}

/// A band or limit that some frames miss.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct MissedBand {
    /// It in words.
    pub what: String,
    /// Frames that miss it; one may miss several.
    pub frames: u64,
    /// What moves it, and by what share of its variance.
    pub carried_by: Vec<(String, f64)>,
}

/// A number over the frames.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Spread {
    /// Its name.
    pub name: String,
    /// Its unit.
    pub unit: String,
    /// As drawn.
    pub drawn: f64,
    /// What 5, 50 and 95 % of the frames are below.
    pub quantiles: [f64; 3],
    /// What moves it, and by what share of its variance.
    pub carried_by: Vec<(String, f64)>,
}

/// What a layout is judged by.
#[derive(Clone, Copy, Debug)]
pub struct Judged<'a> {
    /// Objective sets.
    pub sets: &'a [&'a ObjectiveSet],
    /// Limits.
    pub limits: &'a [Limit],
    /// Scatter of every hole, mm.
    pub scatter: f64,
    /// Seed of the frames.
    pub seed: u64,
}

impl Margins {
    /// Computes those of a run; `of` is the hash of its texts.
    ///
    /// # Errors
    ///
    /// A layout of the run does not move over its whole stroke.
    pub fn of(run: &Run, of: &str) -> Result<Self, Faults> {
        let sets: Vec<&ObjectiveSet> = run.brief.objectives.iter().map(|(_, set)| set).collect();
        let judged = Judged {
            sets: &sets,
            limits: &run.brief.limits,
            scatter: run.results.scatter.unwrap_or(SCATTER),
            seed: run.results.seed,
        };
        // Each layout by itself and in order, so that threads change nothing.
        let layouts = run.layouts.par_iter().map(|layout| {
            let plan = Plan::compile(&layout.name, &layout.mechanism)?;
            let suspension = Suspension::new(&plan, &layout.name, layout)?;
            Ok(LayoutMargins::of(layout, &suspension, &judged))
        });
        Ok(Self {
            of: of.to_owned(),
            outlines: OutlineRule::today(),
            frames: FrameRule::of(&judged),
            layouts: layouts.collect::<Result<_, Faults>>()?,
        })
    }

    /// The text of the file.
    #[must_use]
    pub fn text(&self) -> String {
        // Numbers and words only: nothing here can fail to be written.
        serde_json::to_string(self).unwrap_or_default() + "\n"
    }

    /// Reads the text back, if it is that of the same texts of a run.
    #[must_use]
    pub fn from_text(text: &str, of: &str, layouts: usize) -> Option<Self> {
        let margins: Self = serde_json::from_str(text).ok()?;
        (margins.of == of && margins.layouts.len() == layouts).then_some(margins)
    }
}

impl OutlineRule {
    /// The rule by which outlines are obtained.
    #[must_use]
    pub const fn today() -> Self {
        Self {
            farthest: FARTHEST,
            closeness: CLOSENESS,
        }
    }
}

impl FrameRule {
    /// How frames are built for these.
    #[must_use]
    pub fn of(judged: &Judged) -> Self {
        let scatter = Scatter::even(judged.scatter);
        Self {
            scatter: judged.scatter,
            eye_to_eye: scatter.eye_to_eye,
            stroke: scatter.stroke,
            count: OVERVIEW_FRAMES,
            seed: judged.seed,
        }
    }
}

impl LayoutMargins {
    /// Those of one layout.
    #[must_use]
    pub fn of(layout: &Layout, suspension: &Suspension, judged: &Judged) -> Self {
        let drift = Drift::new(layout, suspension, judged.sets, judged.limits);
        let mut margins = Self {
            edges: Vec::new(),
            regions: Vec::new(),
            built: built(layout, suspension, judged),
        };
        let question = DriftQuestion {
            layout,
            sets: judged.sets,
            limits: judged.limits,
            missed: &drift.missed,
        };
        for outline in drift.outlines() {
            margins.add(&question, &outline);
        }
        margins
    }

    fn add(&mut self, question: &DriftQuestion, outline: &Outline) {
        let DriftQuestion {
            layout,
            sets,
            limits,
            ..
        } = *question;
        let mut number = |part| {
            let words = break_words(layout, sets, limits, part);
            let known = self.edges.iter().position(|edge| *edge == words);
            known.unwrap_or_else(|| {
                self.edges.push(words);
                self.edges.len() - 1
            })
        };
        let rays = outline.rays.iter();
        let rays = rays.map(|ray| (ray.distance, ray.breaks.map(&mut number)));
        let region = SafeRegion {
            point: name(layout, outline.moved.point).to_owned(),
            outline: rays.collect(),
            nearest: Nearest {
                direction: outline.nearest.direction,
                distance: outline.nearest.distance,
                breaks: question.exit_words(&outline.nearest),
            },
        };
        self.regions.push(region);
    }
}

fn built(layout: &Layout, suspension: &Suspension, judged: &Judged) -> Option<AsBuilt> {
    let scatter = Scatter::even(judged.scatter);
    let question = Question {
        layout,
        sets: judged.sets,
        limits: judged.limits,
        scatter: &scatter,
        frames: OVERVIEW_FRAMES,
        seed: judged.seed,
    };
    let overview = overview(&question, suspension)?;
    let words = |part| break_words(layout, judged.sets, judged.limits, part);
    let Overview {
        frames,
        met,
        interval,
        ..
    } = overview;
    let misses = overview.misses.iter().map(|missed| MissedBand {
        what: words(missed.part),
        frames: missed.frames,
        carried_by: named(layout, &missed.carriers),
    });
    let numbers = overview.spreads.iter().map(|spread| Spread {
        name: spread.measure.name.clone(),
        unit: spread.measure.unit.to_owned(),
        drawn: spread.measure.value(suspension),
        quantiles: spread.quantiles,
        carried_by: named(layout, &spread.carriers),
    });
    Some(AsBuilt {
        met,
        share: met as f64 / frames as f64,
        interval: [interval.0, interval.1],
        misses: misses.collect(),
        numbers: numbers.collect(),
    })
}

/// The sources that matter, by name.
fn named(layout: &Layout, carriers: &[(Source, f64)]) -> Vec<(String, f64)> {
    let matter = carriers.iter().take(NAMED);
    let matter = matter.filter(|(_, share)| *share >= LEAST_SHARE);
    matter
        .map(|&(of, share)| (source(layout, of), share))
        .collect()
}
