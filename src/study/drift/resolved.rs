//! How far a point may move if the rest may follow.
//!
//! Along a ray the distance itself is a variable: it is made as large as targets, limits and
//! boxes of the brief allow, with every other free coordinate re-optimised (sequential quadratic
//! programming from the layout as it is). What is reported is the distance of a layout that was
//! verified on the continuous curves.

use super::REACH;
use crate::curves::Suspension;
use crate::design::{Assessment, DesignProblem, Purpose, RowSource};
use crate::input::{Axis, Brief, FreePlace, FreePoint, ObjectiveSet, PointId};
use crate::mechanism::{Plan, find_end};
use crate::number::{Point, Vector};
use crate::optimise::{
    Derivatives, Evaluation, Feasible, FeasibleSettings, Interval, Minimiser, MinimiserSettings,
    NotEvaluable, Problem, Row, RowWeights,
};
use crate::study::sensitivity::unit;
use rayon::prelude::*;

/// Rays among which the worst is looked for.
const RAYS: u32 = 16;

/// Rows may be missed by this much, before verification narrows the bands by what is missing.
const ROW_TOLERANCE: f64 = 1e-5;

/// Largest first moves of the solver that are tried, in widths of boxes.
const RADII: [f64; 2] = [0.1, 0.01];

/// Where no run gets anywhere, it is crept on by steps no smaller than this, mm.
const LEAST_STEP: f64 = 0.01;

/// How often bands are narrowed.
const VERIFICATIONS: usize = 6;

const SETTINGS: MinimiserSettings = MinimiserSettings {
    row_tolerance: ROW_TOLERANCE,
    step_tolerance: 1e-7,
    fall_tolerance: 1e-5,
    progress: 1e-4,
    patience: 8,
    radius: 0.1,
    price: 1.0,
    weights: RowWeights::Slope,
    budget: 120,
};

/// How far one point may move in one direction.
#[derive(Clone, Debug, PartialEq)]
pub struct ResolvedExit {
    /// Degrees counter-clockwise from `x`.
    pub direction: f64,
    /// mm, of a verified layout.
    pub distance: f64,
    /// What holds it back most; none where that is its reach.
    pub holds: Option<RowSource>,
    /// The layout there.
    pub points: Vec<Point<f64>>,
}

impl ResolvedExit {
    /// Takes over a verified layout if it is farther away.
    fn take(&mut self, distance: f64, holds: Option<RowSource>, points: Vec<Point<f64>>) {
        if distance > self.distance {
            self.distance = distance;
            self.holds = holds.filter(|_| distance < REACH - 1e-6);
            self.points = points;
        }
    }
}

/// How far one point may move if the rest may follow.
#[derive(Clone, Debug, PartialEq)]
pub struct ResolvedDrift {
    /// The point.
    pub point: PointId,
    /// Along +x, -x, +y and -y.
    pub axes: [ResolvedExit; 4],
    /// In the direction in which it is least.
    pub worst: ResolvedExit,
}

/// How far each point that the brief lets move may go; `brief` is about the layout itself.
#[must_use]
pub fn resolved(plan: &Plan, brief: &Brief, points: &[PointId]) -> Vec<ResolvedDrift> {
    points
        .par_iter()
        .filter_map(|&point| {
            let loosened = loosen(brief, point);
            let variant = loosened.variants().first().copied()?;
            let problem = DesignProblem::new(plan, &loosened, variant);
            let pivot = Pivot::new(plan, &loosened, &problem, point)?;
            let exit = |direction: f64| pivot.exit(direction);
            let axes = [0.0, 180.0, 90.0, 270.0].map(exit);
            let step = 360.0 / f64::from(RAYS);
            let mut worst = axes[0].clone();
            let all = (0..RAYS).map(|ray| f64::from(ray) * step);
            let between = all.filter(|direction| direction % 90.0 != 0.0).map(exit);
            for exit in axes[1..].iter().cloned().chain(between) {
                if exit.distance < worst.distance {
                    worst = exit;
                }
            }
            // Between the rays by halves, from the worst on.
            let mut width = step;
            for _ in 0..3 {
                width *= 0.5;
                for direction in [worst.direction - width, worst.direction + width] {
                    let there = exit(direction.rem_euclid(360.0));
                    if there.distance < worst.distance {
                        worst = there;
                    }
                }
            }
            Some(ResolvedDrift { point, axes, worst })
        })
        .collect()
}

