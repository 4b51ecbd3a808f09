//! A layout in motion over any kind of number, looked at in spots found beforehand.

use crate::curves::{Bicycle, Cog, State, Suspension};
use crate::input::{Clearance, Curve, Place, SagOf};
use crate::mechanism::{Motion, Plan, Pose};
use crate::number::{Point, Scalar};
use crate::room::Room;
use std::cell::RefCell;

/// What a moment of the motion is tied to, while the design moves.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Pin {
    /// The parameter itself: for an extremum, and for both ends.
    Parameter,
    /// A share of the total travel.
    Travel(f64),
    /// A share of the stroke.
    Stroke(f64),
    /// Where a curve is greatest or least: with the moment itself wanted, not the curve there.
    Turn(Curve, Cog),
}

/// The widest step of differences about a turn, as a share of the motion.
const TURN_STEP: f64 = 0.02;

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
    /// States looked at so far: most numbers look at the same few moments.
    seen: RefCell<Vec<(Spot, State<T>)>>,
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
            seen: RefCell::new(Vec::new()),
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
        let seen = self.seen.borrow();
        if let Some((_, state)) = seen.iter().find(|(known, _)| *known == spot) {
            return *state;
        }
        drop(seen);
        let state = self.at(&self.pose(spot));
        self.seen.borrow_mut().push((spot, state));
        state
    }

    fn at(&self, pose: &Pose<T>) -> State<T> {
        State::new(self.bicycle, &self.motion, pose, self.total_travel)
    }

    /// The state at a parameter that no design moves, looked at once.
    pub(super) fn state_at(&self, parameter: f64) -> State<T> {
        let mut pose = Pose::new(self.motion.plan());
        self.motion.pose(T::from_f64(parameter), &mut pose);
        self.at(&pose)
    }

    /// By how much the moment at `q` is missed at which a curve turns: its slope over its
    /// bend. Both are differences of the curve, whose derivatives by the design are exact; steps
    /// of three sizes leave an error of their sixth power.
    fn missed_turn(&self, q: f64, curve: Curve, cog: Cog) -> T {
        let value = |parameter: f64| {
            let state = self.state_at(parameter);
            state.value(curve, self.bicycle, &self.top, cog)
        };
        let (widest, here) = (TURN_STEP.min(q).min(1.0 - q), value(q));
        let differences = [1.0, 0.5, 0.25].map(|part| {
            let step = part * widest;
            let (up, down) = (value(q + step), value(q - step));
            let slope = (up - down) / (2.0 * step);
            let bend = (up + down - here * 2.0) / (step * step);
            (slope, bend)
        });
        let better = |wide: T, narrow: T, order: f64| (narrow * order - wide) / (order - 1.0);
        let extrapolated = |wide: T, middle: T, narrow: T| {
            better(better(wide, middle, 4.0), better(middle, narrow, 4.0), 16.0)
        };
        let [wide, middle, narrow] = differences;
        let slope = extrapolated(wide.0, middle.0, narrow.0);
        let bend = extrapolated(wide.1, middle.1, narrow.1);
        // The moment is known; only how it moves is wanted.
        (slope - T::from_value(slope.value())) / T::from_value(bend.value())
    }

    /// The smallest distance of some parts in a spot.
    #[must_use]
    pub fn clearance(&self, clearance: &Clearance, spot: Spot) -> T {
        let room = Room::new(self.motion.plan(), self.bicycle, [clearance]);
        let mut moving = Vec::new();
        room.place(&self.motion, &self.pose(spot), &mut moving);
        let mut corners: Vec<Point<f64>> = room.blank().collect();
        room.values(&moving, |index, corner| {
            corners[index] = corner.map(|number| number.lane(0));
        });
        let closest = room.closest(0, &corners);
        room.measure(0, &closest, |index| moving[index])
    }

    fn pose(&self, spot: Spot) -> Pose<T> {
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
            Pin::Turn(curve, cog) => Some(self.missed_turn(spot.parameter, curve, cog)),
        };
        if let Some(step) = step {
            q = q - step;
            self.motion.pose(q, &mut pose);
        }
        pose
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
