//! What a target costs: what would be gained, or made feasible, if it gave way a little.
//!
//! Everything is found by solving the brief again with the band widened, never by extrapolation:
//! for small widenings the gain over the widening is the multiplier of the band.

use super::relaxed::{Bench, Rule, violation};
use super::search::{Control, Search, SearchError};
use crate::design::{Construction, DesignProblem, LIMIT_UNIT, Purpose, RowSource};
use crate::input::{Bound, Brief, Layout, Limit, LimitQuantity, ShockSize, Variant, Want};
use crate::mechanism::Plan;
use crate::optimise::{Minimiser, MinimiserSettings, RowWeights};
use rayon::prelude::*;

/// The part of its allowance by which a target is widened.
const PART: f64 = 0.1;

/// How much a limit is widened by, mm or degrees.
const STEP: f64 = 1.0;

/// How many of the cheapest widenings are confirmed.
const CONFIRMED: usize = 2;

/// How often each is, at most.
const CONFIRMATIONS: usize = 6;

/// The part of a widening that must not be enough.
const LESS: f64 = 0.98;

/// Starts of a confirming search.
const SEARCHED: u64 = 192;

/// A gain of the score below this is none.
const LEAST_GAIN: f64 = 5e-4;

const SCORE: MinimiserSettings = MinimiserSettings {
    row_tolerance: 1e-5,
    step_tolerance: 1e-8,
    fall_tolerance: 1e-6,
    progress: 1e-5,
    patience: 10,
    radius: 0.1,
    price: 1.0,
    weights: RowWeights::Slope,
    budget: 300,
};

/// What widening one band gains.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gain {
    /// The target or limit.
    pub source: RowSource,
    /// By how much it is widened, in its unit.
    pub widened: f64,
    /// By how much that lowers the score.
    pub gain: f64,
}

/// The score of a layout when it is as low as can be nearby, and what holds it.
#[derive(Clone, Debug, PartialEq)]
pub struct Gains {
    /// The lowest score nearby.
    pub score: f64,
    /// What would lower it, the largest gain first.
    pub gains: Vec<Gain>,
}

/// How much one band must be widened so that everything can be met.
#[derive(Clone, Debug, PartialEq)]
pub struct Widening {
    /// The target or limit.
    pub source: RowSource,
    /// The share of its allowance by which a target grows; units of 5 mm or degrees of a limit.
    pub share: f64,
    /// The layout that then meets everything.
    pub layout: Layout,
}

/// How a brief without a feasible layout can be made feasible.
#[derive(Clone, Debug, PartialEq)]
pub struct Widenings {
    /// The share by which all bands together must be widened at least.
    pub common: Option<f64>,
    /// Bands that are enough by themselves, the cheapest first.
    pub single: Vec<Widening>,
}

/// The bench of a brief for one size of shock and one chainring.
fn bench<'p>(plan: &'p Plan, brief: &'p Brief, variant: Variant) -> Bench<'p> {
    Bench {
        plan,
        brief,
        problem: DesignProblem::new(plan, brief, variant),
    }
}

fn size_of(layout: &Layout) -> ShockSize {
    ShockSize {
        eye_to_eye: layout.mechanism.eye_to_eye(),
        stroke: layout.mechanism.shock.stroke,
    }
}

/// The shock and chainring of the brief that a layout has, so that the shock's length is that number
/// to the last digit; where the brief has not got them the nearest, the shock counting first.
fn nearest_variant(brief: &Brief, layout: &Layout) -> Variant {
    let own = Variant {
        size: size_of(layout),
        chainring_teeth: layout.bicycle.chainring_teeth,
    };
    let off = |&Variant { size, .. }: &Variant| {
        (size.eye_to_eye - own.size.eye_to_eye).abs() + (size.stroke - own.size.stroke).abs()
    };
    let ring_off = |variant: &Variant| variant.chainring_teeth.abs_diff(own.chainring_teeth);
    let variants = brief.variants().into_iter();
    variants
        .min_by(|a, b| {
            let by_ring = ring_off(a).cmp(&ring_off(b));
            off(a).total_cmp(&off(b)).then(by_ring)
        })
        .unwrap_or(own)
}

fn variables(brief: &Brief, size: ShockSize, layout: &Layout) -> Vec<f64> {
    let points = layout.mechanism.points.iter();
    let drawn: Vec<_> = points.map(|point| point.position).collect();
    Construction::new(brief, size).variables_of(&drawn)
}