/// The brief with `point` free to go anywhere, and where it is an end of the shock the other
/// end placed about it.
fn loosen(brief: &Brief, point: PointId) -> Brief {
    let mut loosened = brief.clone();
    let here = brief.layout.mechanism.position(point);
    loosened.free.retain(|free| free.point != point);
    let anywhere = |value: f64| Axis::Free {
        low: value - REACH,
        high: value + REACH,
    };
    loosened.free.push(FreePoint {
        point,
        from: None,
        place: FreePlace::Cartesian {
            x: anywhere(here.x),
            y: anywhere(here.y),
        },
    });
    let ends = brief.layout.mechanism.shock.ends;
    if let Some(end) = ends.iter().position(|&end| end == point) {
        let other = ends[1 - end];
        // The second end of two that are free is the one that the shock's length places.
        loosened.layout.mechanism.shock.ends = [point, other];
        if !loosened.free.iter().any(|free| free.point == other) {
            let line = brief.layout.mechanism.position(other) - here;
            let drawn = libm::atan2(line.y, line.x).to_degrees();
            loosened.free.push(FreePoint {
                point: other,
                from: Some(point),
                place: FreePlace::Angle {
                    low: drawn - 60.0,
                    high: drawn + 60.0,
                },
            });
        }
    }
    loosened
}

/// One pivot whose moves are asked about.
struct Pivot<'a> {
    plan: &'a Plan,
    brief: &'a Brief,
    problem: &'a DesignProblem<'a>,
    /// The variables of its `x` and `y`.
    own: [usize; 2],
    start: Vec<f64>,
    here: Point<f64>,
}

impl<'a> Pivot<'a> {
    fn new(
        plan: &'a Plan,
        brief: &'a Brief,
        problem: &'a DesignProblem<'a>,
        point: PointId,
    ) -> Option<Self> {
        let mechanism = &brief.layout.mechanism;
        let name = &mechanism.points[point.index()].name;
        let index = |axis: &str| {
            let wanted = format!("{name}.{axis}");
            let variables = problem.variables().iter();
            variables.map(|v| &v.name).position(|name| *name == wanted)
        };
        let drawn: Vec<Point<f64>> = mechanism.points.iter().map(|p| p.position).collect();
        Some(Self {
            plan,
            brief,
            problem,
            own: [index("x")?, index("y")?],
            start: problem.construction().variables_of(&drawn),
            here: mechanism.position(point),
        })
    }

    fn exit(&self, direction: f64) -> ResolvedExit {
        let mut best = ResolvedExit {
            direction,
            distance: 0.0,
            holds: None,
            points: self.problem.construction().points(&self.start),
        };
        let mut from = Ray::start(&self.start, self.own);
        for radius in RADII {
            self.go(unit(direction), radius, &from, &mut best);
            if best.distance > 0.0 {
                break;
            }
        }
        // From where it got, once more: a curved way may have ended a run early.
        if best.distance > 0.0 && best.distance < REACH - 1e-6 {
            let x = self.problem.construction().variables_of(&best.points);
            from = Ray::start(&x, self.own);
            from[0] = best.distance;
            self.go(unit(direction), RADII[0], &from, &mut best);
        } else if best.distance <= 0.0 {
            self.creep(unit(direction), &mut best);
        }
        best
    }

    /// Goes as far as one run of the solver gets, with bands narrowed by what verification finds.
    fn go(&self, along: Vector<f64>, radius: f64, from: &[f64], best: &mut ResolvedExit) {
        let mut from = from.to_vec();
        let mut tightening = 2.0 * ROW_TOLERANCE;
        for _ in 0..VERIFICATIONS {
            let mut ray = Ray::new(self, along, tightening);
            let settings = MinimiserSettings { radius, ..SETTINGS };
            let outcome = Minimiser::new(settings).solve(&mut ray, &from);
            let points = self.points_of(&ray, &outcome.x);
            let violation = self.violation(&points);
            let holds = ray.holds(&outcome.row_multipliers);
            if best.holds.is_none() {
                best.holds = holds;
            }
            if violation <= 0.0 {
                best.take(outcome.x[0], holds, points);
                return;
            }
            if outcome.violation > 10.0 * ROW_TOLERANCE {
                // The solver itself found nothing; narrower bands would not help it.
                return;
            }
            tightening += 1.05 * violation.min(0.1) + 1e-6;
            from = outcome.x;
        }
    }

    /// Goes ahead in steps that are halved where nothing is found, with everything met anew after
    /// each: slower than a run, but it cannot lose its way.
    fn creep(&self, along: Vector<f64>, best: &mut ResolvedExit) {
        let mut from = Ray::start(&self.start, self.own);
        let mut step = 1.0;
        while step > LEAST_STEP && best.distance < REACH {
            let mut found = false;
            for tightening in [0.0, 1e-4, 1e-3, 1e-2] {
                let mut ray = Ray::new(self, along, tightening);
                let at = (best.distance + step).min(REACH);
                ray.bounds[0] = Interval::new(at, at);
                let settings = FeasibleSettings::default();
                let outcome = Feasible::new(settings).solve(&mut ray, &from);
                let points = self.points_of(&ray, &outcome.x);
                if self.violation(&points) <= 0.0 {
                    let holds = best.holds;
                    best.take(at, holds, points);
                    from = outcome.x;
                    found = true;
                    break;
                }
            }
            step *= if found { 1.5 } else { 0.5 };
        }
    }

