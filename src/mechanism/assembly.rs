//! Parts put together whose holes are not where the drawing has them.
//!
//! Every body keeps its own shape: the place of each of its holes, off by some offset. The
//! parts meet again in their pivots, with the shock at its length, and where the points then
//! are is the drawing of the mechanism as built: from there its motion is exact.
//!
//! Unknown are the place and turn of every moving body. Newton with the derivative of the drawn
//! mechanism, inverted once: each round leaves of the error a share of some offset over length
//! of a link, so a tenth of a mm settles in six rounds. Numbers with derivatives at no offset
//! are exact after one round (implicit function theorem).

use crate::input::{BodyId, Mechanism, PointId};
use crate::number::{Point, Scalar, Vector};
use nalgebra::DMatrix;

/// A hole: a point on one body.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Hole {
    /// The body.
    pub body: BodyId,
    /// The point.
    pub point: PointId,
}

/// The parts of one mechanism, ready to be put together.
#[derive(Clone, Debug)]
pub struct Assembly {
    drawn: Vec<Point<f64>>,
    holes: Vec<Hole>,
    frame: usize,
    bodies: usize,
    /// Of every body, the point about which it turns.
    origins: Vec<Point<f64>>,
    /// Two holes that are one pivot.
    joints: Vec<[usize; 2]>,
    /// The holes of the shock.
    shock: [usize; 2],
    /// The hole by which each point is placed.
    place: Vec<usize>,
    eye_to_eye: f64,
    /// Inverse of the derivative of all equations, row-major.
    inverse: Vec<f64>,
}

/// Memory for putting parts together.
#[derive(Clone, Debug)]
pub struct Fitting<T> {
    /// Of every body: shift, and tangent of half its turn.
    placed: Vec<(Vector<T>, T)>,
    rotations: Vec<(T, T)>,
    residuals: Vec<T>,
    holes: Vec<Point<T>>,
    /// Where the points are in the mechanism put together.
    pub points: Vec<Point<T>>,
    /// The largest gap that is left in any pivot or in the shock, mm, squared.
    pub gap_squared: T,
}

impl Assembly {
    /// The parts of `mechanism` with its points at `drawn`; `None` where the drawn position is
    /// singular.
    #[must_use]
    pub fn new(mechanism: &Mechanism, drawn: &[Point<f64>]) -> Option<Self> {
        let mut holes = Vec::new();
        for (body, shape) in mechanism.bodies.iter().enumerate() {
            let of_body = shape.points.iter().map(|&point| Hole {
                body: BodyId(body),
                point,
            });
            holes.extend(of_body);
        }
        let on = |point: PointId| -> Vec<usize> {
            (0..holes.len())
                .filter(|&hole| holes[hole].point == point)
                .collect()
        };
        let mut joints = Vec::new();
        let mut place = Vec::with_capacity(drawn.len());
        for point in (0..drawn.len()).map(PointId) {
            let all = on(point);
            joints.extend(all.windows(2).map(|pair| [pair[0], pair[1]]));
            place.push(*all.first()?);
        }
        let [first, second] = mechanism.shock.ends;
        let shock = [*on(first).first()?, *on(second).first()?];
        let origins = mechanism
            .bodies
            .iter()
            .map(|body| drawn[body.points[0].index()])
            .collect();
        let mut assembly = Self {
            drawn: drawn.to_vec(),
            frame: mechanism.frame.index(),
            bodies: mechanism.bodies.len(),
            origins,
            joints,
            shock,
            place,
            eye_to_eye: (drawn[second.index()] - drawn[first.index()]).length(),
            holes,
            inverse: Vec::new(),
        };
        assembly.inverse = assembly.invert()?;
        Some(assembly)
    }

    /// Every hole, body by body.
    #[must_use]
    pub fn holes(&self) -> &[Hole] {
        &self.holes
    }

    /// The shock's length as drawn, mm.
    #[must_use]
    pub fn eye_to_eye(&self) -> f64 {
        self.eye_to_eye
    }

