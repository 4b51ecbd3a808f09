//! How far any one pivot may move, to first order, before a band or limit breaks.

use crate::design::{DesignProblem, Purpose, RowSource};
use crate::input::PointId;
use crate::optimise::{Derivatives, Evaluation, Problem};

/// The edge that a layout is nearest to.
#[derive(Clone, Debug, PartialEq)]
pub struct NearestEdge {
    /// The point whose move breaks it first.
    pub point: PointId,
    /// How far that point may move, mm, in the worst direction.
    pub distance: f64,
    /// What breaks.
    pub breaks: RowSource,
}

/// The smallest distance that one free point may move from `x` before a target or limit
/// breaks, to first order: the gap to the band's edge over the steepest slope.
///
/// A point moves in its own coordinates: those placed from it move along, and the
/// shock keeps its length. `None` where the candidate cannot be evaluated. The purpose of the
/// problem is set anew; `values` and `slopes` are memory to be used.
pub(super) fn nearest_edge(
    problem: &mut DesignProblem,
    x: &[f64],
    values: &mut Evaluation,
    slopes: &mut Derivatives,
) -> Option<NearestEdge> {
    problem.set_purpose(Purpose::Meet, 0.0);
    values.resize(problem);
    slopes.resize(problem);
    values.fill(problem, x).ok()?;
    slopes.fill(problem, x).ok()?;
    let variables = problem.variables();
    let mut points: Vec<PointId> = variables.iter().map(|variable| variable.point).collect();
    points.dedup();
    let mut nearest: Option<NearestEdge> = None;
    for (index, (row, &value)) in problem.rows().iter().zip(&values.rows).enumerate() {
        let (below, above) = (value - row.band.lower, row.band.upper - value);
        let gap = if below < above { below } else { above };
        let gap = if gap > 0.0 { gap } else { 0.0 };
        let slopes = &slopes.rows[index * x.len()..(index + 1) * x.len()];
        for &point in &points {
            let steepest: f64 = variables
                .iter()
                .zip(slopes)
                .filter(|(variable, _)| variable.point == point)
                .map(|(variable, slope)| (slope / variable.reach) * (slope / variable.reach))
                .sum();
            let distance = gap / steepest.sqrt();
            if nearest
                .as_ref()
                .is_none_or(|nearest| distance < nearest.distance)
            {
                nearest = Some(NearestEdge {
                    point,
                    distance,
                    breaks: problem.row_source(index),
                });
            }
        }
    }
    nearest
}
