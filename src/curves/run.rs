//! Straight runs of the chain, as lines between the places where it leaves two sprockets.
//!
//! A run is the common tangent of two pitch circles: `D.m = sa ra - sb rb`, with `D` from
//! sprocket a to sprocket b, `m` the run turned by +90 degrees, and `s` +1 where the chain
//! passes above a sprocket and -1 where it passes below. It touches a at `A + sa ra m`.

use super::bicycle::{Bicycle, pitch_radius};
use super::chassis::tangent;
use crate::input::ChainRun;
use crate::number::{Point, Scalar};

/// A sprocket of a run: the point at its centre (the bottom bracket where there is none), and
/// its pitch radius in mm, negative where the chain passes below it.
type Sprocket = (Option<usize>, f64);

/// The two sprockets of a straight run.
#[derive(Clone, Copy, Debug)]
pub struct RunSprockets {
    first: Sprocket,
    second: Sprocket,
}

/// The straight runs of the chain on the cogs of `teeth`: one for each, and one more from an
/// idler to the chainring. The lower run is the common lower tangent of chainring and cog.
#[must_use]
pub fn chain_runs(bicycle: &Bicycle, run: ChainRun, teeth: &[u32]) -> Vec<RunSprockets> {
    let ring = (None, bicycle.ring_radius);
    let below = |(centre, radius): Sprocket| (centre, -radius);
    let cog = |&teeth: &u32| (Some(bicycle.axle), pitch_radius(teeth));
    let line = |first, second| RunSprockets { first, second };
    match (run, bicycle.idler) {
        (ChainRun::Lower, _) => teeth
            .iter()
            .map(|teeth| line(below(cog(teeth)), below(ring)))
            .collect(),
        (ChainRun::Upper, None) => teeth.iter().map(|teeth| line(cog(teeth), ring)).collect(),
        (ChainRun::Upper, Some(wheel)) => {
            let idler = (Some(wheel.point), wheel.signed_radius);
            let to_idler = teeth.iter().map(|teeth| line(cog(teeth), idler));
            to_idler.chain([line(idler, ring)]).collect()
        }
    }
}

impl RunSprockets {
    /// Both ends of the run, where the points of the linkage stand at `points`.
    #[must_use]
    pub fn ends<T: Scalar>(&self, points: &[Point<T>]) -> [Point<T>; 2] {
        let centre = |(point, _): Sprocket| match point {
            Some(point) => points[point],
            None => Point::constant(Point::new(0.0, 0.0)),
        };
        let centres = [self.first, self.second].map(centre);
        let (first, second) = (self.first.1, self.second.1);
        let upright = tangent(centres[1] - centres[0], first - second)
            .along
            .turned_left();
        [
            centres[0] + upright * T::from_f64(first),
            centres[1] + upright * T::from_f64(second),
        ]
    }
}