    /// The first column of a moving body's unknowns.
    fn column(&self, body: usize) -> Option<usize> {
        let before = if body > self.frame { body - 1 } else { body };
        (body != self.frame).then_some(3 * before)
    }

    fn size(&self) -> usize {
        2 * self.joints.len() + 1
    }

    /// Inverse of the derivative in the drawn position.
    fn invert(&self) -> Option<Vec<f64>> {
        let size = self.size();
        if size != 3 * (self.bodies - 1) {
            return None;
        }
        let mut matrix = DMatrix::zeros(size, size);
        let mut add = |row: usize, hole: usize, along: Vector<f64>| {
            let Hole { body, point } = self.holes[hole];
            if let Some(column) = self.column(body.index()) {
                let arm = self.drawn[point.index()] - self.origins[body.index()];
                matrix[(row, column)] += along.x;
                matrix[(row, column + 1)] += along.y;
                // The unknown is the tangent of half the angle.
                matrix[(row, column + 2)] += 2.0 * arm.cross(along);
            }
        };
        for (joint, [one, other]) in self.joints.iter().enumerate() {
            for (row, along) in [(0, Vector::new(1.0, 0.0)), (1, Vector::new(0.0, 1.0))] {
                add(2 * joint + row, *one, along);
                add(2 * joint + row, *other, -along);
            }
        }
        let [first, second] = self
            .shock
            .map(|hole| self.drawn[self.holes[hole].point.index()]);
        let along = (second - first) * (1.0 / self.eye_to_eye);
        add(size - 1, self.shock[1], along);
        add(size - 1, self.shock[0], -along);
        let inverse = matrix.try_inverse()?;
        let rows = (0..size).flat_map(|row| (0..size).map(move |column| (row, column)));
        Some(rows.map(|index| inverse[index]).collect())
    }

    /// Memory for it.
    #[must_use]
    pub fn fitting<T: Scalar>(&self) -> Fitting<T> {
        let zero = T::from_f64(0.0);
        let nowhere = Point::new(zero, zero);
        Fitting {
            placed: vec![(Vector::zero(), zero); self.bodies],
            rotations: vec![(zero, zero); self.bodies],
            residuals: vec![zero; self.size()],
            holes: vec![nowhere; self.holes.len()],
            points: vec![nowhere; self.drawn.len()],
            gap_squared: zero,
        }
    }

    /// Puts the parts together in `rounds` rounds: every hole off by its offset in the
    /// coordinates of the drawing, the shock longer than drawn by `longer` mm.
    pub fn fit<T: Scalar>(
        &self,
        offsets: &[Vector<T>],
        longer: T,
        rounds: usize,
        fitting: &mut Fitting<T>,
    ) {
        let zero = T::from_f64(0.0);
        fitting.placed.fill((Vector::zero(), zero));
        for round in 0..=rounds {
            self.place_holes(offsets, fitting);
            self.find_gaps(longer, fitting);
            if round < rounds {
                self.correct(fitting);
            }
        }
        for (point, &hole) in fitting.points.iter_mut().zip(&self.place) {
            *point = fitting.holes[hole];
        }
        // Values only: what cannot be put together is told by what is left.
        let gaps = fitting.residuals.iter();
        fitting.gap_squared = gaps.fold(zero, |sum, gap| sum + gap.squared());
    }

    fn place_holes<T: Scalar>(&self, offsets: &[Vector<T>], fitting: &mut Fitting<T>) {
        let one = T::from_f64(1.0);
        for (rotation, (_, half)) in fitting.rotations.iter_mut().zip(&fitting.placed) {
            let squared = half.squared();
            let inverse = one / (squared + 1.0);
            *rotation = ((one - squared) * inverse, *half * inverse * 2.0);
        }
        for (index, hole) in self.holes.iter().enumerate() {
            let (body, point) = (hole.body.index(), hole.point.index());
            let drawn = Point::constant(self.drawn[point]) + offsets[index];
            fitting.holes[index] = if body == self.frame {
                drawn
            } else {
                let origin = Point::constant(self.origins[body]);
                let (cosine, sine) = fitting.rotations[body];
                let arm = drawn - origin;
                let turned = arm * cosine + arm.turned_left() * sine;
                origin + fitting.placed[body].0 + turned
            };
        }
    }

