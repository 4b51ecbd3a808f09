//! Closure equations of all bodies, with the full matrix of their derivatives.

use super::Moment;
use pivotwright::input::{Mechanism, PointId};
use pivotwright::number::{Point, Vector};

/// A body's angle counts as its turning times this arm, mm, so that all unknowns are alike.
const ARM: f64 = 100.0;

pub struct Equations<'l> {
    mechanism: &'l Mechanism,
    /// Every joint as point, body, body.
    joints: Vec<(usize, usize, usize)>,
}

impl<'l> Equations<'l> {
    pub fn new(mechanism: &'l Mechanism) -> Self {
        let mut joints = Vec::new();
        for point in 0..mechanism.points.len() {
            let on: Vec<usize> = bodies_of(mechanism, point);
            joints.extend(on.iter().skip(1).map(|&other| (point, on[0], other)));
        }
        Self { mechanism, joints }
    }

    pub fn unknown_count(&self) -> usize {
        3 * (self.mechanism.bodies.len() - 1)
    }

    /// Some body that carries the point.
    pub fn carrier(&self, point: usize) -> usize {
        bodies_of(self.mechanism, point)[0]
    }

    /// First of the three unknowns of a body; none for the frame.
    fn column(&self, body: usize) -> Option<usize> {
        let frame = self.mechanism.frame.index();
        match body.cmp(&frame) {
            std::cmp::Ordering::Less => Some(3 * body),
            std::cmp::Ordering::Equal => None,
            std::cmp::Ordering::Greater => Some(3 * (body - 1)),
        }
    }

    fn drawn(&self, point: usize) -> Point<f64> {
        self.mechanism.points[point].position
    }

    fn reference(&self, body: usize) -> Point<f64> {
        self.drawn(self.mechanism.bodies[body].points[0].index())
    }

    pub fn angle(&self, unknowns: &[f64], body: usize) -> f64 {
        self.column(body)
            .map_or(0.0, |column| unknowns[column + 2] / ARM)
    }

    pub fn place(&self, unknowns: &[f64], body: usize, point: usize) -> Point<f64> {
        let Some(column) = self.column(body) else {
            return self.drawn(point);
        };
        let arm = self.turned_arm(unknowns, body, point);
        self.reference(body) + Vector::new(unknowns[column], unknowns[column + 1]) + arm
    }

    /// From the body's reference point to `point`, as the body stands.
    fn turned_arm(&self, unknowns: &[f64], body: usize, point: usize) -> Vector<f64> {
        let arm = self.drawn(point) - self.reference(body);
        let (sine, cosine) = self.angle(unknowns, body).sin_cos();
        Vector::new(arm.x * cosine - arm.y * sine, arm.x * sine + arm.y * cosine)
    }

    pub fn point_rate(
        &self,
        unknowns: &[f64],
        rates: &[f64],
        body: usize,
        point: usize,
    ) -> Vector<f64> {
        let Some(column) = self.column(body) else {
            return Vector::new(0.0, 0.0);
        };
        let arm = self.turned_arm(unknowns, body, point);
        let turning = rates[column + 2] / ARM;
        Vector::new(
            rates[column] - arm.y * turning,
            rates[column + 1] + arm.x * turning,
        )
    }

    /// Distance between the shock's eyes.
    pub fn shock_length(&self, unknowns: &[f64]) -> f64 {
        let [a, b] = self.shock_eyes(unknowns);
        (b.x - a.x).hypot(b.y - a.y)
    }

    fn shock_eyes(&self, unknowns: &[f64]) -> [Point<f64>; 2] {
        self.mechanism
            .shock
            .ends
            .map(|end| self.place(unknowns, self.carrier(end.index()), end.index()))
    }

    /// How the joints gape.
    pub fn gaps(&self, unknowns: &[f64]) -> Vec<f64> {
        let gap = |&(point, first, second): &(usize, usize, usize)| {
            let gap = self.place(unknowns, first, point) - self.place(unknowns, second, point);
            [gap.x, gap.y]
        };
        self.joints.iter().flat_map(gap).collect()
    }

