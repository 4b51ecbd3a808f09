//! All points of a mechanism at any moment of its motion.
//!
//! The parameter `q` runs from 0 (full extension) to 1 (full stroke). Where the shock's
//! length is an input of the plan, `q` is the fraction of the stroke; where a body is
//! turned instead, it is the fraction of the tangent of half its turning angle, so
//! that no position needs an iteration: only the angle at full stroke does.

use super::closure::{Closure, Factors, ShockLength};
use super::plan::{Driver, Plan, Step};
use super::step::{Pair, measure_place, measure_side, place};
use super::track::Track;
use crate::input::BodyId;
use crate::number::{Point, Scalar, Vector, roots};

/// Tangent of half the angle, 170 degrees, up to which a body is turned to find the end of a
/// motion.
const FARTHEST_HALF_TANGENT: f64 = 12.0;

/// One candidate's mechanism, ready to be posed; lanes are candidates or positions.
#[derive(Clone, Debug)]
pub struct Motion<'p, T> {
    plan: &'p Plan,
    drawn: Vec<Point<T>>,
    dimensions: Vec<T>,
    /// Of every body, one over the squared distance of its reference points.
    orientations: Vec<T>,
    eye_to_eye: T,
    stroke: T,
    turn: Turn<T>,
    tracks: Vec<Track>,
}

/// How far the driven body turns; all zero where the shock drives.
#[derive(Clone, Copy, Debug)]
struct Turn<T> {
    /// Tangent of half the angle at full stroke.
    half_tangent: T,
    /// +1 where that angle was found, -1 where not.
    found: T,
}

/// Positions and velocities of all points at one moment; velocities are by `q`.
///
/// Where [`Pose::margins`] are not all positive the mechanism does not assemble, and the
/// other numbers mean nothing and may be anything.
#[derive(Clone, Debug)]
pub struct Pose<T> {
    /// Position of every point, mm.
    pub points: Vec<Point<T>>,
    /// Velocity of every point, mm per unit of `q`.
    pub velocities: Vec<Vector<T>>,
    /// How far from its end each step is: squared sine of the angle between the two links of
    /// a pair (scaled by the lengths drawn), or +1 and -1 for what closes only together.
    pub margins: Vec<T>,
    /// Shortening of the shock, mm.
    pub stroke: T,
    /// Its derivative by `q`, mm.
    pub stroke_rate: T,
}

/// A body's turning since full extension, counter-clockwise.
#[derive(Clone, Copy, Debug)]
pub struct Rotation<T> {
    /// Cosine of the angle.
    pub cosine: T,
    /// Sine of the angle.
    pub sine: T,
}

impl<T: Scalar> Rotation<T> {
    /// The angle in radians, in (-pi, pi].
    #[must_use]
    pub fn angle(self) -> T {
        self.sine.atan2(self.cosine)
    }
}

impl<T: Scalar> Pose<T> {
    /// An empty pose for `plan`, to be filled by [`Motion::pose`].
    #[must_use]
    pub fn new(plan: &Plan) -> Self {
        Self {
            points: vec![Point::constant(Point::new(0.0, 0.0)); plan.points],
            velocities: vec![Vector::zero(); plan.points],
            margins: Vec::with_capacity(plan.steps.len() + 2),
            stroke: T::from_f64(0.0),
            stroke_rate: T::from_f64(0.0),
        }
    }

    /// Whether the mechanism assembles in `lane`.
    #[must_use]
    pub fn assembles(&self, lane: usize) -> bool {
        self.margins.iter().all(|margin| margin.lane(lane) > 0.0)
    }
}

impl<'p, T: Scalar> Motion<'p, T> {
    /// The motion of the mechanism drawn with `drawn` points (one per point of the plan,
    /// at full extension) over `stroke` mm.
    #[must_use]
    pub fn new(plan: &'p Plan, drawn: &[Point<T>], stroke: T) -> Self {
        let mut motion = Self::empty(plan);
        motion.redraw(drawn, stroke);
        motion
    }

