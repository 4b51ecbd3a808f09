//! What stands in the way when nothing is feasible.

use super::rank::Ranked;
use crate::design::Assessment;

/// A target missed by no more than this share of its allowance does not count as blocking: it
/// gives way where another gives a little.
const NEGLIGIBLE: f64 = 0.01;

/// A target or limit that none of the nearest layouts keeps.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Blocker {
    /// A target missed by all of them.
    Target {
        /// Number of its objective set, from 0.
        objective: usize,
        /// Number in its set, from 0.
        index: usize,
        /// Smallest of the worst residuals in size, with its sign: the allowance would have to
        /// grow to that many times its own, on that side.
        residual: f64,
    },
    /// A limit broken by all of them.
    Limit {
        /// Number in the brief, from 0.
        index: usize,
        /// The value that comes nearest to holding it, mm or degrees.
        value: f64,
        /// By how much that misses it.
        shortfall: f64,
    },
}

/// What is missed in every one of the layouts.
pub(super) fn blockers(layouts: &[Ranked]) -> Vec<Blocker> {
    let assessments: Vec<&Assessment> = layouts.iter().map(|layout| &layout.assessment).collect();
    let Some(first) = assessments.first() else {
        return Vec::new();
    };
    let targets = first
        .targets
        .iter()
        .enumerate()
        .filter_map(|(number, target)| {
            let of = || {
                assessments
                    .iter()
                    .map(move |assessment| &assessment.targets[number])
            };
            let nearest = of().min_by(|a, b| a.residual.abs().total_cmp(&b.residual.abs()))?;
            (nearest.residual.abs() > 1.0 + NEGLIGIBLE).then_some(Blocker::Target {
                objective: target.objective,
                index: target.index,
                residual: nearest.residual,
            })
        });
    let limits = (0..first.limits.len()).filter_map(|number| {
        let of = || {
            assessments
                .iter()
                .map(move |assessment| &assessment.limits[number])
        };
        let nearest = of().max_by(|a, b| a.slack.total_cmp(&b.slack))?;
        (!nearest.holds).then_some(Blocker::Limit {
            index: number,
            value: nearest.value,
            shortfall: -nearest.slack,
        })
    });
    targets.chain(limits).collect()
}
