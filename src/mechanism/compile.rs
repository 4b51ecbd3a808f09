//! Puts a mechanism in an order in which its points follow from one another.

use super::closure::Closure;
use super::ending::reach;
use super::plan::{Driver, Plan, Step};
use super::structure;
use crate::input::{BodyId, Faults, Mechanism, PointId};
use crate::number::Point;

impl Plan {
    /// Compiles the mechanism of a layout file named `file`.
    ///
    /// # Errors
    /// The structure does not make a mechanism of one degree of freedom, or cannot move
    /// from the drawn position.
    pub fn compile(file: &str, mechanism: &Mechanism) -> Result<Self, Faults> {
        structure::check(file, mechanism)?;
        let mut by_shock = Order::new(mechanism);
        by_shock.close_pairs(true);
        if by_shock.complete() {
            return Ok(by_shock.finish(Driver::Shock));
        }
        // Only one thing may drive: a body is turned in an order that has not used the shock.
        let mut order = Order::new(mechanism);
        order.close_pairs(false);
        let mut plans = order.turn_a_body();
        by_shock.close_the_rest();
        plans.push(by_shock.finish(Driver::Shock));
        Ok(farthest_reaching(plans, mechanism))
    }
}

/// The first plan that moves the drawn mechanism over its whole stroke, or else the one that
/// moves it farthest: a body that is turned may turn back while the shock still shortens.
fn farthest_reaching(mut plans: Vec<Plan>, mechanism: &Mechanism) -> Plan {
    let points = mechanism.points.iter();
    let drawn: Vec<Point<f64>> = points.map(|point| point.position).collect();
    let stroke = mechanism.shock.stroke;
    let (mut best, mut farthest) = (0, f64::NEG_INFINITY);
    for (index, plan) in plans.iter().enumerate() {
        let reached = reach(plan, &drawn, stroke);
        // Rounding must not decide between plans that end at the same place.
        if reached > farthest + 1e-6 * stroke {
            (best, farthest) = (index, reached);
        }
        if reached >= stroke {
            break;
        }
    }
    plans.swap_remove(best)
}

/// The construction while it is being put in order.
#[derive(Clone)]
struct Order<'a> {
    mechanism: &'a Mechanism,
    /// Points of each body, the shock last as a body of its two ends.
    bodies: Vec<Vec<usize>>,
    placed: Vec<bool>,
    posed: Vec<bool>,
    steps: Vec<Step>,
}

impl<'a> Order<'a> {
    fn new(mechanism: &'a Mechanism) -> Self {
        let mut bodies: Vec<Vec<usize>> = mechanism
            .bodies
            .iter()
            .map(|body| body.points.iter().map(|point| point.index()).collect())
            .collect();
        bodies.push(mechanism.shock.ends.map(PointId::index).to_vec());
        let mut order = Self {
            mechanism,
            placed: vec![false; mechanism.points.len()],
            posed: vec![false; bodies.len()],
            bodies,
            steps: Vec::new(),
        };
        let frame = mechanism.frame.index();
        order.posed[frame] = true;
        for &point in &order.bodies[frame] {
            order.placed[point] = true;
        }
        order.place_all();
        order
    }

    fn shock(&self) -> usize {
        self.bodies.len() - 1
    }

    fn complete(&self) -> bool {
        self.posed.iter().all(|&posed| posed)
    }

    fn distance(&self, a: usize, b: usize) -> f64 {
        let points = &self.mechanism.points;
        (points[a].position - points[b].position).length()
    }

    /// The pair of points farthest apart among `points`: the best conditioned base.
    fn farthest(&self, points: &[usize]) -> Option<[usize; 2]> {
        let pairs = points
            .iter()
            .enumerate()
            .flat_map(|(i, &a)| points[i + 1..].iter().map(move |&b| [a, b]));
        pairs
            .max_by(|a, b| {
                self.distance(a[0], a[1])
                    .total_cmp(&self.distance(b[0], b[1]))
            })
            .filter(|pair| self.distance(pair[0], pair[1]) > structure::COINCIDENT)
    }

    fn widest(&self, body: usize) -> Option<[usize; 2]> {
        self.farthest(&self.bodies[body])
    }

    fn placed_points(&self, body: usize) -> Vec<usize> {
        self.bodies[body]
            .iter()
            .copied()
            .filter(|&point| self.placed[point])
            .collect()
    }

    /// Places the points of every body of which two are placed, until nothing changes.
    fn place_all(&mut self) {
        let mut changed = true;
        while changed {
            changed = false;
            for body in 0..self.bodies.len() {
                if self.posed[body] {
                    continue;
                }
                if let Some(base) = self.farthest(&self.placed_points(body)) {
                    self.place_body(body, base);
                    changed = true;
                }
            }
        }
    }

