//! What changes by how much when a point of a layout is moved by a mm.
//!
//! Exact derivatives of every reported number (`design::measure`) and of the residuals of
//! targets, by design moves (`moves`) of each point along `x` and `y`, or by the free coordinates
//! of a brief, which take along what is placed from them.

mod directions;

pub(crate) use directions::unit;
pub use directions::{Effect, PivotEffects};

use super::moves::Movable;
use crate::curves::Suspension;
use crate::design::Construction;
use crate::design::measure::{Aim, Form, Gradients, Measure, Slope, aims, reported};
use crate::input::{Layout, ObjectiveSet, PointId};
use crate::number::{Point, Vector};

/// How much every number changes per mm of one coordinate.
#[derive(Clone, Debug, PartialEq)]
pub struct Coordinate {
    /// Point and coordinate, such as `main_pivot.x`.
    pub name: String,
    /// The point.
    pub point: PointId,
    /// Change of every measure, in its unit per mm.
    pub slopes: Vec<f64>,
    /// Change of the residual of every aim, per mm.
    pub residual_slopes: Vec<f64>,
    /// The largest change of all, in residuals of targets per mm where there are any, else in
    /// differences that would just be noticed, clearances left out.
    pub influence: f64,
}

/// The sensitivities of one layout.
#[derive(Clone, Debug, PartialEq)]
pub struct Sensitivity {
    /// The reported numbers.
    pub measures: Vec<Measure>,
    /// Their values.
    pub values: Vec<f64>,
    /// The numbers that targets look at.
    pub aims: Vec<Aim>,
    /// Their residuals.
    pub residuals: Vec<f64>,
    /// Every coordinate, the most influential first.
    pub coordinates: Vec<Coordinate>,
    /// What moving each pivot does, by direction, in the order of the layout.
    pub pivots: Vec<PivotEffects>,
}

impl Sensitivity {
    /// The sensitivities of a layout to design moves of each of its points.
    #[must_use]
    pub fn of_points(layout: &Layout, suspension: &Suspension, sets: &[&ObjectiveSet]) -> Self {
        Self::with_clearances(layout, suspension, sets, Vec::new(), None)
    }

    /// The sensitivities of a layout to the variables of a brief's construction.
    #[must_use]
    pub fn of_variables(
        layout: &Layout,
        suspension: &Suspension,
        sets: &[&ObjectiveSet],
        construction: &Construction,
    ) -> Self {
        Self::with_clearances(layout, suspension, sets, Vec::new(), Some(construction))
    }

    /// The sensitivities of a layout, of some clearances too, to the variables of a brief's
    /// construction or to design moves of each of its points.
    #[must_use]
    pub fn with_clearances(
        layout: &Layout,
        suspension: &Suspension,
        sets: &[&ObjectiveSet],
        clearances: Vec<Measure>,
        construction: Option<&Construction>,
    ) -> Self {
        let mut table = Table::new(suspension, sets, clearances);
        let places = Movable::all(&layout.mechanism);
        let Some(construction) = construction else {
            for place in places {
                table.add_place(layout, &place, true);
            }
            return table.finish();
        };
        table.add_variables(construction);
        let variables = construction.variables();
        for place in places {
            let free = |point: &PointId| variables.iter().any(|v| v.point == *point);
            if place.points.iter().any(free) {
                table.add_place(layout, &place, false);
            }
        }
        table.finish()
    }
}

/// A table while it is filled.
struct Table<'s, 'p> {
    suspension: &'s Suspension<'p>,
    gradients: Gradients,
    result: Sensitivity,
}

