//! Where a motion ends, found without the shock as a parameter.
//!
//! The linkage alone has one way to go. It is followed along the arc length of all its
//! unknowns, which goes on smoothly through every dead point. The motion ends where the shock
//! stops getting shorter (dead point), the axle stops rising (the wheel turns back) or both stop
//! at once because some other body is at its limit (the linkage locks).

use super::{Equations, eliminate};
use pivotwright::input::Layout;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OracleEnding {
    Locks,
    DeadPoint,
    WheelTurnsBack,
}

#[derive(Clone, Copy, Debug)]
pub struct OracleEnd {
    pub ending: OracleEnding,
    pub stroke: f64,
    pub travel: f64,
}

/// Arc length of one step.
const STEP: f64 = 1.5;

struct Walker<'l> {
    layout: &'l Layout,
    equations: Equations<'l>,
}

#[derive(Clone)]
struct Knot {
    unknowns: Vec<f64>,
    /// Unit direction of the way ahead.
    ahead: Vec<f64>,
}

impl OracleEnd {
    /// The end of the motion, if it comes before full stroke.
    pub fn find(layout: &Layout) -> Option<Self> {
        let walker = Walker {
            layout,
            equations: Equations::new(&layout.mechanism),
        };
        let mut last = walker.start();
        if walker.rise(&last) <= 0.0 {
            return Some(walker.end(&last, OracleEnding::WheelTurnsBack));
        }
        for _ in 0..100_000 {
            let next = walker.walk(&last, STEP);
            let stops = [
                walker.zero(&last, &next, |knot| walker.shortening(knot)),
                walker.zero(&last, &next, |knot| walker.rise(knot)),
            ];
            let (ending, along) = match stops {
                [None, None] => {
                    if walker.stroke(&next) >= layout.mechanism.shock.stroke {
                        return None;
                    }
                    last = next;
                    continue;
                }
                [Some(shock), Some(wheel)] if (shock - wheel).abs() < 1e-5 => {
                    (OracleEnding::Locks, shock)
                }
                [Some(shock), Some(wheel)] if wheel < shock => {
                    (OracleEnding::WheelTurnsBack, wheel)
                }
                [Some(shock), _] => (OracleEnding::DeadPoint, shock),
                [None, Some(wheel)] => (OracleEnding::WheelTurnsBack, wheel),
            };
            let end = walker.end(&walker.walk(&last, along), ending);
            return (end.stroke < layout.mechanism.shock.stroke).then_some(end);
        }
        panic!("the linkage neither ends nor reaches full stroke");
    }
}

impl Walker<'_> {
    fn start(&self) -> Knot {
        let unknowns = vec![0.0; self.equations.unknown_count()];
        let shorter: Vec<f64> = self
            .equations
            .shock_row(&unknowns)
            .iter()
            .map(|part| -part)
            .collect();
        Knot {
            ahead: self.direction(&unknowns, &shorter),
            unknowns,
        }
    }

    /// Unit direction in which the joints stay closed, on the side of `towards`.
    fn direction(&self, unknowns: &[f64], towards: &[f64]) -> Vec<f64> {
        let mut rows = self.equations.gap_rows(unknowns);
        rows.push(towards.to_vec());
        let mut right = vec![0.0; rows.len()];
        *right.last_mut().unwrap() = 1.0;
        let along = eliminate(rows, right).unwrap();
        let length = along.iter().map(|part| part * part).sum::<f64>().sqrt();
        along.iter().map(|part| part / length).collect()
    }

    /// From `knot` by `step`, back onto the way at right angles to it.
    fn walk(&self, knot: &Knot, step: f64) -> Knot {
        let mut unknowns: Vec<f64> = knot
            .unknowns
            .iter()
            .zip(&knot.ahead)
            .map(|(unknown, ahead)| unknown + ahead * step)
            .collect();
        for _ in 0..5 {
            let mut wrong = self.equations.gaps(&unknowns);
            let mut rows = self.equations.gap_rows(&unknowns);
            wrong.push(0.0);
            rows.push(knot.ahead.clone());
            let correction = eliminate(rows, wrong).unwrap();
            for (unknown, correction) in unknowns.iter_mut().zip(correction) {
                *unknown -= correction;
            }
        }
        let gap = self.equations.gaps(&unknowns);
        assert!(gap.iter().all(|gap| gap.abs() < 1e-8), "lost the way");
        Knot {
            ahead: self.direction(&unknowns, &knot.ahead),
            unknowns,
        }
    }

    fn shortening(&self, knot: &Knot) -> f64 {
        let row = self.equations.shock_row(&knot.unknowns);
        -row.iter()
            .zip(&knot.ahead)
            .map(|(part, ahead)| part * ahead)
            .sum::<f64>()
    }

    fn rise(&self, knot: &Knot) -> f64 {
        let axle = self.layout.bicycle.rear_axle.index();
        let body = self.equations.carrier(axle);
        self.equations
            .point_rate(&knot.unknowns, &knot.ahead, body, axle)
            .y
    }

    fn stroke(&self, knot: &Knot) -> f64 {
        self.layout.mechanism.eye_to_eye() - self.equations.shock_length(&knot.unknowns)
    }

    /// How far after `last` a rate that is positive there falls to zero.
    fn zero(&self, last: &Knot, next: &Knot, rate: impl Fn(&Knot) -> f64) -> Option<f64> {
        if rate(next) > 0.0 {
            return None;
        }
        let (mut good, mut bad) = (0.0, STEP);
        for _ in 0..50 {
            let middle = 0.5 * (good + bad);
            if rate(&self.walk(last, middle)) > 0.0 {
                good = middle;
            } else {
                bad = middle;
            }
        }
        Some(good)
    }

    fn end(&self, knot: &Knot, ending: OracleEnding) -> OracleEnd {
        let axle = self.layout.bicycle.rear_axle.index();
        let body = self.equations.carrier(axle);
        let drawn = self.layout.mechanism.points[axle].position.y;
        OracleEnd {
            ending,
            stroke: self.stroke(knot),
            travel: self.equations.place(&knot.unknowns, body, axle).y - drawn,
        }
    }
}
