//! A brief with one size of shock, as a problem for the solvers.

use super::construction::{Construction, Variable};
use super::limit_rows::{self, LimitRows};
use super::moments::{Moments, Places, largest, smallest};
use super::target_rows::TargetRows;
use crate::curves::{Bicycle, State};
use crate::input::{Brief, ShockSize};
use crate::mechanism::{Motion, Plan};
use crate::number::{Dual, Lanes, Scalar};
use crate::optimise::{Derivatives, Evaluation, Interval, NotEvaluable, Problem, Row};
use std::ops::Range;

/// Squared sine of the angle between two links below which a pair counts as in line.
const LEAST_MARGIN: f64 = 1e-4;

/// Least leverage rate that counts as a motion.
const LEAST_LEVERAGE: f64 = 0.05;

/// What a solver is to do with a [`DesignProblem`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Purpose {
    /// Find variables for which all targets are met and all limits hold.
    Meet,
    /// Among those, lower the score.
    Score,
    /// Lower the worst violation, where not everything can be met.
    Nearest,
}

/// What a row of [`Purpose::Meet`] belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum RowSource {
    /// A target, by its number counted through all objective sets.
    Target(usize),
    /// A limit, by its number in the brief.
    Limit(usize),
    /// The box of the shock end that the shock's length places.
    EndBox,
    /// That the linkage assembles and moves the wheel up.
    Motion,
}

/// What the rows of a candidate are made of, in this order.
#[derive(Clone, Debug)]
struct Layers {
    targets: Vec<Range<usize>>,
    count: usize,
}

/// Variables to curves to residuals, for one brief and one size of shock.
///
/// With [`Purpose::Meet`] the variables are those of the [`Construction`], the rows all
/// residuals (wanted in [-1, 1]) and limits. With [`Purpose::Score`] slack variables
/// follow: for each target with several residuals the size of its worst one, and for
/// each spread its middle; the objective is the squared score.
#[derive(Clone, Debug)]
pub struct DesignProblem<'p> {
    plan: &'p Plan,
    bicycle: Bicycle,
    construction: Construction,
    places: Places,
    targets: Vec<TargetRows>,
    limits: Vec<LimitRows>,
    layers: Layers,
    purpose: Purpose,
    raw_bands: Vec<Row>,
    sources: Vec<RowSource>,
    bounds: Vec<Interval>,
    rows: Vec<Row>,
    weights: Vec<f64>,
    /// Of each target the slack variable for its worst residual, and for its middle.
    slacks: Vec<(Option<usize>, Option<usize>)>,
    tightening: f64,
}

impl<'p> DesignProblem<'p> {
    /// The problem of meeting `brief` with a shock of `size`; `plan` is that of the
    /// brief's layout.
    #[must_use]
    pub fn new(plan: &'p Plan, brief: &Brief, size: ShockSize) -> Self {
        let bicycle = Bicycle::new(&brief.layout);
        let construction = Construction::new(brief, size);
        let mut places = Places::default();
        let targets: Vec<TargetRows> = brief
            .objectives
            .iter()
            .flat_map(|(_, set)| &set.targets)
            .map(|target| TargetRows::new(target, &bicycle, &mut places))
            .collect();
        let limits: Vec<LimitRows> = brief
            .limits
            .iter()
            .map(|limit| LimitRows::new(limit, &mut places))
            .collect();
        let (mut raw_bands, mut sources) = (Vec::new(), Vec::new());
        let mut layers = Layers {
            targets: Vec::new(),
            count: 0,
        };
        for target in &targets {
            let start = raw_bands.len();
            raw_bands.resize(start + target.count(), target.band());
            sources.resize(raw_bands.len(), RowSource::Target(layers.targets.len()));
            layers.targets.push(start..raw_bands.len());
        }
        for (index, limit) in limits.iter().enumerate() {
            raw_bands.extend(limit.bands());
            sources.resize(raw_bands.len(), RowSource::Limit(index));
        }
        if let Some(end) = construction.end_box() {
            raw_bands.extend(limit_rows::end_box_bands(&end));
        }
        sources.resize(raw_bands.len(), RowSource::EndBox);
        // How the mechanism moves: the construction, each step, the leverage.
        raw_bands.push(Row::at_least(LEAST_MARGIN));
        raw_bands.push(Row::at_least(LEAST_MARGIN));
        raw_bands.push(Row::at_least(LEAST_LEVERAGE));
        layers.count = raw_bands.len();
        sources.resize(layers.count, RowSource::Motion);
        let mut problem = Self {
            plan,
            bicycle,
            bounds: construction
                .variables()
                .iter()
                .map(|variable| variable.bounds)
                .collect(),
            construction,
            places,
            targets,
            limits,
            layers,
            purpose: Purpose::Meet,
            rows: Vec::new(),
            raw_bands,
            sources,
            weights: Vec::new(),
            slacks: Vec::new(),
            tightening: 0.0,
        };
        problem.describe();
        problem
    }

