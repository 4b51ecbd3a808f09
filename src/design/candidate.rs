//! From the variables of a candidate to the values of all its rows.

use super::clearance_rows::{ClearanceRows, View};
use super::construction::Construction;
use super::limit_rows::{self, LimitRows, Measure};
use super::moments::{Moments, Places};
use super::problem::RowSource;
use super::rows::Rows;
use super::target_rows::TargetRows;
use crate::curves::Bicycle;
use crate::input::{Brief, Limit, Place, Variant};
use crate::mechanism::{Motion, Plan};
use crate::number::{Point, Scalar};
use crate::optimise::Row;
use crate::room::Room;
use std::ops::Range;

/// Squared sine of the angle between two links below which a pair counts as in line.
const LEAST_MARGIN: f64 = 1e-4;

/// Least leverage rate that counts as a motion.
const LEAST_LEVERAGE: f64 = 0.05;

/// The rows of every candidate of a brief with one shock and chainring: first those of the
/// targets, then of the limits, the box of a placed shock end, and the motion.
#[derive(Clone, Debug)]
pub(super) struct CandidateRows<'p> {
    plan: &'p Plan,
    pub bicycle: Bicycle,
    pub construction: Construction,
    places: Places,
    pub targets: Vec<TargetRows>,
    limits: Vec<AnyLimit>,
    room: Room,
    needs_top: bool,
    /// Where every row has to lie.
    pub bands: Vec<Row>,
    /// What every row belongs to.
    pub sources: Vec<RowSource>,
    /// The rows of each target.
    pub of_target: Vec<Range<usize>>,
}

/// A limit on points or on parts.
#[derive(Clone, Debug)]
enum AnyLimit {
    Points(LimitRows),
    Parts(ClearanceRows),
}

/// Memory for candidates in one type of number.
#[derive(Clone, Debug)]
pub(super) struct Workspace<'p, T: Scalar> {
    /// The variables, the same in every lane.
    pub x: Vec<T::Lane>,
    points: Vec<Point<T::Lane>>,
    single: Motion<'p, T::Lane>,
    motion: Motion<'p, T>,
    moments: Moments<T>,
    view: View<T>,
    /// The rows of the last candidate.
    pub rows: Rows,
}

impl<T: Scalar> Workspace<'_, T> {
    /// Takes over what was found out with plain numbers, for the same candidate.
    pub fn remember<U: Scalar>(&mut self, other: &Workspace<'_, U>) {
        self.view.remember(&other.view);
    }
}

impl<'p> CandidateRows<'p> {
    /// Plans the rows of `brief` with the shock and chainring of `variant`.
    pub fn new(plan: &'p Plan, brief: &Brief, variant: Variant) -> Self {
        let bicycle = Bicycle::new(&brief.layout).with_chainring(variant.chainring_teeth);
        let construction = Construction::new(brief, variant.size);
        let mut places = Places::default();
        let targets: Vec<TargetRows> = brief
            .objectives
            .iter()
            .flat_map(|(_, set)| &set.targets)
            .map(|target| TargetRows::new(target, &bicycle, &mut places))
            .collect();
        let room = Room::new(
            plan,
            &bicycle,
            brief.limits.iter().filter_map(Limit::clearance),
        );
        let limits = plan_limits(brief, &room, &mut places);
        let (mut bands, mut sources, mut of_target) = (Vec::new(), Vec::new(), Vec::new());
        for (index, target) in targets.iter().enumerate() {
            let start = bands.len();
            bands.resize(start + target.count(), target.band());
            sources.resize(bands.len(), RowSource::Target(index));
            of_target.push(start..bands.len());
        }
        for (index, limit) in limits.iter().enumerate() {
            bands.extend(match limit {
                AnyLimit::Points(limit) => limit.bands(),
                AnyLimit::Parts(limit) => limit.bands(),
            });
            sources.resize(bands.len(), RowSource::Limit(index));
        }
        if let Some(end) = construction.end_box() {
            bands.extend(limit_rows::end_box_bands(&end));
            sources.resize(bands.len(), RowSource::EndBox);
        }
        // How the mechanism moves: the construction, the steps, the leverage.
        bands.push(Row::at_least(LEAST_MARGIN));
        bands.push(Row::at_least(LEAST_MARGIN));
        bands.push(Row::at_least(LEAST_LEVERAGE));
        sources.resize(bands.len(), RowSource::Motion);
        let needs_top = targets.iter().any(TargetRows::needs_top);
        Self {
            plan,
            bicycle,
            construction,
            places,
            targets,
            limits,
            room,
            needs_top,
            bands,
            sources,
            of_target,
        }
    }

