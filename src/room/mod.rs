//! Between floors 3 and 4: the room that parts take up, and how far they are from each other.
//!
//! - `distance`: signed distance of two convex cores, as a [`Contact`].
//! - `figure`: a part as a core whose corners follow the candidate.
//! - [`Room`]: the pairs of a clearance, at any moment the nearest of them.
//! - [`Nearby`]: the clearances of eight layouts at once, near one that is known.
//! - `outline`: where a part's cores stand, for whoever draws it.
//! - `sweep`: the nearest of the continuous motion.
//!
//! Distances are of side view; parts that lie beside each other (their layers do not overlap)
//! make no pair.

mod distance;
mod figure;
mod gap;
mod nearby;
mod neighbours;
mod outline;
mod sweep;

pub use distance::{Contact, Witness, contact};
pub use gap::{Closest, Gap, Room};
pub use nearby::Nearby;
pub use neighbours::neighbours;
pub use outline::{corner_count, corners, thickness};
pub use sweep::{Nearest, Sweep};
