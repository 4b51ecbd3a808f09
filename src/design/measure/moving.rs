//! A layout in motion over any kind of number, looked at in spots found beforehand.

use crate::curves::{Bicycle, State, Suspension};
use crate::input::{Place, SagOf};
use crate::mechanism::{Motion, Plan, Pose};
use crate::number::{Point, Scalar};

/// What a moment of the motion is tied to, while the design moves.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Pin {
    /// The parameter itself: for an extremum, and for both ends.
    Parameter,
    /// A share of the total travel.
    Travel(f64),
    /// A share of the stroke.
    Stroke(f64),
}

/// A moment of the motion.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spot {
    /// Parameter of the motion, 0 to 1, in the layout as it is.
    pub parameter: f64,
    /// What it is tied to.
    pub pin: Pin,
}

impl Spot {
    /// An extremum, or an end of the motion.
    #[must_use]
    pub const fn extremum(parameter: f64) -> Self {
        Self {
            parameter,
            pin: Pin::Parameter,
        }
    }

    /// A place of `suspension`.
    #[must_use]
    pub fn place(suspension: &Suspension, place: Place) -> Self {
        let sag = suspension.bicycle().sag();
        let pin = match place {
            Place::Top | Place::End => Pin::Parameter,
            Place::Fraction(fraction) if fraction <= 0.0 || fraction >= 1.0 => Pin::Parameter,
            Place::Fraction(fraction) => Pin::Travel(fraction),
            Place::Sag if sag.of == SagOf::Travel => Pin::Travel(sag.fraction),
            Place::Sag => Pin::Stroke(sag.fraction),
        };
        Self {
            parameter: suspension.parameter_at(place),
            pin,
        }
    }
}

/// A layout in motion; with derivatives where its points have them.
#[derive(Clone, Debug)]
pub struct Moving<'m, 'p, T> {
    /// The bicycle around it.
    pub bicycle: &'m Bicycle,
    motion: Motion<'p, T>,
    /// Total travel, mm.
    pub total_travel: T,
    /// The state at full extension.
    pub top: State<T>,
}

impl<'m, 'p, T: Scalar> Moving<'m, 'p, T> {
    /// The layout drawn with `drawn` points, over `stroke` mm.
    #[must_use]
    pub fn new(plan: &'p Plan, bicycle: &'m Bicycle, drawn: &[Point<T>], stroke: T) -> Self {
        let motion = Motion::new(plan, drawn, stroke);
        let mut pose = Pose::new(plan);
        motion.pose(T::from_f64(1.0), &mut pose);
        let axle = bicycle.axle();
        let total_travel = pose.points[axle].y - drawn[axle].y;
        motion.pose(T::from_f64(0.0), &mut pose);
        let top = State::new(bicycle, &motion, &pose, total_travel);
        Self {
            bicycle,
            motion,
            total_travel,
            top,
        }
    }

    /// Full stroke, mm.
    #[must_use]
    pub fn full_stroke(&self) -> T {
        self.motion.full_stroke()
    }

    /// The state in a spot, which moves with what it is tied to.
    #[must_use]
    pub fn state(&self, spot: Spot) -> State<T> {
        let mut pose = Pose::new(self.motion.plan());
        let mut q = T::from_f64(spot.parameter);
        self.motion.pose(q, &mut pose);
        let axle = self.bicycle.axle();
        // The spot was found in plain numbers: one Newton step carries the derivatives over.
        let step = match spot.pin {
            Pin::Parameter => None,
            Pin::Travel(fraction) => {
                let missing = pose.points[axle].y
                    - self.motion.drawn()[axle].y
                    - self.total_travel * fraction;
                Some(missing / T::from_value(pose.velocities[axle].y.value()))
            }
            Pin::Stroke(fraction) => {
                let missing = pose.stroke - self.motion.full_stroke() * fraction;
                Some(missing / T::from_value(pose.stroke_rate.value()))
            }
        };
        if let Some(step) = step {
            q = q - step;
            self.motion.pose(q, &mut pose);
        }
        State::new(self.bicycle, &self.motion, &pose, self.total_travel)
    }
}

impl<'m, 'p> Moving<'m, 'p, f64> {
    /// The same layout as `suspension`.
    #[must_use]
    pub fn of(suspension: &'m Suspension<'p>) -> Self {
        Self::new(
            suspension.plan(),
            suspension.bicycle(),
            suspension.drawn(),
            suspension.full_stroke(),
        )
    }
}
