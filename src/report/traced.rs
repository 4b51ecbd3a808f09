//! A layout's motion at so many moments that its figures look smooth.

use super::Subject;
use crate::curves::State;
use crate::input::Place;
use crate::mechanism::Pose;

/// Moments uniform in travel, top and end included.
const MOMENTS: u32 = 41;

/// One moment.
#[derive(Clone, Debug)]
pub struct Moment {
    /// All that the curves need.
    pub state: State<f64>,
    /// Where every point is.
    pub pose: Pose<f64>,
}

/// A layout traced over its travel.
#[derive(Clone, Debug)]
pub struct Traced<'a> {
    /// Its rank, from 1.
    pub rank: usize,
    /// Whether no other layout is shown with it.
    pub alone: bool,
    /// The layout.
    pub subject: Subject<'a>,
    /// The moments, from top to end: uniform in travel, and sag.
    pub moments: Vec<Moment>,
    /// Which of them is sag.
    pub sag: usize,
}

impl<'a> Traced<'a> {
    /// Traces a layout.
    #[must_use]
    pub fn new(rank: usize, alone: bool, subject: Subject<'a>) -> Self {
        let suspension = subject.suspension;
        let last = MOMENTS - 1;
        let mut parameters: Vec<f64> = (0..=last)
            .map(|index| {
                let fraction = f64::from(index) / f64::from(last);
                suspension.parameter_at(Place::Fraction(fraction))
            })
            .collect();
        let sag = suspension.parameter_at(Place::Sag);
        let index = parameters.partition_point(|&parameter| parameter < sag);
        parameters.insert(index, sag);
        let moments = parameters
            .into_iter()
            .map(|parameter| Moment {
                state: suspension.state(parameter),
                pose: suspension.pose(parameter),
            })
            .collect();
        Self {
            rank,
            alone,
            subject,
            moments,
            sag: index,
        }
    }

    /// The state at sag.
    #[must_use]
    pub fn at_sag(&self) -> &State<f64> {
        &self.moments[self.sag].state
    }
}