    /// The same problem with another purpose.
    ///
    /// Every band is made narrower by `tightening` on each side (a share of a target's half
    /// width, units of 5 mm or degrees of a limit), so that what lies between the moments
    /// looked at still holds.
    #[must_use]
    pub fn with_purpose(&self, purpose: Purpose, tightening: f64) -> Self {
        let mut problem = self.clone();
        problem.purpose = purpose;
        problem.tightening = tightening;
        problem.describe();
        problem
    }

    /// The free coordinates.
    #[must_use]
    pub fn variables(&self) -> &[Variable] {
        self.construction.variables()
    }

    /// The construction of its candidates.
    #[must_use]
    pub fn construction(&self) -> &Construction {
        &self.construction
    }

    /// What row `index` of [`Purpose::Meet`] belongs to.
    #[must_use]
    pub fn row_source(&self, index: usize) -> RowSource {
        self.sources
            .get(index)
            .copied()
            .unwrap_or(RowSource::Motion)
    }

    fn variable_count(&self) -> usize {
        self.construction.variables().len()
    }

    fn describe(&mut self) {
        let count = self.variable_count();
        let tightened: Vec<Row> = self
            .raw_bands
            .iter()
            .map(|&row| tighten(row, self.tightening))
            .collect();
        self.bounds.truncate(count);
        self.weights.clear();
        self.slacks.clear();
        if self.purpose == Purpose::Meet {
            self.rows = tightened;
            return;
        }
        if self.purpose == Purpose::Nearest {
            // c - v <= upper and -c - v <= -lower, for all but the motion itself.
            self.bounds.push(Interval::new(0.0, 1e6));
            self.weights.push(1.0);
            self.rows.clear();
            for (row, source) in tightened.iter().zip(&self.sources) {
                if *source == RowSource::Motion {
                    self.rows.push(*row);
                } else {
                    self.rows.push(Row::at_most(row.band.upper));
                    self.rows.push(Row::at_most(-row.band.lower));
                }
            }
            return;
        }
        let total: f64 = self.targets.iter().map(|target| target.weight).sum();
        self.rows.clear();
        for (target, range) in self.targets.iter().zip(&self.layers.targets) {
            let rows = &tightened[range.clone()];
            let middle = target.is_spread().then(|| {
                self.bounds.push(Interval::new(-1e3, 1e3));
                self.bounds.len() - 1
            });
            let worst = (target.scored && rows.len() > 1).then(|| {
                self.bounds.push(Interval::new(0.0, 1.0 - self.tightening));
                self.bounds.len() - 1
            });
            if target.scored {
                self.weights.push(target.weight / total);
            }
            match worst {
                // |r| <= t, as r - t <= 0 and -r - t <= 0.
                Some(_) => self
                    .rows
                    .extend(std::iter::repeat_n(Row::at_most(0.0), 2 * rows.len())),
                None => self.rows.extend(rows),
            }
            self.slacks.push((worst, middle));
        }
        let rest = self.layers.targets.last().map_or(0, |range| range.end);
        self.rows.extend(&tightened[rest..]);
    }

    /// Values of all rows before any slack; `Err` with the smallest margin where the
    /// mechanism does not assemble.
    fn raw_rows<T: Scalar>(&self, x: &[T]) -> Result<Vec<T::Lane>, f64> {
        let points = self.construction.points(x);
        let size = self.construction.size();
        let motion = Motion::new(self.plan, &points, T::from_f64(size.stroke));
        let moments = Moments::new(&self.bicycle, &motion, &self.places)?;
        let mut rows = Vec::with_capacity(self.layers.count);
        for target in &self.targets {
            target.fill(&self.bicycle, &moments, &mut rows);
        }
        for limit in &self.limits {
            limit.fill(&moments, &points, &mut rows);
        }
        if let Some(end) = self.construction.end_box() {
            rows.extend(limit_rows::end_box_values(&end, &points).map(|value| value.extract(0)));
        }
        rows.push(self.construction.margin(&points).extract(0));
        rows.push(smallest(moments.margins()));
        rows.push(smallest(moments.samples(State::leverage_rate)));
        Ok(rows)
    }

