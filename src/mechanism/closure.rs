//! Several bodies that close only together: one simultaneous Newton.
//!
//! Unknown are the coordinates of the pivots between the bodies. A body with two known
//! or unknown points gives one equation (their distance), each further point two more
//! (its place on the body). The solution is followed from the drawn position along the
//! motion, so that the assembly branch cannot be left.

use crate::number::{Point, Scalar, Vector};
use nalgebra::{DMatrix, DVector, Dyn, LU};

/// Two points at a constant distance, or at the shock's length.
#[derive(Clone, Debug)]
struct Rod {
    ends: [usize; 2],
    shock: bool,
}

/// A point rigidly placed from two others.
#[derive(Clone, Debug)]
struct Plate {
    base: [usize; 2],
    point: usize,
}

/// The equations of bodies that close together.
#[derive(Clone, Debug)]
pub(super) struct Closure {
    unknowns: Vec<usize>,
    rods: Vec<Rod>,
    plates: Vec<Plate>,
}

/// The shock's squared length and length times rate, for the equations.
#[derive(Clone, Copy, Debug)]
pub(super) struct ShockLength<T> {
    pub squared: T,
    pub rate: T,
}

impl Closure {
    /// Equations of the `open` bodies; `base` picks the two best points of a list.
    pub fn new(
        bodies: &[Vec<usize>],
        open: &[usize],
        placed: &[bool],
        shock: usize,
        base: impl Fn(&[usize]) -> Option<[usize; 2]>,
    ) -> Self {
        let mut unknowns: Vec<usize> = (0..placed.len())
            .filter(|point| !placed[*point])
            .filter(|point| {
                open.iter()
                    .filter(|&&body| bodies[body].contains(point))
                    .count()
                    > 1
            })
            .collect();
        unknowns.sort_unstable();
        let (mut rods, mut plates) = (Vec::new(), Vec::new());
        for &body in open {
            let relevant: Vec<usize> = bodies[body]
                .iter()
                .copied()
                .filter(|point| placed[*point] || unknowns.contains(point))
                .collect();
            let Some(base) = base(&relevant) else {
                continue;
            };
            rods.push(Rod {
                ends: base,
                shock: body == shock,
            });
            for point in relevant.into_iter().filter(|point| !base.contains(point)) {
                plates.push(Plate { base, point });
            }
        }
        Self {
            unknowns,
            rods,
            plates,
        }
    }

    /// Slots of the unknown points.
    pub fn unknowns(&self) -> &[usize] {
        &self.unknowns
    }

    /// How many dimensions [`Closure::measure`] gives.
    pub fn dimension_count(&self) -> usize {
        self.rods.len() + 2 * self.plates.len()
    }

    /// Squared lengths of the rods, then coordinates of the plates.
    pub fn measure<T: Scalar>(&self, points: &[Point<T>], dimensions: &mut Vec<T>) {
        for rod in &self.rods {
            dimensions.push((points[rod.ends[1]] - points[rod.ends[0]]).length_squared());
        }
        for plate in &self.plates {
            let base = plate.base.map(|end| points[end]);
            dimensions.extend(super::step::measure_place(base, points[plate.point]));
        }
    }

    /// How far every equation is from being met.
    pub fn residuals<T: Scalar>(
        &self,
        dimensions: &[T],
        shock: ShockLength<T>,
        points: &[Point<T>],
    ) -> Vec<T> {
        let (lengths, places) = dimensions.split_at(self.rods.len());
        let mut residuals = Vec::with_capacity(self.dimension_count());
        for (rod, &length_squared) in self.rods.iter().zip(lengths) {
            let line = points[rod.ends[1]] - points[rod.ends[0]];
            let wanted = if rod.shock {
                shock.squared
            } else {
                length_squared
            };
            residuals.push((line.length_squared() - wanted) * 0.5);
        }
        for (plate, coordinates) in self.plates.iter().zip(places.chunks_exact(2)) {
            let line = points[plate.base[1]] - points[plate.base[0]];
            let offset = points[plate.point] - points[plate.base[0]];
            let error = offset - super::step::place(coordinates, line);
            residuals.extend([error.x, error.y]);
        }
        residuals
    }

