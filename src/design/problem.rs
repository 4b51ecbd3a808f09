//! A brief with one size of shock and one chainring, as a problem for the solvers.

use super::candidate::{CandidateRows, Workspace};
use super::construction::{Construction, Variable};
use crate::curves::Bicycle;
use crate::input::{Brief, Layout, Variant};
use crate::mechanism::Plan;
use crate::number::{Dual, Lanes, Point};
use crate::optimise::{Derivatives, Evaluation, Interval, NotEvaluable, Problem, Row};

/// By how many variables one pass differentiates.
const PASS: usize = 6;

/// Largest middle of a spread, in half allowances.
const MOST_MIDDLE: f64 = 1e3;

/// Largest violation that is looked into.
const MOST_VIOLATION: f64 = 1e6;

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

/// Variables to curves to residuals, for one brief with one size of shock and one chainring.
///
/// With [`Purpose::Meet`] the variables are those of the [`Construction`], the rows all
/// residuals (wanted in [-1, 1]) and limits. With [`Purpose::Score`] slack variables
/// follow: for each target with several residuals the size of its worst one, and for
/// each spread its middle; the objective is the squared score. With [`Purpose::Nearest`]
/// one slack variable follows, by which everything may be missed.
#[derive(Clone, Debug)]
pub struct DesignProblem<'p> {
    variant: Variant,
    candidates: CandidateRows<'p>,
    values: Workspace<'p, Lanes>,
    slopes: Workspace<'p, Dual<Lanes, PASS>>,
    purpose: Purpose,
    bounds: Vec<Interval>,
    rows: Vec<Row>,
    weights: Vec<f64>,
    /// Of each target the slack variable for its worst residual, and for its middle.
    slacks: Vec<(Option<usize>, Option<usize>)>,
    /// How the raw rows become the rows of the purpose, in order.
    row_pieces: Vec<RowPiece>,
    /// What its residuals are, in order.
    residual_pieces: Vec<ResidualPiece>,
}

/// One row as a solver sees it: `sign (raw - middle) - worst`, the last two slack variables.
#[derive(Clone, Copy, Debug)]
struct RowPiece {
    source: usize,
    sign: f64,
    worst: Option<usize>,
    middle: Option<usize>,
}

impl RowPiece {
    /// Raw row `source` as it is.
    fn plain(source: usize) -> Self {
        Self {
            source,
            sign: 1.0,
            worst: None,
            middle: None,
        }
    }
}

/// One residual of the objective.
#[derive(Clone, Copy, Debug)]
enum ResidualPiece {
    /// A raw row.
    Row { source: usize },
    /// A slack variable.
    Slack { variable: usize },
}

impl<'p> DesignProblem<'p> {
    /// The problem of meeting `brief` with the shock and chainring of `variant`; `plan` is that of
    /// the brief's layout.
    #[must_use]
    pub fn new(plan: &'p Plan, brief: &Brief, variant: Variant) -> Self {
        let candidates = CandidateRows::new(plan, brief, variant);
        let mut problem = Self {
            variant,
            values: candidates.workspace(),
            slopes: candidates.workspace(),
            purpose: Purpose::Meet,
            bounds: Vec::new(),
            rows: Vec::new(),
            weights: Vec::new(),
            slacks: Vec::new(),
            row_pieces: Vec::new(),
            residual_pieces: Vec::new(),
            candidates,
        };
        problem.set_purpose(Purpose::Meet, 0.0);
        problem
    }

    /// Sets what a solver is to do.
    ///
    /// Every band is made narrower by `tightening` on each side (a share of a target's half
    /// width, units of 5 mm or degrees of a limit), so that what lies between the moments
    /// looked at still holds.
    pub fn set_purpose(&mut self, purpose: Purpose, tightening: f64) {
        self.purpose = purpose;
        self.bounds.clear();
        let variables = self.candidates.construction.variables();
        self.bounds
            .extend(variables.iter().map(|variable| variable.bounds));
        self.rows.clear();
        self.weights.clear();
        self.slacks.clear();
        self.row_pieces.clear();
        self.residual_pieces.clear();
        match purpose {
            Purpose::Meet => self.describe_plainly(0, tightening),
            Purpose::Score => self.describe_score(tightening),
            Purpose::Nearest => self.describe_nearest(tightening),
        }
    }

    /// The same problem with another purpose, see [`DesignProblem::set_purpose`].
    #[must_use]
    pub fn with_purpose(&self, purpose: Purpose, tightening: f64) -> Self {
        let mut problem = self.clone();
        problem.set_purpose(purpose, tightening);
        problem
    }

    /// The free coordinates.
    #[must_use]
    pub fn variables(&self) -> &[Variable] {
        self.candidates.construction.variables()
    }

