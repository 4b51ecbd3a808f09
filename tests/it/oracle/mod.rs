//! A second evaluator, slow and plain, that shares no formula with the library.
//!
//! Unknown are place and angle of every moving body. Every joint gives two equations, the
//! shock's length one; all are solved at once by Newton with elimination on the full matrix,
//! followed along the stroke in small steps. Velocities come from the same matrix.
//!
//! - `equations`: residuals and derivatives of the closure, elimination.
//! - `curves`: the curves of the bicycle, by other ways than the library's.
//! - `end`: where the motion ends, by following the linkage along its arc length.

mod curves;
mod end;
mod equations;

pub use curves::{OracleCurves, Run, Sprocket, drawn_anti_squat};
pub use end::{OracleEnd, OracleEnding};

use equations::{Equations, eliminate};
use pivotwright::input::Layout;
use pivotwright::number::{Point, Vector};
use std::cell::RefCell;
use std::collections::HashMap;

/// In how many steps the stroke is followed.
const STEPS: u32 = 150;

/// One moment: the unknowns and their derivatives by the stroke.
#[derive(Clone)]
pub struct Moment {
    unknowns: Vec<f64>,
    rates: Vec<f64>,
}

/// The linkage of one layout, followed over its stroke.
pub struct Oracle<'l> {
    layout: &'l Layout,
    equations: Equations<'l>,
    moments: Vec<Moment>,
    /// Moments solved before, by the bits of their stroke.
    solved: RefCell<HashMap<u64, Option<Moment>>>,
}

impl<'l> Oracle<'l> {
    /// Follows the linkage; `None` where it does not reach full stroke.
    pub fn follow(layout: &'l Layout) -> Option<Self> {
        let equations = Equations::new(&layout.mechanism);
        let mut oracle = Self {
            layout,
            moments: vec![equations.moment(vec![0.0; equations.unknown_count()])?],
            equations,
            solved: RefCell::default(),
        };
        for step in 1..=STEPS {
            let stroke = oracle.stroke() * f64::from(step) / f64::from(STEPS);
            let moment = oracle.solve(stroke, oracle.moments.len() - 1)?;
            oracle.moments.push(moment);
        }
        Some(oracle)
    }

    pub fn stroke(&self) -> f64 {
        self.layout.mechanism.shock.stroke
    }

    /// The moment at `stroke` mm, found from the nearest followed one.
    pub fn at(&self, stroke: f64) -> Moment {
        self.reach(stroke).unwrap()
    }

    /// The same, `None` where the linkage does not get there.
    fn reach(&self, stroke: f64) -> Option<Moment> {
        let mut solved = self.solved.borrow_mut();
        let solve = || {
            let off = |index: &usize| (self.stroke_of(*index) - stroke).abs();
            let nearest = (0..self.moments.len()).min_by(|a, b| off(a).total_cmp(&off(b)));
            self.solve(stroke, nearest.unwrap())
        };
        solved.entry(stroke.to_bits()).or_insert_with(solve).clone()
    }

    fn stroke_of(&self, moment: usize) -> f64 {
        self.stroke() * moment as f64 / f64::from(STEPS)
    }

    fn solve(&self, stroke: f64, from: usize) -> Option<Moment> {
        let start = &self.moments[from];
        let gone = stroke - self.stroke_of(from);
        let predicted: Vec<f64> = start
            .unknowns
            .iter()
            .zip(&start.rates)
            .map(|(unknown, rate)| unknown + rate * gone)
            .collect();
        let reach = 1.0 + start.rates.iter().map(|r| (r * gone).abs()).sum::<f64>();
        let length = self.layout.mechanism.eye_to_eye() - stroke;
        let solved = self.equations.newton(predicted.clone(), length)?;
        let moved: f64 = solved
            .iter()
            .zip(&predicted)
            .map(|(now, before)| (now - before).abs())
            .sum();
        // A far correction could land on another branch.
        (moved < 0.3 * reach).then(|| self.equations.moment(solved))?
    }

    /// Where a point is.
    pub fn point(&self, moment: &Moment, point: usize) -> Point<f64> {
        let body = self.equations.carrier(point);
        self.equations.place(&moment.unknowns, body, point)
    }

    /// Velocity of a point, mm per mm of stroke.
    pub fn velocity(&self, moment: &Moment, point: usize) -> Vector<f64> {
        let body = self.equations.carrier(point);
        self.equations
            .point_rate(&moment.unknowns, &moment.rates, body, point)
    }

    /// Turning of a body since full extension, radians.
    pub fn angle(&self, moment: &Moment, body: usize) -> f64 {
        self.equations.angle(&moment.unknowns, body)
    }

    /// Angular velocity of a body, radians per mm of stroke.
    pub fn angular_velocity(&self, moment: &Moment, body: usize) -> f64 {
        self.equations.angle(&moment.rates, body)
    }
}