    /// Adds `factor` times the derivative of a point's place along `along` to a row.
    fn add(
        &self,
        row: &mut [f64],
        unknowns: &[f64],
        (body, point): (usize, usize),
        along: Vector<f64>,
    ) {
        if let Some(column) = self.column(body) {
            let arm = self.turned_arm(unknowns, body, point);
            row[column] += along.x;
            row[column + 1] += along.y;
            row[column + 2] += (arm.x * along.y - arm.y * along.x) / ARM;
        }
    }

    /// Derivatives of the gaps, row by row.
    pub fn gap_rows(&self, unknowns: &[f64]) -> Vec<Vec<f64>> {
        let mut rows = Vec::new();
        for &(point, first, second) in &self.joints {
            for along in [Vector::new(1.0, 0.0), Vector::new(0.0, 1.0)] {
                let mut row = vec![0.0; self.unknown_count()];
                self.add(&mut row, unknowns, (first, point), along);
                self.add(&mut row, unknowns, (second, point), -along);
                rows.push(row);
            }
        }
        rows
    }

    /// Derivative of the shock's length.
    pub fn shock_row(&self, unknowns: &[f64]) -> Vec<f64> {
        let [a, b] = self.shock_eyes(unknowns);
        let length = self.shock_length(unknowns);
        let along = Vector::new((b.x - a.x) / length, (b.y - a.y) / length);
        let [end_a, end_b] = self.mechanism.shock.ends.map(PointId::index);
        let mut row = vec![0.0; self.unknown_count()];
        self.add(&mut row, unknowns, (self.carrier(end_b), end_b), along);
        self.add(&mut row, unknowns, (self.carrier(end_a), end_a), -along);
        row
    }

    /// All joints closed and the shock at `length`, from a guess.
    pub fn newton(&self, mut unknowns: Vec<f64>, length: f64) -> Option<Vec<f64>> {
        let mut settled = 0;
        for _ in 0..30 {
            let mut wrong = self.gaps(&unknowns);
            wrong.push(self.shock_length(&unknowns) - length);
            let mut rows = self.gap_rows(&unknowns);
            rows.push(self.shock_row(&unknowns));
            let step = eliminate(rows, wrong)?;
            for (unknown, step) in unknowns.iter_mut().zip(&step) {
                *unknown -= step;
            }
            if step.iter().all(|step| step.abs() < 1e-9) {
                settled += 1;
            }
            if settled == 2 {
                return Some(unknowns);
            }
        }
        None
    }

    /// The moment of solved unknowns: the shock shortens by one mm per mm of stroke.
    pub fn moment(&self, unknowns: Vec<f64>) -> Option<Moment> {
        let mut rows = self.gap_rows(&unknowns);
        rows.push(self.shock_row(&unknowns));
        let mut right = vec![0.0; rows.len()];
        *right.last_mut()? = -1.0;
        let rates = eliminate(rows, right)?;
        Some(Moment { unknowns, rates })
    }
}

fn bodies_of(mechanism: &Mechanism, point: usize) -> Vec<usize> {
    let carries = |body: &usize| {
        let mut points = mechanism.bodies[*body].points.iter();
        points.any(|other| other.index() == point)
    };
    (0..mechanism.bodies.len()).filter(carries).collect()
}

/// Gauss elimination with row exchanges; `None` where the matrix is singular.
pub fn eliminate(mut rows: Vec<Vec<f64>>, mut right: Vec<f64>) -> Option<Vec<f64>> {
    let size = right.len();
    for column in 0..size {
        let pivot = (column..size)
            .max_by(|&a, &b| rows[a][column].abs().total_cmp(&rows[b][column].abs()))?;
        if rows[pivot][column].abs() < 1e-13 {
            return None;
        }
        rows.swap(column, pivot);
        right.swap(column, pivot);
        let (done, below) = rows.split_at_mut(column + 1);
        let top = &done[column];
        for (offset, row) in below.iter_mut().enumerate() {
            let factor = row[column] / top[column];
            if factor != 0.0 {
                for (entry, above) in row[column..].iter_mut().zip(&top[column..]) {
                    *entry -= factor * above;
                }
                right[column + 1 + offset] -= factor * right[column];
            }
        }
    }
    for column in (0..size).rev() {
        let known: f64 = (column + 1..size)
            .map(|other| rows[column][other] * right[other])
            .sum();
        right[column] = (right[column] - known) / rows[column][column];
    }
    Some(right)
}
