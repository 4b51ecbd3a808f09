//! Positions and velocities at one moment, and how each step of a plan makes them.

use super::closure::{Closure, Factors, ShockLength};
use super::plan::Plan;
use super::step::{Pair, place};
use crate::number::{Point, Scalar, Vector};

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
    /// The shock's length where it drives.
    pub(super) shock: ShockLength<T>,
    /// The driven body's turning where one is turned.
    pub(super) turning: Turning<T>,
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
    /// The rotation with `function` of cosine and sine.
    #[inline(always)]
    #[must_use]
    pub fn map<S>(&self, function: impl Fn(&T) -> S) -> Rotation<S> {
        Rotation {
            cosine: function(&self.cosine),
            sine: function(&self.sine),
        }
    }

    /// The angle in radians, in (-pi, pi].
    #[must_use]
    pub fn angle(self) -> T {
        self.sine.atan2(self.cosine)
    }
}

impl<T: Scalar> Pose<T> {
    /// An empty pose for `plan`, to be filled by [`super::Motion::pose`].
    #[must_use]
    pub fn new(plan: &Plan) -> Self {
        let zero = T::from_f64(0.0);
        Self {
            points: vec![Point::constant(Point::new(0.0, 0.0)); plan.points],
            velocities: vec![Vector::zero(); plan.points],
            margins: vec![zero; plan.margin_count()],
            stroke: zero,
            stroke_rate: zero,
            shock: ShockLength {
                squared: zero,
                rate: zero,
            },
            turning: Turning {
                cosine: zero,
                sine: zero,
                rate: zero,
            },
        }
    }

    /// Whether the mechanism assembles in `lane`.
    #[must_use]
    pub fn assembles(&self, lane: usize) -> bool {
        self.margins.iter().all(|margin| margin.lane(lane) > 0.0)
    }
}

/// The driven body's turning at one moment.
#[derive(Clone, Copy, Debug)]
pub(super) struct Turning<T> {
    pub cosine: T,
    pub sine: T,
    /// Derivative of the angle by `q`.
    pub rate: T,
}

impl<T: Scalar> Pose<T> {
    #[inline(always)]
    pub(super) fn place(&mut self, coordinates: &[T], base: [usize; 2], point: usize) {
        let [a, b] = base;
        let line = self.points[b] - self.points[a];
        self.points[point] = self.points[a] + place(coordinates, line);
        let line = self.velocities[b] - self.velocities[a];
        self.velocities[point] = self.velocities[a] + place(coordinates, line);
    }

    /// Closes a pair and returns its margin.
    #[inline(always)]
    pub(super) fn close_pair(
        &mut self,
        dimensions: &[T],
        ends: [usize; 2],
        pivot: usize,
        shock: bool,
    ) -> T {
        let (first, length_rate) = if shock {
            (self.shock.squared, Some(self.shock.rate))
        } else {
            (dimensions[0], None)
        };
        let pair = Pair {
            lengths_squared: [first, dimensions[1]],
            length_rate,
            side: dimensions[2].value(),
        };
        let [a, b] = ends;
        let points = [self.points[a], self.points[b]];
        let meeting = pair.meet(points);
        let velocities = [self.velocities[a], self.velocities[b]];
        self.points[pivot] = meeting.pivot;
        self.velocities[pivot] = pair.velocity(velocities, &meeting);
        meeting.area_squared * dimensions[3]
    }

    #[inline(always)]
    pub(super) fn turn(&mut self, offset: &[T], pivot: usize, point: usize) {
        let Turning { cosine, sine, rate } = self.turning;
        let drawn = Vector::new(offset[0], offset[1]);
        let turned = drawn * cosine + drawn.turned_left() * sine;
        self.points[point] = self.points[pivot] + turned;
        self.velocities[point] = self.velocities[pivot] + turned.turned_left() * rate;
    }

    /// Closes several bodies together and returns the margin.
    pub(super) fn close(
        &mut self,
        closure: &Closure,
        dimensions: &[T],
        guess: &dyn Fn(usize) -> Option<Vec<Point<f64>>>,
    ) -> T {
        let shock = self.shock;
        let factors: Vec<Option<Factors>> = (0..T::LANES)
            .map(|lane| self.close_lane(closure, dimensions, shock, guess(lane)?, lane))
            .collect();
        let closed = T::from_lanes(|lane| if factors[lane].is_some() { 1.0 } else { -1.0 });
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
                break;
            };
            for (&point, step) in closure.unknowns().iter().zip(steps.chunks_exact(2)) {
                let velocity = self.velocities[point] - Vector::new(step[0], step[1]);
                self.velocities[point] = velocity;
            }
        }
        closed
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