    /// Takes the middle off the values of every spread, where it is not a variable.
    fn centre_spreads<S: Scalar>(&self, rows: &mut [S]) {
        for (target, range) in self.targets.iter().zip(&self.layers.targets) {
            if target.is_spread() {
                let values = &mut rows[range.clone()];
                let middle = middle(values);
                for value in values {
                    *value = *value - middle;
                }
            }
        }
    }

    /// A start for [`Purpose::Score`] from variables `x` of the construction: slack variables
    /// as small as they may be.
    #[must_use]
    pub fn with_slacks(&self, x: &[f64]) -> Option<Vec<f64>> {
        let lanes: Vec<Lanes> = x.iter().map(|&value| Lanes::from_f64(value)).collect();
        let mut rows = self.raw_rows(&lanes).ok()?;
        let middles: Vec<f64> = self
            .layers
            .targets
            .iter()
            .map(|range| middle(&rows[range.clone()]))
            .collect();
        self.centre_spreads(&mut rows);
        let mut start = x.to_vec();
        start.resize(self.bounds.len(), 0.0);
        if self.purpose == Purpose::Nearest {
            let violations = rows
                .iter()
                .zip(&self.raw_bands)
                .map(|(&c, row)| row.band.excess(c).abs());
            start[x.len()] = violations.fold(0.0, f64::max);
            return Some(start);
        }
        for (index, (worst, centre)) in self.slacks.iter().enumerate() {
            if let Some(worst) = *worst {
                let sizes = rows[self.layers.targets[index].clone()]
                    .iter()
                    .map(|row| row.abs());
                let size = sizes.fold(0.0, f64::max);
                start[worst] = self.bounds[worst].clamp(size);
            }
            if let Some(centre) = *centre {
                start[centre] = middles[index];
            }
        }
        Some(start)
    }

    /// Smallest margin of the mechanism at `x`: positive where it assembles.
    #[must_use]
    pub fn margin(&self, x: &[f64]) -> f64 {
        let lanes: Vec<Lanes> = x.iter().map(|&value| Lanes::from_f64(value)).collect();
        self.raw_rows(&lanes)
            .map_or_else(|margin| margin, |rows| rows[self.layers.count - 2])
    }

    /// Puts the rows, with all their derivatives, in the form of the purpose.
    fn arrange(&self, raw: &[f64], slack: &[f64], place: &mut impl FnMut(Placed)) {
        if self.purpose == Purpose::Meet {
            for (index, &value) in raw.iter().enumerate() {
                place(Placed::Row {
                    source: index,
                    value,
                    sign: 1.0,
                    worst: None,
                    middle: None,
                });
            }
            return;
        }
        if self.purpose == Purpose::Nearest {
            let worst = Some(self.variable_count());
            for (source, &value) in raw.iter().enumerate() {
                if self.sources[source] == RowSource::Motion {
                    place(Placed::Row {
                        source,
                        value,
                        sign: 1.0,
                        worst: None,
                        middle: None,
                    });
                } else {
                    for sign in [1.0, -1.0] {
                        let value = sign * value - slack[0];
                        place(Placed::Row {
                            source,
                            value,
                            sign,
                            worst,
                            middle: None,
                        });
                    }
                }
            }
            place(Placed::Slack {
                variable: self.variable_count(),
                value: slack[0],
            });
            return;
        }
        let read = |variable: Option<usize>| {
            variable.map_or(0.0, |variable| slack[variable - self.variable_count()])
        };
        for (index, range) in self.layers.targets.iter().enumerate() {
            let (worst, middle) = self.slacks[index];
            let (size, centre) = (read(worst), read(middle));
            for source in range.clone() {
                let value = raw[source] - centre;
                match worst {
                    Some(_) => {
                        for sign in [1.0, -1.0] {
                            let value = sign * value - size;
                            place(Placed::Row {
                                source,
                                value,
                                sign,
                                worst,
                                middle,
                            });
                        }
                    }
                    None => place(Placed::Row {
                        source,
                        value,
                        sign: 1.0,
                        worst,
                        middle,
                    }),
                }
            }
            if self.targets[index].scored {
                place(match worst {
                    Some(variable) => Placed::Slack {
                        variable,
                        value: size,
                    },
                    None => Placed::Residual {
                        source: range.start,
                        value: raw[range.start],
                    },
                });
            }
        }
        let rest = self.layers.targets.last().map_or(0, |range| range.end);
        for (source, &value) in raw.iter().enumerate().skip(rest) {
            place(Placed::Row {
                source,
                value,
                sign: 1.0,
                worst: None,
                middle: None,
            });
        }
    }

    /// Raw rows and their derivatives by the variables of the construction, row-major.
    fn raw_derivatives(&self, x: &[f64]) -> Result<(Vec<f64>, Vec<f64>), NotEvaluable> {
        self.raw_derivatives_by::<4>(x)
    }

