//! Exact derivatives of named numbers by anything that moves the points.
//!
//! Numbers are differentiated once by the coordinates of all points and by the stroke; whatever
//! moves these then only needs the chain rule.

use super::{Form, Moving, locate};
use crate::curves::Suspension;
use crate::number::{Dual, Point, Vector};

/// By how many variables one pass differentiates.
pub const VARIABLES: usize = 4;

/// A number with its derivatives by the variables of one pass.
pub type Slope = Dual<f64, VARIABLES>;

/// A drawing that depends on variables: its points, and the stroke in mm.
pub type Drawing = (Vec<Point<Slope>>, Slope);

/// Numbers of a layout with their derivatives by all that is drawn.
#[derive(Clone, Debug)]
pub struct Gradients {
    /// The values.
    pub values: Vec<f64>,
    /// Of each point, the derivative of every number by its place, per mm.
    points: Vec<Vec<Vector<f64>>>,
    /// The derivative of every number by the stroke, per mm.
    stroke: Vec<f64>,
}

impl Gradients {
    /// The values of `forms` for `suspension`, and their derivatives.
    #[must_use]
    pub fn new(suspension: &Suspension, forms: &[&Form]) -> Self {
        let spots = locate(suspension, forms);
        let plain = Moving::of(suspension);
        let numbers = forms.iter().zip(&spots);
        let values: Vec<f64> = numbers
            .clone()
            .map(|(form, spots)| form.combine(&plain, spots))
            .collect();
        // A deviation is told by its size, so it must grow where the size does.
        let numbers = numbers.zip(&values);
        let numbers: Vec<_> = numbers
            .map(|((form, spots), &value)| (form, spots, form.sign(value)))
            .collect();
        // The coordinates of all points, then the stroke.
        let mut x: Vec<f64> = suspension
            .drawn()
            .iter()
            .flat_map(|point| [point.x, point.y])
            .collect();
        x.push(suspension.full_stroke());
        let mut slopes = vec![vec![0.0; forms.len()]; x.len()];
        for (pass, lines) in slopes.chunks_mut(VARIABLES).enumerate() {
            let variables = variables(&x, pass);
            let points: Vec<Point<Slope>> = variables
                .chunks_exact(2)
                .map(|pair| Point::new(pair[0], pair[1]))
                .collect();
            let stroke = variables[x.len() - 1];
            let moving = Moving::new(suspension.plan(), suspension.bicycle(), &points, stroke);
            for (number, (form, spots, sign)) in numbers.iter().enumerate() {
                let result = form.combine(&moving, spots);
                for (line, partial) in lines.iter_mut().zip(result.partials) {
                    line[number] = partial * sign;
                }
            }
        }
        let stroke = slopes.pop().unwrap_or_default();
        let of_point = |pair: &[Vec<f64>]| -> Vec<Vector<f64>> {
            let both = pair[0].iter().zip(&pair[1]);
            both.map(|(&x, &y)| Vector::new(x, y)).collect()
        };
        Self {
            values: numbers
                .iter()
                .zip(&values)
                .map(|((.., sign), value)| value * sign)
                .collect(),
            points: slopes.chunks_exact(2).map(of_point).collect(),
            stroke,
        }
    }

    /// For each of the variables `x`, from which `draw` draws the layout as it is, the derivative
    /// of every number.
    pub fn by(&self, x: &[f64], draw: impl Fn(&[Slope]) -> Drawing) -> Vec<Vec<f64>> {
        let mut slopes = vec![vec![0.0; self.values.len()]; x.len()];
        for (pass, lines) in slopes.chunks_mut(VARIABLES).enumerate() {
            let (points, stroke) = draw(&variables(x, pass));
            for (index, line) in lines.iter_mut().enumerate() {
                for (moved, gradients) in points.iter().zip(&self.points) {
                    let by = Vector::new(moved.x.partials[index], moved.y.partials[index]);
                    if by == Vector::new(0.0, 0.0) {
                        continue;
                    }
                    for (slope, gradient) in line.iter_mut().zip(gradients) {
                        *slope += gradient.dot(by);
                    }
                }
                let longer = stroke.partials[index];
                if longer != 0.0 {
                    for (slope, gradient) in line.iter_mut().zip(&self.stroke) {
                        *slope += gradient * longer;
                    }
                }
            }
        }
        slopes
    }
}

/// Those of one pass are variables, the others constants.
fn variables(x: &[f64], pass: usize) -> Vec<Slope> {
    let offset = pass * VARIABLES;
    let numbers = x.iter().enumerate();
    numbers
        .map(|(index, &value)| Slope::variable(value, index.wrapping_sub(offset)))
        .collect()
}
