//! Finds where the pivots of a bicycle's rear suspension should go.
//!
//! A frame builder decides how the bike must feel: leverage rate, anti-squat, anti-rise and
//! the rest as curves over the travel. This crate searches bounded pivot coordinates for
//! layouts that give those curves, verifies each exactly, and ranks them.
//!
//! Kinematics only: nothing here speaks of strength, stiffness or fatigue.
//!
//! # Frame of reference, units, signs
//!
//! The plane is the bicycle's mid-plane, seen from the drive side with the bicycle facing
//! right: `x` forward, `y` up, origin at the bottom bracket, fixed to the main frame. Angles
//! are counter-clockwise. Lengths are in mm, angles in degrees at every interface; anti-squat
//! and anti-rise are in percent, leverage in mm of travel per mm of stroke.
//!
//! A layout gives every point at full extension. Travel `z` is the rear axle's rise in `y`;
//! stroke `s` is the shock's shortening. `top` is full extension, `end` full stroke, `sag` a
//! fraction of travel or of stroke as the layout says.
//!
//! # Definitions
//!
//! A prime is a derivative by any parameter of the motion; ratios do not depend on which. `a'`
//! is the rear axle's velocity, `t` the unit vector along the ground line (the common lower
//! tangent of the wheels), `n` its normal, `L` the distance between the contact points, `h` the
//! height of the centre of mass over the ground line along `n`, `R` the rear wheel's radius.
//!
//! - Leverage rate `LR = z' / s'`. Progression over a range `(LR_start - LR_end) / LR_start`.
//!   Straightness: the largest `LR(z) - chord(z)`, the chord drawn from the range's first point
//!   to its last over travel.
//! - Anti-squat on a cog of pitch radius `r`, `u` the unit vector along the tight chain run
//!   from cog to chainring or idler:
//!   `AS = -100 (t.a' + (R / r) (u.a' + (u2 - u).i')) / ((h / L) n.a')`, the part with `u2`
//!   and `i'` (run from idler to chainring, velocity of the idler) only with an idler. At 100 %
//!   steady drive neither extends nor compresses the suspension. All mass counts as sprung.
//! - Anti-rise, rear brake alone, caliper on a body with angular velocity `w`:
//!   `AR = -100 (t.c') / ((h / L) n.a')` with `c' = a' + w x (C - A)`, the contact point `C`
//!   carried with that body.
//! - Instant centre of the body that carries the axle `A`: `A + (-v_y, v_x) / w`.
//! - Chain growth: what the upper run, wrap included, gains in length from top. Pedal kickback:
//!   the crank rotation that forces, positive backward. Two conventions are in use, threefold
//!   apart, so both are given: the wheel does not turn in the frame; the wheel is held by its
//!   brake and turns with the brake's body.
//! - The front axle moves along the steering axis. The fork is compressed in proportion to the
//!   rear travel, or by a fixed number of mm: anti-squat depends on it by ten points and more.
//!
//! # Code map
//!
//! Each module is a floor and uses only those below it: [`number`], then [`input`] and
//! [`optimise`], [`mechanism`], [`curves`], [`room`], [`design`], [`study`], [`report`], [`cli`].
//! `DEVELOPERS.md` tells what must stay true.
//!
//! # Example
//!
//! ```
//! use pivotwright::{curves::Suspension, input::Layout, mechanism::Plan};
//!
//! let file = "trail-crew-m.layout.json";
//! let text = include_str!("../demo-data/trail-crew-m.layout.json");
//! let layout = Layout::from_json(file, text)?;
//! let plan = Plan::compile(file, &layout.mechanism)?;
//! let suspension = Suspension::new(&plan, file, &layout)?;
//! let top = suspension.state(0.0);
//! assert!(suspension.total_travel() > 145.0);
//! assert!(top.leverage_rate() > 2.7);
//! # Ok::<(), pivotwright::input::Faults>(())
//! ```

pub mod cli;
pub mod curves;
pub mod design;
pub mod input;
pub mod mechanism;
pub mod number;
pub mod optimise;
pub mod report;
pub mod room;
pub mod study;