    fn raw_derivatives_by<const N: usize>(
        &self,
        x: &[f64],
    ) -> Result<(Vec<f64>, Vec<f64>), NotEvaluable> {
        let count = x.len();
        let mut values = vec![0.0; self.layers.count];
        let mut jacobian = vec![0.0; self.layers.count * count];
        for offset in (0..count).step_by(N) {
            let variables: Vec<Dual<Lanes, N>> = x
                .iter()
                .enumerate()
                .map(|(index, &value)| {
                    // Variables of other passes have an index that is out of range here.
                    Dual::variable(Lanes::from_f64(value), index.wrapping_sub(offset))
                })
                .collect();
            let mut rows = self.raw_rows(&variables).map_err(|_| NotEvaluable)?;
            if self.purpose != Purpose::Score {
                self.centre_spreads(&mut rows);
            }
            for (index, row) in rows.iter().enumerate() {
                values[index] = row.value;
                let width = N.min(count - offset);
                let start = index * count + offset;
                jacobian[start..start + width].copy_from_slice(&row.partials[..width]);
            }
        }
        Ok((values, jacobian))
    }
}

/// One piece of the problem as a solver sees it.
enum Placed {
    /// `sign (raw - middle) - worst`.
    Row {
        source: usize,
        value: f64,
        sign: f64,
        worst: Option<usize>,
        middle: Option<usize>,
    },
    /// A residual of the objective that is a raw row.
    Residual { source: usize, value: f64 },
    /// A residual of the objective that is a slack variable.
    Slack { variable: usize, value: f64 },
}

impl Problem for DesignProblem<'_> {
    fn bounds(&self) -> &[Interval] {
        &self.bounds
    }

    fn rows(&self) -> &[Row] {
        &self.rows
    }

    fn residual_weights(&self) -> &[f64] {
        &self.weights
    }

    fn curved(&self) -> usize {
        self.variable_count()
    }

    fn evaluate(&mut self, x: &[f64], out: &mut Evaluation) -> Result<(), NotEvaluable> {
        let (x, slack) = x.split_at(self.variable_count());
        let lanes: Vec<Lanes> = x.iter().map(|&value| Lanes::from_f64(value)).collect();
        let mut raw = self.raw_rows(&lanes).map_err(|_| NotEvaluable)?;
        if self.purpose != Purpose::Score {
            self.centre_spreads(&mut raw);
        }
        let (mut row, mut residual) = (0, 0);
        self.arrange(&raw, slack, &mut |placed| match placed {
            Placed::Row { value, .. } => {
                out.rows[row] = value;
                row += 1;
            }
            Placed::Residual { value, .. } | Placed::Slack { value, .. } => {
                out.residuals[residual] = value;
                residual += 1;
            }
        });
        Ok(())
    }

    fn differentiate(&mut self, x: &[f64], out: &mut Derivatives) -> Result<(), NotEvaluable> {
        let width = x.len();
        let (x, slack) = x.split_at(self.variable_count());
        let count = x.len();
        let (raw, jacobian) = self.raw_derivatives(x)?;
        let gradient = |source: usize| &jacobian[source * count..(source + 1) * count];
        let (mut row, mut residual) = (0, 0);
        self.arrange(&raw, slack, &mut |placed| match placed {
            Placed::Row {
                source,
                sign,
                worst,
                middle,
                ..
            } => {
                let line = &mut out.rows[row * width..(row + 1) * width];
                for (slot, slope) in line.iter_mut().zip(gradient(source)) {
                    *slot = sign * slope;
                }
                if let Some(worst) = worst {
                    line[worst] = -1.0;
                }
                if let Some(middle) = middle {
                    line[middle] = -sign;
                }
                row += 1;
            }
            Placed::Residual { source, .. } => {
                let line = &mut out.residuals[residual * width..(residual + 1) * width];
                line[..count].copy_from_slice(gradient(source));
                residual += 1;
            }
            Placed::Slack { variable, .. } => {
                out.residuals[residual * width + variable] = 1.0;
                residual += 1;
            }
        });
        Ok(())
    }
}

/// The number midway between the smallest and the largest.
fn middle<S: Scalar>(values: &[S]) -> S {
    (smallest(values.to_vec()) + largest(values.to_vec())) * 0.5
}

fn tighten(row: Row, by: f64) -> Row {
    let Interval { lower, upper } = row.band;
    // Never beyond the middle of a narrow band.
    let by = by.min(0.25 * (upper - lower));
    Row {
        band: Interval::new(lower + by, upper - by),
        ..row
    }
}