    /// Memory for candidates.
    pub fn workspace<T: Scalar>(&self) -> Workspace<'p, T> {
        let mut rows = Rows::default();
        if T::PARTIALS > 0 {
            rows.resize(self.bands.len(), self.construction.variables().len());
        }
        Workspace {
            x: Vec::new(),
            points: Vec::new(),
            single: Motion::empty(self.plan),
            motion: Motion::empty(self.plan),
            moments: Moments::new(self.plan, &self.places, self.bicycle.sag()),
            view: View::new(),
            rows,
        }
    }

    /// The row of the smallest margin of the mechanism.
    pub fn margin_row(&self) -> usize {
        self.bands.len() - 2
    }

    /// Fills the rows, begun by the caller, for the candidate `x` of the workspace; `Err` with
    /// the smallest margin where it does not assemble.
    pub fn fill<T: Scalar>(&self, work: &mut Workspace<'p, T>) -> Result<(), f64> {
        let Workspace {
            x,
            points,
            single,
            motion,
            moments,
            view,
            rows,
        } = work;
        self.construction.place_points(x, points);
        single.redraw(points, T::Lane::from_f64(self.construction.size().stroke));
        motion.repeat(single);
        moments.look(&self.bicycle, motion)?;
        if self.needs_top {
            moments.spread_top();
        }
        for target in &self.targets {
            target.fill(&self.bicycle, moments, rows);
        }
        if !self.room.gaps().is_empty() {
            view.look(&self.room, motion, moments);
        }
        for limit in &self.limits {
            match limit {
                AnyLimit::Points(limit) => limit.fill(moments, points, rows),
                AnyLimit::Parts(limit) => limit.fill(&self.room, view, moments, rows),
            }
        }
        if let Some(end) = self.construction.end_box() {
            for value in limit_rows::end_box_values(&end, points) {
                rows.push(value);
            }
        }
        rows.push(self.construction.margin(points));
        rows.push(moments.least_margin());
        rows.push(moments.least_leverage());
        Ok(())
    }

    /// The number midway between the smallest and the largest row of a spread.
    pub fn middle(&self, target: usize, rows: &Rows) -> f64 {
        let (low, high) = extremes(&rows.values, self.of_target[target].clone());
        0.5 * (rows.values[low] + rows.values[high])
    }

    /// Takes the middle off the values of every spread, for where it is not a variable.
    pub fn centre_spreads(&self, rows: &mut Rows) {
        for (target, range) in self.targets.iter().zip(&self.of_target) {
            if !target.is_spread() {
                continue;
            }
            let (low, high) = extremes(&rows.values, range.clone());
            let middle = 0.5 * (rows.values[low] + rows.values[high]);
            for value in &mut rows.values[range.clone()] {
                *value -= middle;
            }
            for column in rows.columns_mut() {
                let slope = 0.5 * (column[low] + column[high]);
                for partial in &mut column[range.clone()] {
                    *partial -= slope;
                }
            }
        }
    }
}

/// The rows of all limits; `room` has the clearances in their order.
fn plan_limits(brief: &Brief, room: &Room, places: &mut Places) -> Vec<AnyLimit> {
    let mut gaps = 0..;
    let mut plan = |limit: &Limit| {
        if let Some(measure) = Measure::of(&limit.quantity) {
            return AnyLimit::Points(LimitRows::new(limit, measure, places));
        }
        let over = limit.over.unwrap_or((Place::Top, Place::End));
        let gap = gaps.next().unwrap_or_default();
        AnyLimit::Parts(ClearanceRows::new(room, gap, limit.bound, over, places))
    };
    brief.limits.iter().map(&mut plan).collect()
}

/// Indices of the smallest and of the largest value of a range.
fn extremes(values: &[f64], range: Range<usize>) -> (usize, usize) {
    let (mut low, mut high) = (range.start, range.start);
    for index in range {
        if values[index] < values[low] {
            low = index;
        }
        if values[index] > values[high] {
            high = index;
        }
    }
    (low, high)
}