    /// The construction of its candidates.
    #[must_use]
    pub fn construction(&self) -> &Construction {
        &self.candidates.construction
    }

    /// The shock and chainring of its candidates.
    #[must_use]
    pub fn variant(&self) -> Variant {
        self.variant
    }

    /// The bicycle around its candidates.
    #[must_use]
    pub fn bicycle(&self) -> &Bicycle {
        &self.candidates.bicycle
    }

    /// The layout of a candidate for `brief` with these points, complete and by that name.
    #[must_use]
    pub fn layout(&self, brief: &Brief, name: String, points: &[Point<f64>]) -> Layout {
        let Variant {
            size,
            chainring_teeth,
        } = self.variant;
        let layout = brief.layout.with_points(name, points, size.stroke);
        layout.with_chainring(chainring_teeth)
    }

    /// What row `index` of [`Purpose::Meet`] belongs to.
    #[must_use]
    pub fn row_source(&self, index: usize) -> RowSource {
        self.candidates
            .sources
            .get(index)
            .copied()
            .unwrap_or(RowSource::Motion)
    }

    fn variable_count(&self) -> usize {
        self.candidates.construction.variables().len()
    }

    fn new_slack(&mut self, lower: f64, upper: f64) -> usize {
        self.bounds.push(Interval::new(lower, upper));
        self.bounds.len() - 1
    }

    fn push_row(&mut self, row: Row, piece: RowPiece) {
        self.rows.push(row);
        self.row_pieces.push(piece);
    }

    /// Raw rows from number `first` on as they are.
    fn describe_plainly(&mut self, first: usize, tightening: f64) {
        for source in first..self.candidates.bands.len() {
            let row = tighten(self.candidates.bands[source], tightening);
            self.push_row(row, RowPiece::plain(source));
        }
    }

    fn describe_score(&mut self, tightening: f64) {
        let total: f64 = self
            .candidates
            .targets
            .iter()
            .map(|target| target.weight)
            .sum();
        for index in 0..self.candidates.targets.len() {
            let target = &self.candidates.targets[index];
            let (weight, scored, spread) =
                (target.weight / total, target.scored, target.is_spread());
            let range = self.candidates.of_target[index].clone();
            let middle = spread.then(|| self.new_slack(-MOST_MIDDLE, MOST_MIDDLE));
            let several = scored && range.len() > 1;
            let worst = several.then(|| self.new_slack(0.0, 1.0 - tightening));
            for source in range.clone() {
                if worst.is_some() {
                    // |r| <= t, as r - t <= 0 and -r - t <= 0.
                    for sign in [1.0, -1.0] {
                        self.push_row(
                            Row::at_most(0.0),
                            RowPiece {
                                source,
                                sign,
                                worst,
                                middle,
                            },
                        );
                    }
                } else {
                    let row = tighten(self.candidates.bands[source], tightening);
                    self.push_row(
                        row,
                        RowPiece {
                            source,
                            sign: 1.0,
                            worst,
                            middle,
                        },
                    );
                }
            }
            if scored {
                self.weights.push(weight);
                self.residual_pieces.push(match worst {
                    Some(variable) => ResidualPiece::Slack { variable },
                    None => ResidualPiece::Row {
                        source: range.start,
                    },
                });
            }
            self.slacks.push((worst, middle));
        }
        let rest = self
            .candidates
            .of_target
            .last()
            .map_or(0, |range| range.end);
        self.describe_plainly(rest, tightening);
    }

    fn describe_nearest(&mut self, tightening: f64) {
        let worst = Some(self.new_slack(0.0, MOST_VIOLATION));
        self.weights.push(1.0);
        for source in 0..self.candidates.bands.len() {
            let row = tighten(self.candidates.bands[source], tightening);
            if self.candidates.sources[source] == RowSource::Motion {
                self.push_row(row, RowPiece::plain(source));
                continue;
            }
            // c - v <= upper and -c - v <= -lower.
            for (sign, edge) in [(1.0, row.band.upper), (-1.0, -row.band.lower)] {
                if edge.is_finite() {
                    let piece = RowPiece {
                        source,
                        sign,
                        worst,
                        middle: None,
                    };
                    self.push_row(Row::at_most(edge), piece);
                }
            }
        }
        self.residual_pieces.push(ResidualPiece::Slack {
            variable: self.variable_count(),
        });
    }

    /// Fills the raw rows of the value workspace; `Err` with the smallest margin where the
    /// mechanism does not assemble.
    fn fill_values(&mut self, x: &[f64]) -> Result<(), f64> {
        self.values.x.clear();
        self.values.x.extend_from_slice(x);
        self.values.rows.begin(0, 0);
        self.candidates.fill(&mut self.values)
    }

