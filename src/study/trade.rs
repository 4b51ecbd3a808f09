//! The frontier between two targets: how much of one the other costs.
//!
//! One target's worst residual is made as small as can be while that of the other is held to a
//! bound (the constraint method), everything else of the brief being met. Bounds are spread
//! evenly first and then along the frontier that they show, so that its layouts are evenly
//! spread and not its bounds.

use super::relaxed::{Bench, Rule, Verified, violation};
use crate::design::{Assessment, Construction, DesignProblem, RowSource};
use crate::input::{Brief, Layout, Variant};
use crate::mechanism::Plan;
use rayon::prelude::*;

/// Bounds of the first pass.
const FIRST: usize = 25;

/// A frontier shorter than this in residuals is a point: the targets do not pull apart.
const LEAST_LENGTH: f64 = 1e-3;

/// One layout of a frontier.
#[derive(Clone, Debug)]
pub struct TradePoint {
    /// The worst residual of each of the two targets, in size.
    pub residuals: [f64; 2],
    /// The layout.
    pub layout: Layout,
    /// All targets and limits.
    pub assessment: Assessment,
}

/// The frontier between two targets.
#[derive(Clone, Debug)]
pub struct Trade {
    /// From the best for the first target to the best for the second.
    pub points: Vec<TradePoint>,
    /// Whether the two pull apart at all.
    pub pulls_apart: bool,
}

/// The two targets, by their numbers counted through all sets of the brief.
pub type Pair = [usize; 2];

/// A solved layout, with its bench.
#[derive(Clone, Debug)]
struct Solved {
    size: usize,
    verified: Verified,
    residuals: [f64; 2],
}

struct Walk<'p> {
    benches: Vec<Bench<'p>>,
    pair: Pair,
    starts: Vec<(usize, Vec<f64>)>,
}

/// Walks the frontier in `count` layouts, from feasible `layouts` of the brief; none where no
/// solve ends in a feasible layout.
#[must_use]
pub fn trade(
    plan: &Plan,
    brief: &Brief,
    pair: Pair,
    layouts: &[&Layout],
    count: usize,
) -> Option<Trade> {
    let variants = brief.variants();
    let benches = variants.iter().map(|&variant| Bench {
        plan,
        brief,
        problem: DesignProblem::new(plan, brief, variant),
    });
    let starts = layouts.iter().filter_map(|layout| {
        let points = layout.mechanism.points.iter();
        let drawn: Vec<_> = points.map(|point| point.position).collect();
        let variant = variants.iter().position(|variant| fits(*variant, layout))?;
        let construction = Construction::new(brief, variants[variant].size);
        Some((variant, construction.variables_of(&drawn)))
    });
    let walk = Walk {
        benches: benches.collect(),
        pair,
        starts: starts.collect(),
    };
    let [a, b] = pair;
    let best_first = walk.best(a, b, 1.0, &walk.starts)?;
    let best_second = walk.best(b, a, 1.0, &walk.starts)?;
    let low = best_second.residuals[1];
    let high = best_first.residuals[1].max(low);
    let ends = [best_first, best_second];
    let bounds = (0..FIRST).map(|step| {
        // Denser towards the strict end, where a frontier is steep.
        let share = step as f64 / (FIRST - 1) as f64;
        low + (high - low) * share * share
    });
    let first = walk.solve_all(bounds.collect(), &ends);
    let frontier = undominated(first);
    let length = length(&frontier);
    if length < LEAST_LENGTH {
        let points = frontier
            .into_iter()
            .take(1)
            .map(|s| walk.point(s))
            .collect();
        return Some(Trade {
            points,
            pulls_apart: false,
        });
    }
    let second = walk.solve_all(even_bounds(&frontier, 2 * count), &frontier);
    let all = undominated(frontier.into_iter().chain(second).collect());
    let points = spread_out(all, count);
    Some(Trade {
        points: points
            .into_iter()
            .map(|solved| walk.point(solved))
            .collect(),
        pulls_apart: true,
    })
}

fn fits(variant: Variant, layout: &Layout) -> bool {
    let size = variant.size;
    (size.eye_to_eye - layout.mechanism.eye_to_eye()).abs() < 1e-6
        && (size.stroke - layout.mechanism.shock.stroke).abs() < 1e-9
        && variant.chainring_teeth == layout.bicycle.chainring_teeth
}