impl<'s, 'p> Table<'s, 'p> {
    fn new(
        suspension: &'s Suspension<'p>,
        sets: &[&ObjectiveSet],
        clearances: Vec<Measure>,
    ) -> Self {
        let bicycle = suspension.bicycle();
        let aims: Vec<Aim> = sets
            .iter()
            .enumerate()
            .flat_map(|(objective, set)| {
                let targets = set.targets.iter().enumerate();
                targets.flat_map(move |(index, target)| aims(bicycle, target, objective, index))
            })
            .collect();
        let mut measures = reported(bicycle);
        measures.extend(clearances);
        let forms: Vec<&Form> = measures
            .iter()
            .map(|measure| &measure.form)
            .chain(aims.iter().map(|aim| &aim.form))
            .collect();
        let gradients = Gradients::new(suspension, &forms);
        let (values, of_aims) = gradients.values.split_at(measures.len());
        let residuals = aims.iter().zip(of_aims);
        let result = Sensitivity {
            values: values.to_vec(),
            residuals: residuals.map(|(aim, value)| aim.residual(*value)).collect(),
            measures,
            aims,
            coordinates: Vec::new(),
            pivots: Vec::new(),
        };
        Self {
            suspension,
            gradients,
            result,
        }
    }

    /// Slopes of measures and of residuals by each of the variables `x`.
    fn slopes(
        &self,
        x: &[f64],
        draw: impl Fn(&[Slope]) -> Vec<Point<Slope>>,
    ) -> Vec<(Vec<f64>, Vec<f64>)> {
        let stroke = Slope::constant(self.suspension.full_stroke());
        let slopes = self.gradients.by(x, |variables| (draw(variables), stroke));
        let aims = &self.result.aims;
        let split = |mut line: Vec<f64>| {
            let residuals = line.split_off(self.result.measures.len());
            let residuals = aims.iter().zip(residuals);
            (
                line,
                residuals.map(|(aim, slope)| slope / aim.half).collect(),
            )
        };
        slopes.into_iter().map(split).collect()
    }

    /// The largest change in a line, in units that compare.
    fn influence(&self, slopes: &[f64], residual_slopes: &[f64]) -> f64 {
        let largest = |changes: &mut dyn Iterator<Item = f64>| {
            changes.fold(0.0, |largest: f64, change| {
                if change.abs() > largest {
                    change.abs()
                } else {
                    largest
                }
            })
        };
        if residual_slopes.is_empty() {
            let measures = self.result.measures.iter();
            largest(
                &mut slopes
                    .iter()
                    .zip(measures)
                    .filter(|(_, m)| m.form.clearance().is_none())
                    .map(|(slope, m)| slope / m.noticeable),
            )
        } else {
            largest(&mut residual_slopes.iter().copied())
        }
    }

    fn add_coordinate(&mut self, name: String, point: PointId, line: (Vec<f64>, Vec<f64>)) {
        let (slopes, residual_slopes) = line;
        let influence = self.influence(&slopes, &residual_slopes);
        self.result.coordinates.push(Coordinate {
            name,
            point,
            slopes,
            residual_slopes,
            influence,
        });
    }

    /// The variables of a brief, per mm that their point moves.
    fn add_variables(&mut self, construction: &Construction) {
        let x = construction.variables_of(self.suspension.drawn());
        let lines = self.slopes(&x, |x| construction.points(x));
        for (variable, (slopes, residuals)) in construction.variables().iter().zip(lines) {
            let per_mm = |slopes: Vec<f64>| -> Vec<f64> {
                slopes.iter().map(|slope| slope / variable.reach).collect()
            };
            let line = (per_mm(slopes), per_mm(residuals));
            self.add_coordinate(variable.name.clone(), variable.point, line);
        }
    }

    /// What moving one place does; its coordinates become rows if `listed`.
    fn add_place(&mut self, layout: &Layout, place: &Movable, listed: bool) {
        let drawn = self.suspension.drawn().to_vec();
        let lines = self.slopes(&[0.0, 0.0], |by| {
            place.moved(&drawn, Vector::new(by[0], by[1]))
        });
        let name = &layout.mechanism.points[place.point().index()].name;
        let [x, y] = [0, 1].map(|axis| lines[axis].clone());
        let effects = PivotEffects::new(layout, place.point(), &self.result, &x, &y);
        self.result.pivots.push(effects);
        if listed {
            self.add_coordinate(format!("{name}.x"), place.point(), x);
            self.add_coordinate(format!("{name}.y"), place.point(), y);
        }
    }

    fn finish(mut self) -> Sensitivity {
        self.result
            .coordinates
            .sort_by(|a, b| b.influence.total_cmp(&a.influence));
        self.result
    }
}
