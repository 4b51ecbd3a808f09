//! In which direction a pivot matters most, and in which it may move freely.

use super::Sensitivity;
use crate::design::measure::Measure;
use crate::input::{Layout, PointId};
use crate::number::Vector;
use std::sync::LazyLock;

/// A direction in which a pivot may be moved, and what a mm of it does.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Effect {
    /// Counter-clockwise from `x`, degrees.
    pub direction: f64,
    /// Its angle to the line from the pivot to the axle, 0 to 90 degrees, positive above the
    /// line; none for the axle itself.
    pub to_axle_line: Option<f64>,
    /// Whether it leads towards the axle rather than away from it.
    pub towards_axle: bool,
    /// The measure that changes most, by its number in the list, in what would be noticed.
    pub measure: usize,
    /// Its change per mm, in its unit.
    pub slope: f64,
    /// The same in differences that would just be noticed, per mm.
    pub noticed: f64,
}

/// What moving one pivot does, by direction.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PivotEffects {
    /// The pivot, or any other point.
    pub point: PointId,
    /// The steepest growth of any number.
    pub strongest: Effect,
    /// Where the largest change of any number is least; the way back does the same.
    pub harmless: Effect,
}

/// Slopes of measures and of residuals by one coordinate.
type Line = (Vec<f64>, Vec<f64>);

/// Into how many directions half a turn is cut to find the least harmful one.
const DIRECTIONS: u32 = 720;

/// These directions.
static HALF_TURN: LazyLock<Vec<Vector<f64>>> = LazyLock::new(|| {
    let directions = (0..DIRECTIONS).map(|part| f64::from(part) * 180.0 / f64::from(DIRECTIONS));
    directions.map(unit).collect()
});

impl PivotEffects {
    /// The effects of moving `point`, with the slopes by its `x` and its `y`.
    pub(super) fn new(
        layout: &Layout,
        point: PointId,
        table: &Sensitivity,
        (x, _): &Line,
        (y, _): &Line,
    ) -> Self {
        let mechanism = &layout.mechanism;
        let here = mechanism.position(point);
        let axle = mechanism.position(layout.bicycle.rear_axle);
        // How much room there is for parts decides whether a clearance matters, not its slope.
        let of_curves = |(_, measure): &(Vector<f64>, &Measure)| measure.form.clearance().is_none();
        let gradients = x.iter().zip(y).map(|(x, y)| Vector::new(*x, *y));
        let gradients: Vec<Vector<f64>> = gradients
            .zip(&table.measures)
            .filter(of_curves)
            .map(|(gradient, _)| gradient)
            .collect();
        let noticed = |measure: usize, along: Vector<f64>| {
            gradients[measure].dot(along) / table.measures[measure].noticeable
        };
        let worst = |along: Vector<f64>| {
            (0..gradients.len())
                .max_by(|&a, &b| noticed(a, along).abs().total_cmp(&noticed(b, along).abs()))
                .unwrap_or(0)
        };
        let effect = |along: Vector<f64>| {
            let measure = worst(along);
            let line = axle - here;
            Effect {
                direction: degrees(along),
                to_axle_line: angle_to(line, along),
                towards_axle: line.dot(along) >= 0.0,
                measure,
                slope: gradients[measure].dot(along),
                noticed: noticed(measure, along),
            }
        };
        let steepness =
            |measure: usize| gradients[measure].length() / table.measures[measure].noticeable;
        let steepest = (0..gradients.len())
            .max_by(|&a, &b| steepness(a).total_cmp(&steepness(b)))
            .unwrap_or(0);
        let gradient = gradients.get(steepest).copied().unwrap_or(Vector::zero());
        let strongest = if gradient.length() > 0.0 {
            gradient * (1.0 / gradient.length())
        } else {
            Vector::new(1.0, 0.0)
        };
        // In what would just be noticed, since that is asked of many directions.
        let scaled: Vec<Vector<f64>> = gradients
            .iter()
            .zip(&table.measures)
            .map(|(gradient, measure)| *gradient * (1.0 / measure.noticeable))
            .collect();
        let harm = |along: Vector<f64>| {
            let changes = scaled.iter().map(|gradient| gradient.dot(along).abs());
            changes.fold(
                0.0,
                |most: f64, change| if change > most { change } else { most },
            )
        };
        let harms = HALF_TURN.iter().map(|&along| (harm(along), along));
        let harmless = harms
            .min_by(|a, b| a.0.total_cmp(&b.0))
            .map_or(strongest, |(_, along)| along);
        Self {
            point,
            strongest: effect(strongest),
            harmless: effect(harmless),
        }
    }
}

fn degrees(along: Vector<f64>) -> f64 {
    libm::atan2(along.y, along.x).to_degrees()
}

/// The unit vector of that direction, degrees.
pub(crate) fn unit(degrees: f64) -> Vector<f64> {
    let (sine, cosine) = libm::sincos(degrees.to_radians());
    Vector::new(cosine, sine)
}

/// The acute angle of a direction to a line, degrees, positive on the line's upper side.
fn angle_to(line: Vector<f64>, along: Vector<f64>) -> Option<f64> {
    if line.length() < 1e-6 {
        return None;
    }
    let left = line.turned_left();
    let up = if left.y < 0.0 { -left } else { left };
    let lengthwise = line.dot(along).abs();
    Some(libm::atan2(up.dot(along), lengthwise).to_degrees())
}
