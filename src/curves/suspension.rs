//! One layout's exact curves: any moment, any place, extrema of the continuous curve.

use super::bicycle::{Bicycle, Cog};
use super::state::State;
use super::sweep::{Extreme, Rate, Sweep};
use crate::input::{Curve, Fault, Faults, Layout, Place, SagOf};
use crate::mechanism::{Ending, Motion, MotionEnd, Plan, Pose, find_end};
use crate::number::{Point, Scalar, roots};

/// One layout, moved exactly.
#[derive(Clone, Debug)]
pub struct Suspension<'p> {
    pub(super) bicycle: Bicycle,
    motion: Motion<'p, f64>,
    sweep: Sweep<'p>,
    total_travel: f64,
    pub(super) top: State<f64>,
    sag: f64,
}

impl<'p> Suspension<'p> {
    /// Moves `layout`, read from the file named `file`, over its whole stroke.
    ///
    /// # Errors
    /// The motion ends before full stroke: how, where, and at which pivot.
    pub fn new(plan: &'p Plan, file: &str, layout: &Layout) -> Result<Self, Faults> {
        let drawn: Vec<Point<f64>> = layout
            .mechanism
            .points
            .iter()
            .map(|point| point.position)
            .collect();
        let stroke = layout.mechanism.shock.stroke;
        if let Some(end) = find_end(plan, &drawn, stroke, layout.bicycle.rear_axle) {
            return Err(Faults(vec![describe(file, layout, end)]));
        }
        Ok(Self::assembled(plan, Bicycle::new(layout), &drawn, stroke))
    }

    /// The same for points that are known to assemble over the whole of `stroke` mm.
    #[must_use]
    pub fn assembled(plan: &'p Plan, bicycle: Bicycle, drawn: &[Point<f64>], stroke: f64) -> Self {
        let mut suspension = Self {
            bicycle,
            motion: Motion::empty(plan),
            sweep: Sweep::empty(plan),
            total_travel: 0.0,
            top: State::empty(),
            sag: 0.0,
        };
        suspension.redraw(drawn, stroke);
        suspension
    }

    /// The same bicycle with other points, which are known to assemble over the whole of `stroke`
    /// mm, in the same memory.
    pub fn redraw(&mut self, drawn: &[Point<f64>], stroke: f64) {
        let axle = self.bicycle.axle;
        self.motion.redraw(drawn, stroke);
        let mut pose = self.pose(1.0);
        self.total_travel = pose.points[axle].y - drawn[axle].y;
        self.motion.pose(0.0, &mut pose);
        self.top
            .set(&self.bicycle, &self.motion, &pose, self.total_travel);
        self.sweep
            .redraw(&self.bicycle, drawn, stroke, self.total_travel);
        let sag = self.bicycle.sag;
        self.sag = match sag.of {
            SagOf::Travel => self.parameter_at_travel(sag.fraction * self.total_travel),
            SagOf::Stroke => self.parameter_at_stroke(sag.fraction * stroke),
        };
    }