    /// The same for other points and another stroke, in the same memory.
    pub fn redraw(&mut self, drawn: &[Point<T>], stroke: T) {
        self.measure(drawn, stroke);
        let plan = self.plan;
        if matches!(plan.driver, Driver::Body(_)) {
            let values: Vec<Point<T::Value>> = drawn.iter().map(|point| point.value()).collect();
            let (half_tangent, found) = Motion::measured(plan, &values, stroke.value()).find_turn();
            // The loop is not differentiated: one Newton step at its end carries the
            // derivatives over (implicit function theorem).
            let half_tangent = T::from_value(half_tangent);
            self.turn = Turn {
                half_tangent,
                found: T::from_value(found),
            };
            let mut pose = Pose::new(plan);
            self.pose(T::from_f64(1.0), &mut pose);
            let slope = T::from_value((pose.stroke_rate / half_tangent).value());
            self.turn.half_tangent = half_tangent - (pose.stroke - stroke) / slope;
        }
        if plan.steps.iter().any(|step| matches!(step, Step::Close(_))) {
            self.tracks = self.follow_lanes();
        }
    }

    /// A motion of nothing, to be redrawn.
    #[must_use]
    pub fn empty(plan: &'p Plan) -> Self {
        let zero = T::from_f64(0.0);
        Self {
            plan,
            drawn: Vec::with_capacity(plan.points),
            dimensions: Vec::with_capacity(4 * plan.steps.len()),
            orientations: Vec::with_capacity(plan.references.len()),
            eye_to_eye: zero,
            stroke: zero,
            turn: Turn {
                half_tangent: zero,
                found: zero,
            },
            tracks: Vec::new(),
        }
    }

    /// A motion whose driven body is turned by `q` itself.
    fn measured(plan: &'p Plan, drawn: &[Point<T>], stroke: T) -> Self {
        let mut motion = Self::empty(plan);
        motion.measure(drawn, stroke);
        motion
    }

    fn measure(&mut self, drawn: &[Point<T>], stroke: T) {
        let plan = self.plan;
        let one = T::from_f64(1.0);
        self.drawn.clear();
        self.drawn.extend_from_slice(drawn);
        self.dimensions.clear();
        let dimensions = &mut self.dimensions;
        for step in &plan.steps {
            match step {
                Step::Place { base, point } => {
                    dimensions.extend(measure_place(base.map(|end| drawn[end]), drawn[*point]));
                }
                Step::Pair { ends, pivot, .. } => {
                    let ends = ends.map(|end| drawn[end]);
                    let lengths = ends.map(|end| (drawn[*pivot] - end).length_squared());
                    dimensions.extend(lengths);
                    dimensions.push(measure_side(ends, drawn[*pivot]));
                    dimensions.push(one / (lengths[0] * lengths[1]));
                }
                Step::Turn { pivot, point } => {
                    let offset = drawn[*point] - drawn[*pivot];
                    dimensions.extend([offset.x, offset.y]);
                }
                Step::Close(closure) => closure.measure(drawn, dimensions),
            }
        }
        self.orientations.clear();
        self.orientations
            .extend(plan.references.iter().map(|reference| match reference {
                Some([a, b]) => one / (drawn[*b] - drawn[*a]).length_squared(),
                None => T::from_f64(0.0),
            }));
        self.eye_to_eye = (drawn[plan.shock[1]] - drawn[plan.shock[0]]).length();
        self.stroke = stroke;
        self.turn = Turn {
            half_tangent: one,
            found: one,
        };
        self.tracks.clear();
    }

