//! Exact derivatives of named numbers by anything that moves the points.

use super::{Form, Moving};
use crate::curves::Suspension;
use crate::number::{Dual, Point};

/// By how many variables one pass differentiates.
pub const VARIABLES: usize = 4;

/// A number with its derivatives by the variables of one pass.
pub type Slope = Dual<f64, VARIABLES>;

/// A drawing that depends on variables: its points, and the stroke in mm.
pub type Drawing = (Vec<Point<Slope>>, Slope);

/// The values of `forms`, and for each variable the derivative of each.
///
/// `suspension` is the layout as it is; `draw` gives the same layout from the variables `x`.
/// A number without an exact derivative has `NaN`.
pub fn gradient(
    suspension: &Suspension,
    forms: &[&Form],
    x: &[f64],
    draw: impl Fn(&[Slope]) -> Drawing,
) -> (Vec<f64>, Vec<Vec<f64>>) {
    let spots: Vec<_> = forms.iter().map(|form| form.locate(suspension)).collect();
    let plain = Moving::of(suspension);
    let values: Vec<f64> = forms
        .iter()
        .zip(&spots)
        .map(|(form, spots)| form.combine(&plain, spots))
        .collect();
    // A deviation is told by its size, so it must grow where the size does.
    let signs: Vec<f64> = forms
        .iter()
        .zip(&values)
        .map(|(form, value)| form.sign(*value))
        .collect();
    let mut slopes = vec![vec![0.0; forms.len()]; x.len()];
    for (pass, lines) in slopes.chunks_mut(VARIABLES).enumerate() {
        let offset = pass * VARIABLES;
        let variables: Vec<Slope> = x
            .iter()
            .enumerate()
            .map(|(index, &value)| Slope::variable(value, index.wrapping_sub(offset)))
            .collect();
        let (points, stroke) = draw(&variables);
        let moving = Moving::new(suspension.plan(), suspension.bicycle(), &points, stroke);
        for (number, (form, spots)) in forms.iter().zip(&spots).enumerate() {
            let result = form.combine(&moving, spots);
            for (line, partial) in lines.iter_mut().zip(result.partials) {
                line[number] = if form.differentiable() {
                    partial * signs[number]
                } else {
                    f64::NAN
                };
            }
        }
    }
    let values = values.iter().zip(&signs).map(|(value, sign)| value * sign);
    (values.collect(), slopes)
}