    /// A start for the purpose from variables `x` of the construction: slack variables as
    /// small as they may be. `None` where it cannot be evaluated.
    #[must_use]
    pub fn with_slacks(&mut self, x: &[f64]) -> Option<Vec<f64>> {
        self.fill_values(x).ok()?;
        let mut start = x.to_vec();
        start.resize(self.bounds.len(), 0.0);
        for (index, (_, middle)) in self.slacks.iter().enumerate() {
            if let Some(middle) = *middle {
                start[middle] = self.candidates.middle(index, &self.values.rows);
            }
        }
        self.candidates.centre_spreads(&mut self.values.rows);
        let rows = &self.values.rows.values;
        if self.purpose == Purpose::Nearest {
            let bands = rows.iter().zip(&self.candidates.bands);
            let violations = bands.map(|(&value, row)| row.band.excess(value).abs());
            start[x.len()] = violations.fold(0.0, f64::max);
        }
        for (index, (worst, _)) in self.slacks.iter().enumerate() {
            if let Some(worst) = *worst {
                let of_target = &rows[self.candidates.of_target[index].clone()];
                let size = of_target.iter().map(|row| row.abs()).fold(0.0, f64::max);
                start[worst] = self.bounds[worst].clamp(size);
            }
        }
        Some(start)
    }

    /// Smallest margin of the mechanism at `x`: positive where it assembles.
    #[must_use]
    pub fn margin(&mut self, x: &[f64]) -> f64 {
        match self.fill_values(x) {
            Ok(()) => {
                let row = self.candidates.margin_row();
                // That of the construction stands before that of the mechanism.
                let [placing, moving] = [row - 1, row].map(|row| self.values.rows.values[row]);
                if placing < moving { placing } else { moving }
            }
            Err(margin) => margin,
        }
    }

    /// Fills the raw rows and their derivatives, a few variables at a time.
    fn fill_slopes(&mut self, x: &[f64]) -> Result<(), NotEvaluable> {
        let count = x.len();
        self.slopes.remember(&self.values);
        // Once at least, for the values: where the shock places the only free point, there is
        // no variable.
        for offset in (0..count.max(1)).step_by(PASS) {
            self.slopes.x.clear();
            // Variables of other passes have an index that is out of range here.
            let variable =
                |(index, &value): (usize, &f64)| Dual::variable(value, index.wrapping_sub(offset));
            self.slopes.x.extend(x.iter().enumerate().map(variable));
            self.slopes.rows.begin(offset, PASS.min(count - offset));
            self.candidates
                .fill(&mut self.slopes)
                .map_err(|_| NotEvaluable)?;
            if self.purpose != Purpose::Score {
                self.candidates.centre_spreads(&mut self.slopes.rows);
            }
        }
        Ok(())
    }
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
        self.fill_values(&x[..self.variable_count()])
            .map_err(|_| NotEvaluable)?;
        if self.purpose != Purpose::Score {
            self.candidates.centre_spreads(&mut self.values.rows);
        }
        let raw = &self.values.rows.values;
        let slack = |variable: Option<usize>| variable.map_or(0.0, |variable| x[variable]);
        for (slot, piece) in out.rows.iter_mut().zip(&self.row_pieces) {
            *slot = piece.sign * (raw[piece.source] - slack(piece.middle)) - slack(piece.worst);
        }
        for (slot, piece) in out.residuals.iter_mut().zip(&self.residual_pieces) {
            *slot = match *piece {
                ResidualPiece::Row { source } => raw[source],
                ResidualPiece::Slack { variable } => x[variable],
            };
        }
        Ok(())
    }

    fn differentiate(&mut self, x: &[f64], out: &mut Derivatives) -> Result<(), NotEvaluable> {
        let (width, count) = (x.len().max(1), self.variable_count());
        self.fill_slopes(&x[..count])?;
        for variable in 0..count {
            let column = self.slopes.rows.column(variable);
            let slots = out.rows[variable..].iter_mut().step_by(width);
            for (slot, piece) in slots.zip(&self.row_pieces) {
                *slot = piece.sign * column[piece.source];
            }
        }
        let lines = out.rows.chunks_exact_mut(width);
        for (line, piece) in lines.zip(&self.row_pieces) {
            if let Some(worst) = piece.worst {
                line[worst] = -1.0;
            }
            if let Some(middle) = piece.middle {
                line[middle] = -piece.sign;
            }
        }
        let lines = out.residuals.chunks_exact_mut(width);
        for (line, piece) in lines.zip(&self.residual_pieces) {
            match *piece {
                ResidualPiece::Row { source } => {
                    for (variable, slot) in line[..count].iter_mut().enumerate() {
                        *slot = self.slopes.rows.column(variable)[source];
                    }
                }
                ResidualPiece::Slack { variable } => line[variable] = 1.0,
            }
        }
        Ok(())
    }
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