    /// The compiled plan this motion follows.
    #[must_use]
    pub fn plan(&self) -> &'p Plan {
        self.plan
    }

    /// The points at full extension.
    #[must_use]
    pub fn drawn(&self) -> &[Point<T>] {
        &self.drawn
    }

    /// Full stroke, mm.
    #[must_use]
    pub fn full_stroke(&self) -> T {
        self.stroke
    }

    /// Poses the mechanism at `q`.
    pub fn pose(&self, q: T, pose: &mut Pose<T>) {
        self.pose_near(q, pose, &|lane| {
            let track = self.tracks.get(lane).or(self.tracks.first())?;
            track.predict(q.lane(lane))
        });
    }

    /// Poses the mechanism at `q`; what closes only together starts from `guess`.
    pub(super) fn pose_near(
        &self,
        q: T,
        pose: &mut Pose<T>,
        guess: &dyn Fn(usize) -> Option<Vec<Point<f64>>>,
    ) {
        pose.margins.clear();
        for &point in &self.plan.fixed {
            pose.points[point] = self.drawn[point];
            pose.velocities[point] = Vector::zero();
        }
        let length = self.eye_to_eye - q * self.stroke;
        let shock = ShockLength {
            squared: length.squared(),
            rate: -(length * self.stroke),
        };
        let half = q * self.turn.half_tangent;
        let inverse = T::from_f64(1.0) / (half * half + 1.0);
        let turning = Turning {
            cosine: (-(half * half) + 1.0) * inverse,
            sine: half * inverse * 2.0,
            rate: self.turn.half_tangent * inverse * 2.0,
        };
        let mut dimensions = self.dimensions.as_slice();
        for step in &self.plan.steps {
            let (own, rest) = dimensions.split_at(step.dimension_count());
            dimensions = rest;
            match step {
                Step::Place { base, point } => pose.place(own, *base, *point),
                Step::Pair {
                    ends,
                    pivot,
                    shock: link,
                } => {
                    pose.close_pair(own, *ends, *pivot, link.map(|link| (link, shock)));
                }
                Step::Turn { pivot, point } => pose.turn(own, *pivot, *point, turning),
                Step::Close(closure) => pose.close(closure, own, shock, guess),
            }
        }
        self.follow_shock(q, pose);
    }

    fn follow_shock(&self, q: T, pose: &mut Pose<T>) {
        if self.plan.driver == Driver::Shock {
            pose.stroke = q * self.stroke;
            pose.stroke_rate = self.stroke;
            return;
        }
        let [a, b] = self.plan.shock;
        let line = pose.points[b] - pose.points[a];
        let length = line.length();
        pose.stroke = self.eye_to_eye - length;
        pose.stroke_rate = -line.dot(pose.velocities[b] - pose.velocities[a]) / length;
        pose.margins.push(pose.stroke_rate / self.stroke);
        pose.margins.push(self.turn.found);
    }

    /// How far `body` has turned since full extension.
    #[must_use]
    pub fn rotation(&self, body: BodyId, pose: &Pose<T>) -> Rotation<T> {
        let index = body.index();
        let Some(Some([a, b])) = self.plan.references.get(index) else {
            return Rotation {
                cosine: T::from_f64(1.0),
                sine: T::from_f64(0.0),
            };
        };
        let before = self.drawn[*b] - self.drawn[*a];
        let now = pose.points[*b] - pose.points[*a];
        let inverse = self.orientations[index];
        Rotation {
            cosine: before.dot(now) * inverse,
            sine: before.cross(now) * inverse,
        }
    }

    /// Angular velocity of `body`, radians per unit of `q`, counter-clockwise.
    #[must_use]
    pub fn angular_velocity(&self, body: BodyId, pose: &Pose<T>) -> T {
        let index = body.index();
        let Some(Some([a, b])) = self.plan.references.get(index) else {
            return T::from_f64(0.0);
        };
        let line = pose.points[*b] - pose.points[*a];
        line.cross(pose.velocities[*b] - pose.velocities[*a]) * self.orientations[index]
    }

    /// The same motion, looked at as if full stroke were reached: for a motion whose driven
    /// body could not be turned to full stroke, `q` becomes the fraction of the tangent of half
    /// the angle up to nearly half a circle, in the direction that shortens the shock.
    pub(super) fn unreached(mut self) -> Self {
        let lost = (0..T::LANES).any(|lane| self.turn.found.lane(lane) < 0.0);
        if lost {
            self.turn = Turn {
                half_tangent: T::from_f64(FARTHEST_HALF_TANGENT),
                found: T::from_f64(1.0),
            };
            let mut pose = Pose::new(self.plan);
            self.pose(T::from_f64(0.0), &mut pose);
            let direction = |lane: usize| {
                if pose.stroke_rate.lane(lane) < 0.0 {
                    -FARTHEST_HALF_TANGENT
                } else {
                    FARTHEST_HALF_TANGENT
                }
            };
            self.turn.half_tangent = T::from_lanes(direction);
        }
        self
    }

    /// How many times more steps than usual it takes to look at the whole motion.
    pub(super) fn lengthening(&self) -> u32 {
        let reach = self.turn.half_tangent.lane(0).abs();
        (1..12)
            .find(|&times| reach <= f64::from(times))
            .unwrap_or(12)
    }

    /// Drawn points and stroke of one lane, in plain numbers.
    fn lane(&self, lane: usize) -> (Vec<Point<f64>>, f64) {
        let points = self
            .drawn
            .iter()
            .map(|p| Point::new(p.x.lane(lane), p.y.lane(lane)));
        (points.collect(), self.stroke.lane(lane))
    }

    fn follow_lanes(&self) -> Vec<Track> {
        let first = self.lane(0);
        let follow = |(drawn, stroke): &(Vec<Point<f64>>, f64)| {
            Track::follow(&Motion::measured(self.plan, drawn, *stroke))
        };
        if (1..T::LANES).all(|other| self.lane(other) == first) {
            return vec![follow(&first)];
        }
        (0..T::LANES)
            .map(|index| follow(&self.lane(index)))
            .collect()
    }
}