    fn place_body(&mut self, body: usize, base: [usize; 2]) {
        self.posed[body] = true;
        for point in self.bodies[body].clone() {
            if !self.placed[point] {
                self.placed[point] = true;
                self.steps.push(Step::Place { base, point });
            }
        }
    }

    /// Closes every pair of bodies that meet in a pivot and are each held by a placed
    /// point, until none is left; the shock counts as a body if `with_shock`.
    fn close_pairs(&mut self, with_shock: bool) {
        while let Some((step, bodies)) = self.find_pair(with_shock) {
            if let Step::Pair { pivot, .. } = &step {
                self.placed[*pivot] = true;
            }
            let Step::Pair { ends, pivot, .. } = step else {
                return;
            };
            self.steps.push(step);
            for (body, end) in bodies.into_iter().zip(ends) {
                self.place_body(body, [end, pivot]);
            }
            self.place_all();
        }
    }

    fn find_pair(&self, with_shock: bool) -> Option<(Step, [usize; 2])> {
        let count = if with_shock {
            self.bodies.len()
        } else {
            self.shock()
        };
        let held = |body: usize| {
            (!self.posed[body])
                .then(|| self.placed_points(body).first().copied())
                .flatten()
        };
        for first in 0..count {
            let Some(first_end) = held(first) else {
                continue;
            };
            for second in first + 1..count {
                let Some(second_end) = held(second) else {
                    continue;
                };
                let pivot = self.bodies[first].iter().copied().find(|&point| {
                    !self.placed[point]
                        && self.bodies[second].contains(&point)
                        && self.distance(point, first_end) > structure::COINCIDENT
                        && self.distance(point, second_end) > structure::COINCIDENT
                });
                if let Some(pivot) = pivot {
                    let shock = second == self.shock();
                    let (mut ends, mut bodies) = ([first_end, second_end], [first, second]);
                    if shock {
                        ends.reverse();
                        bodies.reverse();
                    }
                    return Some((Step::Pair { ends, pivot, shock }, bodies));
                }
            }
        }
        None
    }

    /// The plan, once every body is posed.
    fn finish(self, driver: Driver) -> Plan {
        let frame = self.mechanism.frame.index();
        Plan {
            points: self.mechanism.points.len(),
            fixed: self.bodies[frame].clone(),
            references: (0..self.mechanism.bodies.len())
                .map(|body| (body != frame).then(|| self.widest(body)).flatten())
                .collect(),
            steps: self.steps,
            driver,
            shock: self.mechanism.shock.ends.map(PointId::index),
        }
    }

    /// Plans that turn one body about a placed pivot such that everything closes in pairs
    /// without the shock. The body that carries the axle, or else the one nearest to it, comes
    /// first: it turns as long as the wheel moves.
    fn turn_a_body(&self) -> Vec<Plan> {
        let axle = self.axle_distance();
        let mut candidates: Vec<usize> = (0..self.shock())
            .filter(|&body| !self.posed[body])
            .collect();
        candidates.sort_by_key(|&body| (axle[body], body));
        let mut plans = Vec::new();
        for body in candidates {
            let Some(pivot) = self.placed_points(body).first().copied() else {
                continue;
            };
            let mut order = self.clone();
            order.posed[body] = true;
            for point in order.bodies[body].clone() {
                if !order.placed[point] {
                    order.placed[point] = true;
                    order.steps.push(Step::Turn { pivot, point });
                }
            }
            order.place_all();
            order.close_pairs(false);
            if order.posed[..order.shock()].iter().all(|&posed| posed) {
                plans.push(order.finish(Driver::Body(BodyId(body))));
            }
        }
        plans
    }

    /// Of each body, over how many pivots it is away from the axle.
    fn axle_distance(&self) -> Vec<usize> {
        let mut distance = vec![usize::MAX; self.bodies.len()];
        distance[self.mechanism.axle_body.index()] = 0;
        for _ in 0..self.bodies.len() {
            for a in 0..self.shock() {
                for b in 0..self.shock() {
                    let frame = self.mechanism.frame.index();
                    let meets = self.bodies[a]
                        .iter()
                        .any(|point| self.bodies[b].contains(point));
                    if meets && b != frame && distance[b] != usize::MAX {
                        distance[a] = distance[a].min(distance[b] + 1);
                    }
                }
            }
        }
        distance
    }

    fn close_the_rest(&mut self) {
        let open: Vec<usize> = (0..self.bodies.len())
            .filter(|&body| !self.posed[body])
            .collect();
        let closure = Closure::new(&self.bodies, &open, &self.placed, self.shock(), |points| {
            self.farthest(points)
        });
        for &point in closure.unknowns() {
            self.placed[point] = true;
        }
        self.steps.push(Step::Close(closure));
        self.place_all();
    }
}
