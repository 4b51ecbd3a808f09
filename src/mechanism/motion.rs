//! All points of a mechanism at any moment of its motion.
//!
//! The parameter `q` runs from 0 (full extension) to 1 (full stroke). Where the shock's
//! length is an input of the plan, `q` is the fraction of the stroke; where a body is
//! turned instead, it is the fraction of the tangent of half its turning angle, so
//! that no position needs an iteration: only the angle at full stroke does.

use super::closure::ShockLength;
use super::plan::{Driver, Plan, Step};
use super::pose::{Pose, Rotation, Turning};
use super::step::{measure_place, measure_side};
use super::track::Track;
use super::turn::Turn;
use crate::input::BodyId;
use crate::number::{Point, Scalar};

/// One candidate's mechanism, ready to be posed; lanes are candidates or positions.
#[derive(Clone, Debug)]
pub struct Motion<'p, T> {
    pub(super) plan: &'p Plan,
    pub(super) drawn: Vec<Point<T>>,
    dimensions: Vec<T>,
    /// Of every body, one over the squared distance of its reference points.
    orientations: Vec<T>,
    pub(super) eye_to_eye: T,
    pub(super) stroke: T,
    pub(super) turn: Turn<T>,
    tracks: Vec<Track>,
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

    /// Makes every lane the motion of one candidate.
    pub fn repeat(&mut self, single: &Motion<'p, T::Lane>) {
        let all = |lanes: &mut Vec<T>, single: &[T::Lane]| {
            lanes.clear();
            lanes.extend(single.iter().map(|&number| T::broadcast(number)));
        };
        self.drawn.clear();
        let drawn = single.drawn.iter();
        self.drawn
            .extend(drawn.map(|point| point.map(|&number| T::broadcast(number))));
        all(&mut self.dimensions, &single.dimensions);
        all(&mut self.orientations, &single.orientations);
        self.eye_to_eye = T::broadcast(single.eye_to_eye);
        self.stroke = T::broadcast(single.stroke);
        self.turn = Turn {
            half_tangent: T::broadcast(single.turn.half_tangent),
            found: T::broadcast(single.turn.found),
        };
        self.tracks.clone_from(&single.tracks);
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
    pub(super) fn measured(plan: &'p Plan, drawn: &[Point<T>], stroke: T) -> Self {
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
        self.pose_all(&[q], std::slice::from_mut(pose));
    }

    /// Poses the mechanism at each of `parameters`.
    ///
    /// Step by step over all poses, not pose by pose: what a step computes for one pose does
    /// not wait for another's, so that the processor works on several at once.
    pub fn pose_all(&self, parameters: &[T], poses: &mut [Pose<T>]) {
        self.pose_near(parameters, poses, &|q, lane| {
            let track = self.tracks.get(lane).or(self.tracks.first())?;
            track.predict(q.lane(lane))
        });
    }

    /// The same; what closes only together starts from `guess` of a parameter and a lane.
    pub(super) fn pose_near(
        &self,
        parameters: &[T],
        poses: &mut [Pose<T>],
        guess: &dyn Fn(T, usize) -> Option<Vec<Point<f64>>>,
    ) {
        for (&q, pose) in parameters.iter().zip(poses.iter_mut()) {
            self.drive(q, pose);
        }
        let mut dimensions = self.dimensions.as_slice();
        let mut margin = 0;
        for step in &self.plan.steps {
            let (own, rest) = dimensions.split_at(step.dimension_count());
            dimensions = rest;
            match step {
                Step::Place { base, point } => {
                    for pose in poses.iter_mut() {
                        pose.place(own, *base, *point);
                    }
                }
                Step::Pair { ends, pivot, shock } => {
                    for pose in poses.iter_mut() {
                        pose.margins[margin] = pose.close_pair(own, *ends, *pivot, *shock);
                    }
                    margin += 1;
                }
                Step::Turn { pivot, point } => {
                    for pose in poses.iter_mut() {
                        pose.turn(own, *pivot, *point);
                    }
                }
                Step::Close(closure) => {
                    for (&q, pose) in parameters.iter().zip(poses.iter_mut()) {
                        pose.margins[margin] = pose.close(closure, own, &|lane| guess(q, lane));
                    }
                    margin += 1;
                }
            }
        }
        if let Driver::Body(_) = self.plan.driver {
            for pose in poses {
                self.follow_shock(pose, margin);
            }
        }
    }

    /// Sets what moves the mechanism, and the points that stand still.
    #[inline(always)]
    fn drive(&self, q: T, pose: &mut Pose<T>) {
        for &point in &self.plan.fixed {
            pose.points[point] = self.drawn[point];
        }
        match self.plan.driver {
            Driver::Shock => {
                pose.stroke = q * self.stroke;
                pose.stroke_rate = self.stroke;
                let length = self.eye_to_eye - pose.stroke;
                pose.shock = ShockLength {
                    squared: length.squared(),
                    rate: -(length * self.stroke),
                };
            }
            Driver::Body(_) => {
                let half = q * self.turn.half_tangent;
                let inverse = T::from_f64(1.0) / (half * half + 1.0);
                pose.turning = Turning {
                    cosine: (-(half * half) + 1.0) * inverse,
                    sine: half * inverse * 2.0,
                    rate: self.turn.half_tangent * inverse * 2.0,
                };
            }
        }
    }

    /// Measures the shock where a body is turned; its margins begin at number `margin`.
    fn follow_shock(&self, pose: &mut Pose<T>, margin: usize) {
        let [a, b] = self.plan.shock;
        let line = pose.points[b] - pose.points[a];
        let length = line.length();
        pose.stroke = self.eye_to_eye - length;
        pose.stroke_rate = -line.dot(pose.velocities[b] - pose.velocities[a]) / length;
        pose.margins[margin] = pose.stroke_rate / self.stroke;
        pose.margins[margin + 1] = self.turn.found;
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

    /// Drawn points and stroke of one lane, in plain numbers.
    pub(super) fn lane(&self, lane: usize) -> (Vec<Point<f64>>, f64) {
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