    fn find_gaps<T: Scalar>(&self, longer: T, fitting: &mut Fitting<T>) {
        for (joint, [one, other]) in self.joints.iter().enumerate() {
            let gap = fitting.holes[*one] - fitting.holes[*other];
            fitting.residuals[2 * joint] = gap.x;
            fitting.residuals[2 * joint + 1] = gap.y;
        }
        let [first, second] = self.shock.map(|hole| fitting.holes[hole]);
        let last = self.size() - 1;
        fitting.residuals[last] = (second - first).length() - longer - self.eye_to_eye;
    }

    fn correct<T: Scalar>(&self, fitting: &mut Fitting<T>) {
        let size = self.size();
        for body in 0..self.bodies {
            let Some(column) = self.column(body) else {
                continue;
            };
            let step = [0, 1, 2].map(|unknown| {
                let line = &self.inverse[(column + unknown) * size..][..size];
                let mut sum = T::from_f64(0.0);
                for (&factor, &gap) in line.iter().zip(&fitting.residuals) {
                    sum = sum + gap * factor;
                }
                sum
            });
            let (shift, half) = &mut fitting.placed[body];
            *shift = *shift - Vector::new(step[0], step[1]);
            *half = *half - step[2];
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::input::Layout;
    use approx::assert_abs_diff_eq;

    fn four_bar() -> Layout {
        let text = include_str!("../../demo-data/trail-crew-m.layout.json");
        Layout::from_json("m", text).unwrap()
    }

    #[test]
    fn every_part_keeps_its_shape_and_all_meet_again() {
        let layout = four_bar();
        let mechanism = &layout.mechanism;
        let drawn: Vec<Point<f64>> = mechanism.points.iter().map(|p| p.position).collect();
        let assembly = Assembly::new(mechanism, &drawn).unwrap();
        let holes = assembly.holes().to_vec();
        let offsets: Vec<Vector<f64>> = (0..holes.len())
            .map(|hole| {
                let turn = hole as f64;
                Vector::new(0.4 * libm::sin(7.0 * turn), 0.4 * libm::cos(3.0 * turn))
            })
            .collect();
        let mut fitting = assembly.fitting();
        assembly.fit(&offsets, 0.3, 12, &mut fitting);
        assert!(fitting.gap_squared < 1e-24);
        let place = |hole: usize| drawn[holes[hole].point.index()] + offsets[hole];
        for one in 0..holes.len() {
            for other in 0..one {
                if holes[one].body == holes[other].body {
                    let [a, b] = [one, other].map(|hole| fitting.points[holes[hole].point.index()]);
                    let built = (place(one) - place(other)).length();
                    assert_abs_diff_eq!((a - b).length(), built, epsilon = 1e-11);
                }
            }
        }
        let [a, b] = mechanism.shock.ends.map(|end| fitting.points[end.index()]);
        let length = mechanism.eye_to_eye() + 0.3;
        assert_abs_diff_eq!((a - b).length(), length, epsilon = 1e-11);
    }

    #[test]
    fn parts_without_offsets_are_the_drawing() {
        let layout = four_bar();
        let points = &layout.mechanism.points;
        let drawn: Vec<Point<f64>> = points.iter().map(|p| p.position).collect();
        let assembly = Assembly::new(&layout.mechanism, &drawn).unwrap();
        let mut fitting = assembly.fitting();
        let offsets = vec![Vector::zero(); assembly.holes().len()];
        assembly.fit(&offsets, 0.0, 3, &mut fitting);
        for (point, drawn) in fitting.points.iter().zip(&drawn) {
            assert_abs_diff_eq!((*point - *drawn).length(), 0.0, epsilon = 1e-12);
        }
    }
}
