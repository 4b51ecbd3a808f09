//! A motion looked at so closely that no extremum of a curve is overlooked.

use super::bicycle::Bicycle;
use super::state::State;
use crate::mechanism::{Motion, Plan, Pose};
use crate::number::{Dual, LANES, Lanes, Point, Scalar, roots};

/// Eight numbers, each with its derivative by the parameter of the motion.
pub(crate) type Rate = Dual<Lanes, 1>;

/// Into how many intervals the motion is cut; a multiple of the lanes.
const INTERVALS: usize = 128;

/// Groups of lanes in which the steps are looked at.
const GROUPS: usize = INTERVALS / LANES;

/// How closely the parameter of an extremum is found; the curve is flat there.
const CLOSENESS: f64 = 1e-13;

/// A value on a curve and where it stands.
#[derive(Clone, Copy, Debug)]
pub struct Extreme {
    /// Parameter of the motion, 0 to 1.
    pub parameter: f64,
    /// The curve there.
    pub value: f64,
}

/// One layout's motion in steps of 1/128, with derivatives by its parameter.
///
/// Made once and read by every curve: extrema lie where the derivative changes its sign
/// between two of the steps, and are then found exactly.
#[derive(Clone, Debug)]
pub(super) struct Sweep<'p> {
    constants: Vec<Point<Dual<f64, 1>>>,
    single: Motion<'p, Dual<f64, 1>>,
    motion: Motion<'p, Rate>,
    total_travel: f64,
    poses: Vec<Pose<Rate>>,
    states: Vec<State<Rate>>,
    /// The state at top, in every lane.
    pub top: State<Rate>,
    top_pose: Pose<Rate>,
}

/// Parameter of step `index`.
fn parameter(index: usize) -> f64 {
    index as f64 / INTERVALS as f64
}

/// Parameters of the steps, in groups. Step 0 is left out, so that the groups end with the last
/// step.
fn parameters() -> [Rate; GROUPS] {
    std::array::from_fn(|group| {
        let steps = Lanes::from_lanes(|lane| parameter(group * Lanes::LANES + lane + 1));
        Rate::variable(steps, 0)
    })
}

impl<'p> Sweep<'p> {
    /// Memory for sweeps of mechanisms with this plan.
    pub fn empty(plan: &'p Plan) -> Self {
        Self {
            constants: Vec::new(),
            single: Motion::empty(plan),
            motion: Motion::empty(plan),
            total_travel: 0.0,
            poses: vec![Pose::new(plan); GROUPS],
            states: vec![State::empty(); GROUPS],
            top: State::empty(),
            top_pose: Pose::new(plan),
        }
    }

    /// Sweeps the motion of `drawn` points, which assemble over the whole of `stroke` mm.
    pub fn redraw(
        &mut self,
        bicycle: &Bicycle,
        drawn: &[Point<f64>],
        stroke: f64,
        total_travel: f64,
    ) {
        self.constants.clear();
        self.constants
            .extend(drawn.iter().map(|&point| Point::constant(point)));
        self.single.redraw(&self.constants, Dual::constant(stroke));
        self.motion.repeat(&self.single);
        self.total_travel = total_travel;
        self.motion.pose_all(&parameters(), &mut self.poses);
        let travel = Rate::from_f64(total_travel);
        for (state, pose) in self.states.iter_mut().zip(&self.poses) {
            state.set(bicycle, &self.motion, pose, travel);
        }
        self.motion.pose(Rate::from_f64(0.0), &mut self.top_pose);
        self.top.set(bicycle, &self.motion, &self.top_pose, travel);
    }

    /// The two steps between which a number of the state that grows with the parameter from
    /// less than `wanted` first reaches it; top and end where it does not.
    pub fn around(&self, wanted: f64, number: impl Fn(&State<Rate>) -> Rate) -> (f64, f64) {
        let reached = self.states.iter().enumerate().find_map(|(group, state)| {
            let values = number(state).value;
            let lane = (0..Lanes::LANES).find(|&lane| values.lane(lane) >= wanted)?;
            Some(group * Lanes::LANES + lane)
        });
        reached.map_or((0.0, 1.0), |step| (parameter(step), parameter(step + 1)))
    }

    /// Whether it assembles and the axle, point number `axle`, rises in every step.
    pub fn moves(&self, axle: usize) -> bool {
        self.poses.iter().all(|pose| {
            let rise = pose.velocities[axle].y.to_lanes();
            (0..Lanes::LANES).all(|lane| pose.assembles(lane) && rise[lane] > 0.0)
        })
    }

    /// Both ends of the range of parameters and every extremum between them, in order, of a
    /// function of the pose and the state.
    pub fn turning_points(
        &self,
        bicycle: &Bicycle,
        (from, to): (f64, f64),
        function: impl Fn(&Pose<Rate>, &State<Rate>) -> Rate,
    ) -> Vec<Extreme> {
        let mut pose = Pose::new(self.motion.plan());
        let mut state = State::empty();
        let travel = Rate::from_f64(self.total_travel);
        let mut at = |parameters: Lanes| {
            self.motion.pose(Rate::variable(parameters, 0), &mut pose);
            state.set(bicycle, &self.motion, &pose, travel);
            function(&pose, &state)
        };
        let ends = at(Lanes::from_lanes(|lane| if lane == 0 { from } else { to }));
        let end = |lane: usize, parameter: f64| Step {
            parameter,
            value: ends.lane(lane),
            slope: ends.partials[0].lane(lane),
        };
        let mut before = end(0, from);
        let mut points = vec![before.point()];
        let inside = self.steps(&function, from, to);
        for step in inside.into_iter().chain([end(1, to)]) {
            if before.slope * step.slope < 0.0 {
                let slope = |parameters: Lanes| at(parameters).partials[0];
                let (low, high) = (before.parameter, step.parameter);
                if let Some(parameter) = roots::bracketed_by_lanes(slope, low, high, CLOSENESS) {
                    let value = at(Lanes::from_f64(parameter)).lane(0);
                    points.push(Extreme { parameter, value });
                }
            } else if step.slope == 0.0 && step.parameter < to {
                points.push(step.point());
            }
            before = step;
        }
        points.push(before.point());
        points
    }

    /// The steps strictly inside a range.
    fn steps(
        &self,
        function: impl Fn(&Pose<Rate>, &State<Rate>) -> Rate,
        from: f64,
        to: f64,
    ) -> Vec<Step> {
        let mut steps = Vec::with_capacity(INTERVALS);
        for (group, (pose, state)) in self.poses.iter().zip(&self.states).enumerate() {
            let first = group * Lanes::LANES + 1;
            if parameter(first) >= to || parameter(first + Lanes::LANES - 1) <= from {
                continue;
            }
            let result = function(pose, state);
            let (values, slopes) = (result.value.to_lanes(), result.partials[0].to_lanes());
            for lane in 0..Lanes::LANES {
                let parameter = parameter(first + lane);
                if parameter > from && parameter < to {
                    steps.push(Step {
                        parameter,
                        value: values[lane],
                        slope: slopes[lane],
                    });
                }
            }
        }
        steps
    }
}

/// A curve at one step.
#[derive(Clone, Copy)]
struct Step {
    parameter: f64,
    value: f64,
    slope: f64,
}

impl Step {
    fn point(self) -> Extreme {
        Extreme {
            parameter: self.parameter,
            value: self.value,
        }
    }
}