/// All targets, counted through, and limits.
fn sources(brief: &Brief) -> Vec<RowSource> {
    let targets: usize = brief
        .objectives
        .iter()
        .map(|(_, set)| set.targets.len())
        .sum();
    let targets = (0..targets).map(RowSource::Target);
    targets
        .chain((0..brief.limits.len()).map(RowSource::Limit))
        .collect()
}

/// What holds the score of `layout`, which meets `brief`.
#[must_use]
pub fn gains(plan: &Plan, brief: &Brief, layout: &Layout) -> Option<Gains> {
    let variant = nearest_variant(brief, layout);
    let start = variables(brief, variant.size, layout);
    let (score, x) = lowest_score(plan, brief, variant, &start)?;
    let mut gains: Vec<Gain> = sources(brief)
        .into_par_iter()
        .filter_map(|source| {
            let mut wider = brief.clone();
            let widened = widen(&mut wider, source, PART, STEP)?;
            let (lower, _) = lowest_score(plan, &wider, variant, &x)?;
            let gain = score - lower;
            (gain > LEAST_GAIN).then_some(Gain {
                source,
                widened,
                gain,
            })
        })
        .collect();
    gains.sort_by(|a, b| b.gain.total_cmp(&a.gain));
    Some(Gains { score, gains })
}

/// The lowest verified score near `x`, and where.
fn lowest_score(
    plan: &Plan,
    brief: &Brief,
    variant: Variant,
    x: &[f64],
) -> Option<(f64, Vec<f64>)> {
    let bench = bench(plan, brief, variant);
    let mut best = bench
        .verify(x)
        .filter(|verified| verified.assessment.feasible())
        .map(|verified| (verified.assessment.score(), verified.x));
    let mut from = x.to_vec();
    let mut tightening = 2e-5;
    for _ in 0..5 {
        let mut problem = bench.problem.with_purpose(Purpose::Score, tightening);
        let start = problem.with_slacks(&from)?;
        let outcome = Minimiser::new(SCORE).solve(&mut problem, &start);
        from = outcome.x[..x.len()].to_vec();
        let Some(verified) = bench.verify(&from) else {
            break;
        };
        let outside = bench.problem.construction().outside_box(&verified.points);
        let violation = verified.assessment.violation().max(outside);
        if violation <= 0.0 {
            let score = verified.assessment.score();
            if best.as_ref().is_none_or(|(lowest, _)| score < *lowest) {
                best = Some((score, from));
            }
            break;
        }
        tightening += 1.05 * violation.min(0.1) + 1e-6;
    }
    best
}

/// Widens one band of the brief, a target by `part` of its allowance or a limit by `step`; gives
/// by how much, in its unit.
fn widen(brief: &mut Brief, source: RowSource, part: f64, step: f64) -> Option<f64> {
    match source {
        RowSource::Target(number) => {
            let targets = brief.objectives.iter_mut();
            let mut targets = targets.flat_map(|(_, set)| &mut set.targets);
            widen_want(&mut targets.nth(number)?.want, part)
        }
        RowSource::Limit(index) => Some(widen_limit(brief.limits.get_mut(index)?, step)),
        RowSource::EndBox | RowSource::Motion => None,
    }
}

fn widen_want(want: &mut Want, part: f64) -> Option<f64> {
    match want {
        Want::Value { within, .. } => {
            let by = part * *within;
            *within += by;
            Some(by)
        }
        Want::Between { low, high } => {
            let by = part * 0.5 * (*high - *low);
            *low -= by;
            *high += by;
            Some(by)
        }
        Want::SpreadWithin(allowance) | Want::StraightWithin(allowance) => {
            let by = part * *allowance;
            *allowance += by;
            Some(by)
        }
        Want::Monotone(_) => None,
    }
}

fn widen_limit(limit: &mut Limit, step: f64) -> f64 {
    // The angle between two directions cannot be below 0 or above 180 degrees.
    let angle = matches!(limit.quantity, LimitQuantity::Angle(..));
    let lower = |low: f64| {
        if angle {
            (low - step).max(0.0)
        } else {
            low - step
        }
    };
    let upper = |high: f64| {
        if angle {
            (high + step).min(180.0)
        } else {
            high + step
        }
    };
    limit.bound = match limit.bound {
        Bound::AtLeast(low) => Bound::AtLeast(lower(low)),
        Bound::AtMost(high) => Bound::AtMost(upper(high)),
        Bound::Between { low, high } => Bound::Between {
            low: lower(low),
            high: upper(high),
        },
    };
    step
}