    /// The motion in numbers of another type.
    pub(crate) fn motion_in<T: Scalar>(&self) -> Motion<'p, T> {
        let drawn: Vec<Point<T>> = self
            .motion
            .drawn()
            .iter()
            .map(|&p| Point::constant(p))
            .collect();
        let stroke = T::from_f64(self.full_stroke());
        Motion::new(self.motion.plan(), &drawn, stroke)
    }

    /// The compiled plan of its mechanism.
    #[must_use]
    pub fn plan(&self) -> &'p Plan {
        self.motion.plan()
    }

    /// The points at full extension.
    #[must_use]
    pub fn drawn(&self) -> &[Point<f64>] {
        self.motion.drawn()
    }

    /// Whether it assembles and the wheel rises in even steps over the whole motion: cheap, where
    /// [`find_end`] looks closely.
    #[must_use]
    pub fn moves(&self) -> bool {
        self.sweep.moves(self.bicycle.axle)
    }

    /// The bicycle around the mechanism.
    #[must_use]
    pub fn bicycle(&self) -> &Bicycle {
        &self.bicycle
    }

    /// Total travel, mm.
    #[must_use]
    pub fn total_travel(&self) -> f64 {
        self.total_travel
    }

    /// Full stroke, mm.
    #[must_use]
    pub fn full_stroke(&self) -> f64 {
        self.motion.full_stroke()
    }

    /// Parameter of the motion, 0 to 1, at which the wheel has risen by `travel` mm.
    ///
    /// Values outside the travel give the nearer end.
    #[must_use]
    pub fn parameter_at_travel(&self, travel: f64) -> f64 {
        if travel <= 0.0 {
            return 0.0;
        }
        if travel >= self.total_travel {
            return 1.0;
        }
        let axle = self.bicycle.axle;
        let drawn = self.motion.drawn()[axle].y;
        let between = self.sweep.around(travel, |state| state.travel);
        self.crossing(between, |pose| pose.points[axle].y - drawn - travel)
    }

    /// Parameter of the motion, 0 to 1, at which the shock is shortened by `stroke` mm.
    #[must_use]
    pub fn parameter_at_stroke(&self, stroke: f64) -> f64 {
        if stroke <= 0.0 {
            return 0.0;
        }
        if stroke >= self.full_stroke() {
            return 1.0;
        }
        let between = self.sweep.around(stroke, |state| state.stroke);
        self.crossing(between, |pose| pose.stroke - stroke)
    }

    /// Where what is `missing` comes to zero: between two parameters or, where rounding puts it
    /// beyond them, anywhere.
    fn crossing(&self, (low, high): (f64, f64), missing: impl Fn(&Pose<f64>) -> f64) -> f64 {
        let mut pose = Pose::new(self.motion.plan());
        let mut missing = |q: f64| {
            self.motion.pose(q, &mut pose);
            missing(&pose)
        };
        roots::bracketed(&mut missing, low, high)
            .or_else(|| roots::bracketed(&mut missing, 0.0, 1.0))
            .unwrap_or(1.0)
    }

    /// Parameter of the motion at a place.
    #[must_use]
    pub fn parameter_at(&self, place: Place) -> f64 {
        match place {
            Place::Top => 0.0,
            Place::Sag => self.sag,
            Place::End => 1.0,
            Place::Fraction(fraction) => self.parameter_at_travel(fraction * self.total_travel),
        }
    }

    /// The state at parameter `q`.
    #[must_use]
    pub fn state(&self, q: f64) -> State<f64> {
        state_at(&self.bicycle, &self.motion, q, self.total_travel)
    }

    /// The pose of all points at parameter `q`.
    #[must_use]
    pub fn pose(&self, q: f64) -> Pose<f64> {
        let mut pose = Pose::new(self.motion.plan());
        self.motion.pose(q, &mut pose);
        pose
    }

    /// The value of `curve` in `state`; `cog` matters only where the curve depends on it.
    #[must_use]
    pub fn value(&self, curve: Curve, state: &State<f64>, cog: Cog) -> f64 {
        state.value(curve, &self.bicycle, &self.top, cog)
    }

    /// Both ends of the range of parameters and every extremum of `curve` between them, in order.
    #[must_use]
    pub fn turning_points(&self, curve: Curve, cog: Cog, from: f64, to: f64) -> Vec<Extreme> {
        self.turning_points_of(from, to, |state| {
            state.value(curve, &self.bicycle, self.top_in_lanes(), cog)
        })
    }

    /// The state at top as functions of the state for [`Suspension::turning_points_of`] see it.
    pub(crate) fn top_in_lanes(&self) -> &State<Rate> {
        &self.sweep.top
    }

    /// The same for any function of the state.
    pub(crate) fn turning_points_of(
        &self,
        from: f64,
        to: f64,
        function: impl Fn(&State<Rate>) -> Rate,
    ) -> Vec<Extreme> {
        self.sweep
            .turning_points(&self.bicycle, (from, to), |_, state| function(state))
    }

    /// The same for any function of the points' positions.
    pub(crate) fn turning_points_of_pose(
        &self,
        from: f64,
        to: f64,
        function: impl Fn(&Pose<Rate>) -> Rate,
    ) -> Vec<Extreme> {
        self.sweep
            .turning_points(&self.bicycle, (from, to), |pose, _| function(pose))
    }
}

/// The state of a motion at one parameter.
fn state_at<T: Scalar>(
    bicycle: &Bicycle,
    motion: &Motion<'_, T>,
    q: T,
    total_travel: T,
) -> State<T> {
    let mut pose = Pose::new(motion.plan());
    motion.pose(q, &mut pose);
    State::new(bicycle, motion, &pose, total_travel)
}

fn describe(file: &str, layout: &Layout, end: MotionEnd) -> Fault {
    let at = end.pivot.map_or(String::new(), |pivot| {
        format!(
            " with the links at pivot \"{}\" in line",
            layout.mechanism.points[pivot.index()].name
        )
    });
    let how = match end.ending {
        Ending::Locks => format!("the linkage locks{at}"),
        Ending::DeadPoint => {
            format!("the shock reaches its dead point{at}: the leverage rate grows without bound")
        }
        Ending::WheelTurnsBack if end.stroke <= 0.0 => {
            "the wheel does not rise as the shock shortens".to_owned()
        }
        Ending::WheelTurnsBack => {
            "the wheel turns back: the leverage rate falls to zero".to_owned()
        }
    };
    let advice = if end.stroke > 0.0 {
        format!(
            "shorten the stroke to below {:.3} mm, or move a pivot",
            end.stroke
        )
    } else {
        "check which way the shock is worked".to_owned()
    };
    Fault::new(
        file,
        "mechanism.shock.stroke",
        format!("{} mm", layout.mechanism.shock.stroke),
        format!(
            "a motion over the whole stroke, but at stroke {:.3} mm (travel {:.3} mm) {how} ({advice})",
            end.stroke, end.travel
        ),
    )
}
