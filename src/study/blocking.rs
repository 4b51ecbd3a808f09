//! What stands in the way when nothing is feasible.

use super::rank::Ranked;
use crate::design::Assessment;

/// A target or limit that none of the nearest layouts keeps.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Blocker {
    /// A target missed by all of them.
    Target {
        /// Number of its objective set, from 0.
        objective: usize,
        /// Number in its set, from 0.
        index: usize,
        /// Smallest of the worst residuals in size: its allowance would have to grow to this
        /// many times its own.
        factor: f64,
    },
    /// A limit broken by all of them.
    Limit {
        /// Number in the brief, from 0.
        index: usize,
        /// By how much it would have to give way at least, mm or degrees.
        shortfall: f64,
    },
}

/// What is missed in every one of the layouts.
pub(super) fn blockers(layouts: &[Ranked]) -> Vec<Blocker> {
    let assessments: Vec<&Assessment> = layouts.iter().map(|layout| &layout.assessment).collect();
    let Some(first) = assessments.first() else {
        return Vec::new();
    };
    let least = |values: &mut dyn Iterator<Item = f64>| values.fold(f64::INFINITY, f64::min);
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
            (!of().any(|target| target.met)).then(|| Blocker::Target {
                objective: target.objective,
                index: target.index,
                factor: least(&mut of().map(|target| target.residual.abs())),
            })
        });
    let limits = (0..first.limits.len()).filter_map(|number| {
        let of = || {
            assessments
                .iter()
                .map(move |assessment| &assessment.limits[number])
        };
        (!of().any(|limit| limit.holds)).then(|| Blocker::Limit {
            index: number,
            shortfall: least(&mut of().map(|limit| -limit.slack)),
        })
    });
    targets.chain(limits).collect()
}