    /// How far every equation's derivative by the parameter is from zero.
    pub fn rates<T: Scalar>(
        &self,
        dimensions: &[T],
        shock: ShockLength<T>,
        points: &[Point<T>],
        velocities: &[Vector<T>],
    ) -> Vec<T> {
        let places = &dimensions[self.rods.len()..];
        let mut rates = Vec::with_capacity(self.dimension_count());
        for rod in &self.rods {
            let line = points[rod.ends[1]] - points[rod.ends[0]];
            let growth = line.dot(velocities[rod.ends[1]] - velocities[rod.ends[0]]);
            rates.push(if rod.shock {
                growth - shock.rate
            } else {
                growth
            });
        }
        for (plate, coordinates) in self.plates.iter().zip(places.chunks_exact(2)) {
            let line = velocities[plate.base[1]] - velocities[plate.base[0]];
            let offset = velocities[plate.point] - velocities[plate.base[0]];
            let error = offset - super::step::place(coordinates, line);
            rates.extend([error.x, error.y]);
        }
        rates
    }

    /// Factorised derivative of the equations by the unknown coordinates.
    pub fn factorise(&self, dimensions: &[f64], points: &[Point<f64>]) -> Factors {
        let size = self.dimension_count();
        let mut matrix = DMatrix::zeros(size, 2 * self.unknowns.len());
        let column = |point: usize| self.unknowns.iter().position(|&unknown| unknown == point);
        let mut add = |row: usize, point: usize, x: f64, y: f64| {
            if let Some(column) = column(point) {
                matrix[(row, 2 * column)] += x;
                matrix[(row, 2 * column + 1)] += y;
            }
        };
        for (row, rod) in self.rods.iter().enumerate() {
            let line = points[rod.ends[1]] - points[rod.ends[0]];
            add(row, rod.ends[1], line.x, line.y);
            add(row, rod.ends[0], -line.x, -line.y);
        }
        let places = dimensions[self.rods.len()..].chunks_exact(2);
        for (index, (plate, place)) in self.plates.iter().zip(places).enumerate() {
            let row = self.rods.len() + 2 * index;
            let [first, second] = plate.base;
            add(row, plate.point, 1.0, 0.0);
            add(row, first, place[0] - 1.0, -place[1]);
            add(row, second, -place[0], place[1]);
            add(row + 1, plate.point, 0.0, 1.0);
            add(row + 1, first, place[1], place[0] - 1.0);
            add(row + 1, second, -place[1], -place[0]);
        }
        Factors(matrix.lu())
    }

    /// Newton from the points as they are, in plain numbers; `None` if it does not settle.
    ///
    /// Settled: the last correction is below 1e-12 of the largest coordinate or it stopped
    /// shrinking below 1e-9 mm.
    pub fn solve(
        &self,
        dimensions: &[f64],
        shock: ShockLength<f64>,
        points: &mut [Point<f64>],
    ) -> Option<Factors> {
        let mut previous = f64::INFINITY;
        for _ in 0..12 {
            let factors = self.factorise(dimensions, points);
            let residuals = self.residuals(dimensions, shock, points);
            let mut largest = 0.0_f64;
            let solution = factors.solve(&residuals)?;
            for (&point, step) in self.unknowns.iter().zip(solution.chunks_exact(2)) {
                let step = Vector::new(step[0], step[1]);
                points[point] = points[point] - step;
                largest = largest.max(step.length());
            }
            if largest < 1e-12 || (largest < 1e-9 && largest >= 0.5 * previous) {
                return Some(self.factorise(dimensions, points));
            }
            previous = largest;
        }
        None
    }
}

/// A factorised derivative of the closure equations.
pub(super) struct Factors(LU<f64, Dyn, Dyn>);

impl Factors {
    /// Solves for one right-hand side; `None` where the equations are singular.
    pub fn solve(&self, right: &[f64]) -> Option<Vec<f64>> {
        let solution = self.0.solve(&DVector::from_column_slice(right))?;
        solution
            .iter()
            .all(|value| value.is_finite())
            .then(|| solution.iter().copied().collect())
    }
}
