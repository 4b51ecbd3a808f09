//! The ranked result of a search.

use super::archive::order;
use super::blocking::{Blocker, blockers};
use super::history::Milestone;
use super::robustness::NearestEdge;
use super::search::{Endings, SizeTally};
use super::start::{Candidate, Starter};
use crate::curves::Suspension;
use crate::design::Assessment;
use crate::input::{Brief, Layout, ObjectiveSet, ShockSize, Summary};
use crate::mechanism::Plan;

/// What a search found, best first.
#[derive(Clone, Debug)]
pub struct Study {
    /// Distinct layouts in the order of ranking; the nearest ones where none is feasible.
    pub layouts: Vec<Ranked>,
    /// What stands in the way, where none is feasible.
    pub blockers: Vec<Blocker>,
    /// Starts taken.
    pub starts: u64,
    /// Evaluations of candidates, derivatives counted as one each.
    pub evaluations: u64,
    /// How the starts ended.
    pub endings: Endings,
    /// What came of the starts with each size of shock and each chainring.
    pub sizes: Vec<SizeTally>,
    /// When the best score fell.
    pub milestones: Vec<Milestone>,
    /// Whether it was ended before all starts were taken.
    pub interrupted: bool,
    /// Scatter of every hole by whose yield the layouts are ordered, mm, where they are.
    pub scatter: Option<f64>,
}

/// One layout of a ranking.
#[derive(Clone, Debug)]
pub struct Ranked {
    /// The layout, complete.
    pub layout: Layout,
    /// Its shock.
    pub size: ShockSize,
    /// Whether all targets are met and all limits hold.
    pub feasible: bool,
    /// Score; 0 is exact, 1 on the edge everywhere.
    pub score: f64,
    /// Largest violation; zero where feasible.
    pub violation: f64,
    /// Number of the start that found it.
    pub start: u64,
    /// What breaks first when one pivot moves, where feasible.
    pub edge: Option<NearestEdge>,
    /// Share of frames as built that are in all bands, where that was asked for.
    pub as_built: Option<f64>,
    /// All targets and limits.
    pub assessment: Assessment,
    /// Key values.
    pub key: KeyValues,
}

/// What a person looks at first.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct KeyValues {
    /// Total travel, mm.
    pub travel: f64,
    /// Leverage rate at top, sag and end.
    pub leverage: [f64; 3],
    /// Largest deviation of the leverage rate from its chord.
    pub straightness: f64,
    /// Least and greatest anti-squat at sag over the cogs, percent.
    pub anti_squat_at_sag: [f64; 2],
    /// Least and greatest anti-rise, percent.
    pub anti_rise: [f64; 2],
}

impl Study {
    /// Whether a feasible layout was found.
    #[must_use]
    pub fn feasible(&self) -> bool {
        self.layouts.iter().any(|layout| layout.feasible)
    }
}

/// Makes the ranking of `candidates`.
///
/// Every number told is that of the written layout, moved by a plan of its own: the plan of the
/// brief's layout gives the same to rounding only, which may change places.
pub(super) fn rank(
    starter: &Starter,
    brief: &Brief,
    candidates: Vec<Candidate>,
    keep: usize,
) -> (Vec<Ranked>, Vec<Blocker>) {
    let mut judged: Vec<(Candidate, Judged)> = candidates
        .into_iter()
        .filter_map(|candidate| judge(starter, brief, candidate))
        .collect();
    judged.sort_by(|(a, _), (b, _)| order(a, b));
    // Nearest layouts are an answer only where nothing is feasible.
    if judged.iter().any(|(candidate, _)| candidate.feasible) {
        judged.retain(|(candidate, _)| candidate.feasible);
    }
    let mut layouts: Vec<Ranked> = judged
        .into_iter()
        .enumerate()
        .map(|(index, (candidate, judged))| {
            let mut layout = judged.layout;
            layout.name = format!("{}, layout {}", brief.name, index + 1);
            Ranked {
                layout,
                size: starter.problems[candidate.size].construction().size(),
                feasible: candidate.feasible,
                score: candidate.score,
                violation: candidate.violation,
                start: candidate.start,
                edge: candidate.edge,
                as_built: None,
                assessment: judged.assessment,
                key: judged.key,
            }
        })
        .collect();
    let feasible = layouts.iter().any(|layout| layout.feasible);
    let blockers = if feasible {
        Vec::new()
    } else {
        blockers(&layouts)
    };
    layouts.truncate(keep);
    (layouts, blockers)
}

/// A candidate written down and looked at again.
struct Judged {
    layout: Layout,
    assessment: Assessment,
    key: KeyValues,
}

/// `None` where rounding decides that the written layout does not move over its stroke.
fn judge(
    starter: &Starter,
    brief: &Brief,
    mut candidate: Candidate,
) -> Option<(Candidate, Judged)> {
    let problem = &starter.problems[candidate.size];
    let layout = problem.layout(brief, brief.name.clone(), &candidate.points);
    let plan = Plan::compile(&brief.name, &layout.mechanism).ok()?;
    let suspension = Suspension::new(&plan, &brief.name, &layout).ok()?;
    let sets: Vec<&ObjectiveSet> = starter.objectives.iter().collect();
    let assessment = Assessment::new(&suspension, &sets, &starter.limits);
    starter.apply(&assessment, &mut candidate);
    if !candidate.feasible {
        candidate.edge = None;
    }
    let key = KeyValues::of(&suspension);
    Some((
        candidate,
        Judged {
            layout,
            assessment,
            key,
        },
    ))
}

impl KeyValues {
    /// The key values of a suspension.
    #[must_use]
    pub fn of(suspension: &Suspension) -> Self {
        use crate::input::Place;
        let leverage = [Place::Top, Place::Sag, Place::End].map(|place| {
            suspension
                .state(suspension.parameter_at(place))
                .leverage_rate()
        });
        let sag = suspension.state(suspension.parameter_at(Place::Sag));
        let bicycle = suspension.bicycle();
        let (low, high) = bicycle
            .cogs()
            .iter()
            .map(|&cog| sag.anti_squat(bicycle, cog))
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| {
                (low.min(v), high.max(v))
            });
        Self {
            travel: suspension.total_travel(),
            leverage,
            straightness: suspension.summary(Summary::StraightnessMax),
            anti_squat_at_sag: [low, high],
            anti_rise: [Summary::AntiRiseMin, Summary::AntiRiseMax].map(|s| suspension.summary(s)),
        }
    }
}
