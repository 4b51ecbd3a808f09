//! Constrained optimisation that knows no mechanism.
//!
//! A [`Problem`] gives values and derivatives, and says honestly where it cannot.
//! One start goes through two stages: [`Feasible`] looks for a point where every row
//! holds (damped least squares), [`Minimiser`] then lowers the objective among such
//! points (sequential quadratic programming). [`LocalSolver`] frames both for argmin.
//! [`unit_cube_point`] gives start k as a pure function of seed and k.
//!
//! | file | what |
//! |---|---|
//! | `problem` | [`Problem`], its rows and values, how a run ends |
//! | `sample` | starts |
//! | `feasible` | stage 1 |
//! | `minimise`, `curvature`, `subproblem` | stage 2: the loop, its Hessian, its quadratic programme |
//! | `qp` | the quadratic programme by itself |
//! | `local` | the frame, the only file that knows argmin |
//! | `linear` | dot products and Cholesky, with a fixed order of operations |
//!
//! Bits: every sum is written as a loop in a fixed order, so that the same start ends
//! in the same bits on any x86-64. Budgets count evaluations, never time.

// Formulas over several vectors of one length read best by index.
#![allow(clippy::needless_range_loop)]

mod curvature;
mod feasible;
mod linear;
mod local;
mod minimise;
mod problem;
mod qp;
mod sample;
mod subproblem;

pub use feasible::{Feasible, FeasibleSettings};
pub use local::{LocalSolver, LocalState, Stage, run};
pub use minimise::{Minimiser, MinimiserSettings, RowWeights};
pub use problem::{Derivatives, Evaluation, Interval, NotEvaluable, Outcome, Problem, Row, Stop};
pub use qp::{QuadraticProgram, QuadraticSolver, QuadraticStop, Reuse};
pub use sample::{place, unit_cube_point};