impl Walk<'_> {
    /// The smallest worst residual of target `lowered` with that of `held` within `bound`, of
    /// all starts.
    fn best(
        &self,
        lowered: usize,
        held: usize,
        bound: f64,
        starts: &[(usize, Vec<f64>)],
    ) -> Option<Solved> {
        let rule = |source: RowSource| match source {
            RowSource::Target(number) if number == lowered => Rule::Slack,
            RowSource::Target(number) if number == held => Rule::Within(bound),
            _ => Rule::Band,
        };
        let accepts = |assessment: &Assessment| {
            let off = assessment.targets[held].residual.abs() - bound;
            let off = if off > crate::design::ROUNDING {
                off
            } else {
                0.0
            };
            violation(assessment, &|_| false).max(off)
        };
        let solved: Vec<Solved> = starts
            .par_iter()
            .filter_map(|(size, x)| {
                let verified = self.benches[*size].solve(x, &rule, &accepts)?;
                let residual = |number: usize| verified.assessment.targets[number].residual.abs();
                let residuals = self.pair.map(residual);
                Some(Solved {
                    size: *size,
                    verified,
                    residuals,
                })
            })
            .collect();
        let residual = |solved: &Solved| solved.verified.assessment.targets[lowered].residual.abs();
        solved
            .into_iter()
            .min_by(|one, other| residual(one).total_cmp(&residual(other)))
    }

    /// The frontier at each bound of the second target, from the nearest of the layouts known and
    /// all starts.
    fn solve_all(&self, bounds: Vec<f64>, known: &[Solved]) -> Vec<Solved> {
        let [a, b] = self.pair;
        let mut found = known.to_vec();
        let solved = bounds.into_par_iter().filter_map(|bound| {
            let mut near: Vec<&Solved> = known.iter().collect();
            near.sort_by(|one, other| {
                let off = |solved: &Solved| (solved.residuals[1] - bound).abs();
                off(one).total_cmp(&off(other))
            });
            let near = near.into_iter().take(3);
            let mut starts: Vec<(usize, Vec<f64>)> = near
                .map(|solved| (solved.size, solved.verified.x.clone()))
                .collect();
            starts.extend(self.starts.iter().take(4).cloned());
            self.best(a, b, bound, &starts)
        });
        found.extend(solved.collect::<Vec<Solved>>());
        found
    }

    fn point(&self, solved: Solved) -> TradePoint {
        let bench = &self.benches[solved.size];
        let name = format!("{}, on the frontier", bench.brief.name);
        let points = &solved.verified.points;
        let layout = bench.problem.layout(bench.brief, name, points);
        TradePoint {
            residuals: solved.residuals,
            layout,
            assessment: solved.verified.assessment,
        }
    }
}

/// Those of which no other is better in both, by the first residual.
fn undominated(mut all: Vec<Solved>) -> Vec<Solved> {
    all.sort_by(|one, other| {
        let first = one.residuals[0].total_cmp(&other.residuals[0]);
        first.then(one.residuals[1].total_cmp(&other.residuals[1]))
    });
    let mut least = f64::INFINITY;
    all.retain(|solved| {
        let better = solved.residuals[1] < least - 1e-9;
        if better {
            least = solved.residuals[1];
        }
        better
    });
    all
}

fn distance(one: &Solved, other: &Solved) -> f64 {
    let [across, along] = [0, 1].map(|target| one.residuals[target] - other.residuals[target]);
    libm::hypot(across, along)
}

fn length(frontier: &[Solved]) -> f64 {
    frontier
        .windows(2)
        .map(|pair| distance(&pair[0], &pair[1]))
        .sum()
}

/// Bounds of the second target at even distances along the frontier.
fn even_bounds(frontier: &[Solved], count: usize) -> Vec<f64> {
    let whole = length(frontier);
    let mut bounds = Vec::with_capacity(count);
    let (mut walked, mut next) = (0.0, 1);
    for pair in frontier.windows(2) {
        let step = distance(&pair[0], &pair[1]);
        while next < count {
            let wanted = whole * next as f64 / count as f64;
            if wanted > walked + step {
                break;
            }
            let share = (wanted - walked) / step;
            let [from, to] = [pair[0].residuals[1], pair[1].residuals[1]];
            bounds.push(from + (to - from) * share);
            next += 1;
        }
        walked += step;
    }
    bounds
}

/// As many as wanted, evenly spread along the frontier, both ends among them.
fn spread_out(frontier: Vec<Solved>, count: usize) -> Vec<Solved> {
    if frontier.len() <= count {
        return frontier;
    }
    let whole = length(&frontier);
    let mut places = vec![0.0];
    for pair in frontier.windows(2) {
        let last = places.last().copied().unwrap_or(0.0);
        places.push(last + distance(&pair[0], &pair[1]));
    }
    let mut chosen: Vec<usize> = (0..count)
        .filter_map(|number| {
            let wanted = whole * number as f64 / (count - 1) as f64;
            (0..places.len()).min_by(|&a, &b| {
                (places[a] - wanted)
                    .abs()
                    .total_cmp(&(places[b] - wanted).abs())
            })
        })
        .collect();
    chosen.dedup();
    frontier
        .into_iter()
        .enumerate()
        .filter(|(index, _)| chosen.contains(index))
        .map(|(_, solved)| solved)
        .collect()
}