    fn points_of(&self, ray: &Ray, at: &[f64]) -> Vec<Point<f64>> {
        self.problem.construction().points(&ray.variables(at))
    }

    /// The largest violation on the continuous curves; zero where everything is met.
    fn violation(&self, points: &[Point<f64>]) -> f64 {
        let construction = self.problem.construction();
        let stroke = construction.size().stroke;
        let axle = self.brief.layout.bicycle.rear_axle;
        if !construction.reaches(points) || find_end(self.plan, points, stroke, axle).is_some() {
            return f64::INFINITY;
        }
        let bicycle = self.problem.bicycle().clone();
        let suspension = Suspension::assembled(self.plan, bicycle, points, stroke);
        let sets: Vec<&ObjectiveSet> = self.brief.objectives.iter().map(|(_, set)| set).collect();
        let assessment = Assessment::new(&suspension, &sets, &self.brief.limits);
        assessment.violation().max(construction.outside_box(points))
    }
}

/// The problem of going as far as can be: the distance, then all variables but the pivot's own.
struct Ray<'a> {
    inner: DesignProblem<'a>,
    own: [usize; 2],
    here: Point<f64>,
    along: Vector<f64>,
    bounds: Vec<Interval>,
    x: Vec<f64>,
    slopes: Derivatives,
}

impl<'a> Ray<'a> {
    fn new(pivot: &Pivot<'a>, along: Vector<f64>, tightening: f64) -> Self {
        let inner = pivot.problem.with_purpose(Purpose::Meet, tightening);
        let bounds = inner.bounds().iter().enumerate();
        let others = bounds.filter(|(index, _)| !pivot.own.contains(index));
        let bounds = std::iter::once(Interval::new(0.0, REACH))
            .chain(others.map(|(_, bound)| *bound))
            .collect();
        let mut slopes = Derivatives::default();
        slopes.resize(&inner);
        Self {
            x: pivot.start.clone(),
            own: pivot.own,
            here: pivot.here,
            along,
            bounds,
            slopes,
            inner,
        }
    }

    fn start(x: &[f64], own: [usize; 2]) -> Vec<f64> {
        let others = x
            .iter()
            .enumerate()
            .filter(|(index, _)| !own.contains(index));
        std::iter::once(0.0)
            .chain(others.map(|(_, value)| *value))
            .collect()
    }

    /// The variables of the construction.
    fn variables(&self, ray: &[f64]) -> Vec<f64> {
        let mut x = self.x.clone();
        let mut rest = ray[1..].iter();
        for (index, slot) in x.iter_mut().enumerate() {
            if !self.own.contains(&index) {
                *slot = rest.next().copied().unwrap_or(*slot);
            }
        }
        x[self.own[0]] = self.here.x + ray[0] * self.along.x;
        x[self.own[1]] = self.here.y + ray[0] * self.along.y;
        x
    }

    /// What holds the point back most.
    fn holds(&self, multipliers: &[f64]) -> Option<RowSource> {
        let row = (0..multipliers.len())
            .max_by(|&a, &b| multipliers[a].abs().total_cmp(&multipliers[b].abs()))?;
        (multipliers[row] != 0.0).then(|| self.inner.row_source(row))
    }
}

impl Problem for Ray<'_> {
    fn bounds(&self) -> &[Interval] {
        &self.bounds
    }

    fn rows(&self) -> &[Row] {
        self.inner.rows()
    }

    fn evaluate(&mut self, ray: &[f64], out: &mut Evaluation) -> Result<(), NotEvaluable> {
        let x = self.variables(ray);
        self.inner.evaluate(&x, out)?;
        out.objective = -ray[0];
        Ok(())
    }

    fn differentiate(&mut self, ray: &[f64], out: &mut Derivatives) -> Result<(), NotEvaluable> {
        let x = self.variables(ray);
        self.slopes.rows.fill(0.0);
        self.inner.differentiate(&x, &mut self.slopes)?;
        out.objective[0] = -1.0;
        let lines = out.rows.chunks_exact_mut(ray.len());
        for (line, slopes) in lines.zip(self.slopes.rows.chunks_exact(x.len())) {
            line[0] = slopes[self.own[0]] * self.along.x + slopes[self.own[1]] * self.along.y;
            let others = slopes.iter().enumerate();
            let others = others.filter(|(index, _)| !self.own.contains(index));
            for (slot, (_, slope)) in line[1..].iter_mut().zip(others) {
                *slot = *slope;
            }
        }
        Ok(())
    }
}