impl Motion<'_, f64> {
    /// Tangent of half the angle that the driven body turns at full stroke, found by steps
    /// that leave no position out; `None` where the motion ends before.
    fn walk_turn(mut self) -> Option<f64> {
        const LONGEST_STEP: f64 = 0.05;
        let mut pose = Pose::new(self.plan);
        self.pose(0.0, &mut pose);
        let direction = if pose.stroke_rate < 0.0 { -1.0 } else { 1.0 };
        self.turn.half_tangent = direction;
        let (mut half, mut step) = (0.0, LONGEST_STEP);
        self.pose(half, &mut pose);
        while pose.assembles(0) && half < FARTHEST_HALF_TANGENT && step > 1e-9 {
            let missing = self.stroke - pose.stroke;
            if missing <= 1e-14 * self.eye_to_eye {
                return Some(half * direction);
            }
            let newton = missing / pose.stroke_rate;
            // A little farther than Newton says, so that the goal is passed, not crept up to.
            let next = half + if newton < step { 1.01 * newton } else { step };
            self.pose(next, &mut pose);
            if !pose.assembles(0) {
                step *= 0.5;
            } else if pose.stroke >= self.stroke {
                let missing = |half: f64| {
                    self.pose(half, &mut pose);
                    pose.stroke - self.stroke
                };
                return roots::bracketed(missing, half, next).map(|half| half * direction);
            } else {
                half = next;
            }
            self.pose(half, &mut pose);
        }
        None
    }
}

impl<V: Scalar<Value = V>> Motion<'_, V> {
    /// Tangent of half the angle that the driven body turns at full stroke, and +1 where it
    /// was found, -1 where not.
    ///
    /// Newton towards an eighth of the stroke after another, each from the slope of the
    /// last, then three times towards its end: a fixed number of iterations, so that
    /// neighbouring lanes cannot alter one another's bits. A lane that it does not bring to
    /// full stroke is walked on its own.
    fn find_turn(&self) -> (V, V) {
        const STAGES: usize = 8;
        let mut pose = Pose::new(self.plan);
        let mut half = V::from_f64(0.0);
        for stage in 1..=STAGES + 3 {
            self.pose(half, &mut pose);
            let target = self.stroke * (stage.min(STAGES) as f64 / STAGES as f64);
            half = half + (target - pose.stroke) / pose.stroke_rate;
        }
        self.pose(half, &mut pose);
        let close = |lane: usize| {
            let missed = pose.stroke.lane(lane) - self.stroke.lane(lane);
            missed.abs() <= 1e-9 * self.eye_to_eye.lane(lane)
        };
        // Where Newton lost its way, which is rare in what moves, the way is walked.
        let mut walked: Vec<Option<f64>> = Vec::with_capacity(V::LANES);
        for lane in 0..V::LANES {
            let (drawn, stroke) = self.lane(lane);
            walked.push(if close(lane) {
                Some(half.lane(lane))
            } else if lane > 0 && !close(lane - 1) && self.lane(lane - 1) == (drawn.clone(), stroke)
            {
                // Lanes that are positions of one candidate need one walk.
                walked[lane - 1]
            } else {
                Motion::measured(self.plan, &drawn, stroke).walk_turn()
            });
        }
        let half = V::from_lanes(|lane| walked[lane].unwrap_or(half.lane(lane)));
        let found = V::from_lanes(|lane| if walked[lane].is_some() { 1.0 } else { -1.0 });
        (half, found)
    }
}

/// The driven body's turning at one moment.
#[derive(Clone, Copy)]
struct Turning<T> {
    cosine: T,
    sine: T,
    /// Derivative of the angle by `q`.
    rate: T,
}

impl<T: Scalar> Pose<T> {
    #[inline(always)]
    fn place(&mut self, coordinates: &[T], base: [usize; 2], point: usize) {
        let [a, b] = base;
        let line = self.points[b] - self.points[a];
        self.points[point] = self.points[a] + place(coordinates, line);
        let line = self.velocities[b] - self.velocities[a];
        self.velocities[point] = self.velocities[a] + place(coordinates, line);
    }