/// How `brief` can be made feasible, from the layouts that come nearest to it.
///
/// The cheapest bands are confirmed by searching the brief anew with a little less of the
/// widening; what that finds is solved from again, until it finds nothing.
///
/// # Errors
/// The search cannot begin.
pub fn widenings(
    plan: &Plan,
    brief: &Brief,
    nearest: &[&Layout],
) -> Result<Widenings, SearchError> {
    let starts = starts_of(brief, nearest);
    let common = least(
        plan,
        brief,
        &starts,
        &|source| match source {
            RowSource::Target(_) | RowSource::Limit(_) => Rule::LetOut,
            RowSource::EndBox | RowSource::Motion => Rule::Band,
        },
        &|_| true,
    );
    let mut single: Vec<Widening> = sources(brief)
        .into_iter()
        .filter_map(|source| {
            let (share, layout) = least_single(plan, brief, &starts, source)?;
            Some(Widening {
                source,
                share,
                layout,
            })
        })
        .collect();
    single.sort_by(|a, b| a.share.total_cmp(&b.share));
    for widening in single.iter_mut().take(CONFIRMED) {
        confirm(plan, brief, widening)?;
    }
    single.sort_by(|a, b| a.share.total_cmp(&b.share));
    let common = common.map(|(share, _)| share);
    Ok(Widenings { common, single })
}

/// Layouts as starts: shock and chainring, and variables.
type Starts = Vec<(Variant, Vec<f64>)>;

fn starts_of(brief: &Brief, layouts: &[&Layout]) -> Starts {
    let start = |layout: &&Layout| {
        let variant = nearest_variant(brief, layout);
        (variant, variables(brief, variant.size, layout))
    };
    layouts.iter().map(start).collect()
}

/// The least slack by `rule` of all starts, with everything met but what is `let_out`.
fn least(
    plan: &Plan,
    brief: &Brief,
    starts: &Starts,
    rule: &(dyn Fn(RowSource) -> Rule + Sync),
    let_out: &(dyn Fn(RowSource) -> bool + Sync),
) -> Option<(f64, Layout)> {
    let solved = starts.par_iter().filter_map(|(variant, x)| {
        let bench = bench(plan, brief, *variant);
        let solved = bench.solve(x, rule, &|assessment| violation(assessment, let_out))?;
        let share = violation(&solved.assessment, &|source| !let_out(source));
        let name = format!("{}, widened", brief.name);
        let layout = bench.problem.layout(brief, name, &solved.points);
        Some((share, layout))
    });
    let solved: Vec<(f64, Layout)> = solved.collect();
    solved.into_iter().min_by(|(a, _), (b, _)| a.total_cmp(b))
}

fn least_single(
    plan: &Plan,
    brief: &Brief,
    starts: &Starts,
    source: RowSource,
) -> Option<(f64, Layout)> {
    let rule = |other: RowSource| {
        if other == source {
            Rule::LetOut
        } else {
            Rule::Band
        }
    };
    least(plan, brief, starts, &rule, &|other| other == source)
}

/// Searches with a little less of a widening than was found to be enough, and solves from what is
/// found, until nothing is.
fn confirm(plan: &Plan, brief: &Brief, widening: &mut Widening) -> Result<(), SearchError> {
    for _ in 0..CONFIRMATIONS {
        let share = LESS * widening.share;
        let mut wider = brief.clone();
        if widen(&mut wider, widening.source, share, share * LIMIT_UNIT).is_none() {
            return Ok(());
        }
        wider.search.starts = SEARCHED;
        let search = Search::new(wider, &brief.layout.name, 0)?.evenly();
        let study = search.run(|_| Control::GoOn)?;
        if !study.feasible() {
            return Ok(());
        }
        let layouts: Vec<&Layout> = study.layouts.iter().map(|ranked| &ranked.layout).collect();
        let starts = starts_of(brief, &layouts);
        // What was found is enough as it is, and may be more than enough.
        let own = layouts.first().map(|&layout| (share, layout.clone()));
        let solved = least_single(plan, brief, &starts, widening.source);
        let better = solved.filter(|(solved, _)| *solved < share).or(own);
        if let Some((share, layout)) = better {
            (widening.share, widening.layout) = (share, layout);
        }
    }
    Ok(())
}

/// A share of a limit in mm or degrees.
#[must_use]
pub fn limit_widening(share: f64) -> f64 {
    share * LIMIT_UNIT
}