    #[inline(always)]
    fn close_pair(
        &mut self,
        dimensions: &[T],
        ends: [usize; 2],
        pivot: usize,
        shock: Option<(usize, ShockLength<T>)>,
    ) {
        let zero = T::from_f64(0.0);
        let mut pair = Pair {
            lengths_squared: [dimensions[0], dimensions[1]],
            length_rates: [zero, zero],
            side: dimensions[2],
        };
        if let Some((link, length)) = shock {
            pair.lengths_squared[link] = length.squared;
            pair.length_rates[link] = length.rate;
        }
        let points = ends.map(|end| self.points[end]);
        let meeting = pair.meet(points);
        let velocities = ends.map(|end| self.velocities[end]);
        self.points[pivot] = meeting.pivot;
        self.velocities[pivot] = pair.velocity(points, velocities, &meeting);
        self.margins.push(meeting.area_squared * dimensions[3]);
    }

    #[inline(always)]
    fn turn(&mut self, offset: &[T], pivot: usize, point: usize, turning: Turning<T>) {
        let drawn = Vector::new(offset[0], offset[1]);
        let turned = drawn * turning.cosine + drawn.turned_left() * turning.sine;
        self.points[point] = self.points[pivot] + turned;
        self.velocities[point] = self.velocities[pivot] + turned.turned_left() * turning.rate;
    }

    fn close(
        &mut self,
        closure: &Closure,
        dimensions: &[T],
        shock: ShockLength<T>,
        guess: &dyn Fn(usize) -> Option<Vec<Point<f64>>>,
    ) {
        let factors: Vec<Option<Factors>> = (0..T::LANES)
            .map(|lane| self.close_lane(closure, dimensions, shock, guess(lane)?, lane))
            .collect();
        let closed = T::from_lanes(|lane| if factors[lane].is_some() { 1.0 } else { -1.0 });
        self.margins.push(closed);
        let mut solve = |lane: usize, right: &[f64]| match &factors[lane] {
            Some(factors) => factors.solve(right),
            // A lane that did not close has a negative margin; its numbers are not used.
            None => Some(vec![0.0; right.len()]),
        };
        // One Newton step at the solution carries the derivatives over.
        let residuals = closure.residuals(dimensions, shock, &self.points);
        if let Some(steps) = T::apply_linear(&residuals, &mut solve) {
            for (&point, step) in closure.unknowns().iter().zip(steps.chunks_exact(2)) {
                self.points[point] = self.points[point] - Vector::new(step[0], step[1]);
            }
        }
        for &point in closure.unknowns() {
            self.velocities[point] = Vector::zero();
        }
        // The first solve gives the velocities, the second, at them, their derivatives.
        for _ in 0..2 {
            let rates = closure.rates(dimensions, shock, &self.points, &self.velocities);
            let Some(steps) = T::apply_linear(&rates, &mut solve) else {
                return;
            };
            for (&point, step) in closure.unknowns().iter().zip(steps.chunks_exact(2)) {
                let velocity = self.velocities[point] - Vector::new(step[0], step[1]);
                self.velocities[point] = velocity;
            }
        }
    }

    /// Solves one lane in plain numbers and leaves the solution as constants in the pose.
    fn close_lane(
        &mut self,
        closure: &Closure,
        dimensions: &[T],
        shock: ShockLength<T>,
        guess: Vec<Point<f64>>,
        lane: usize,
    ) -> Option<Factors> {
        let mut points: Vec<Point<f64>> = self
            .points
            .iter()
            .map(|p| Point::new(p.x.lane(lane), p.y.lane(lane)))
            .collect();
        for (&unknown, start) in closure.unknowns().iter().zip(guess) {
            points[unknown] = start;
        }
        let plain: Vec<f64> = dimensions.iter().map(|value| value.lane(lane)).collect();
        let length = ShockLength {
            squared: shock.squared.lane(lane),
            rate: shock.rate.lane(lane),
        };
        let factors = closure.solve(&plain, length, &mut points)?;
        for &unknown in closure.unknowns() {
            let (kept, solved) = (self.points[unknown], points[unknown]);
            let set = |kept: T, solved: f64| {
                T::from_lanes(|other| {
                    if other == lane {
                        solved
                    } else {
                        kept.lane(other)
                    }
                })
            };
            self.points[unknown] = Point::new(set(kept.x, solved.x), set(kept.y, solved.y));
        }
        Some(factors)
    }
}
