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
    /// The points of the linkage at the two centres; none is the bottom bracket.
    #[must_use]
    pub fn centres(&self) -> [Option<usize>; 2] {
        [self.first.0, self.second.0]
    }

    /// Both ends of the run, where the sprockets' centres stand at `centres`.
    #[must_use]
    pub fn ends<T: Scalar>(&self, centres: [Point<T>; 2]) -> [Point<T>; 2] {
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

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    #[test]
    fn a_run_leaves_each_sprocket_at_right_angles_to_its_radius() {
        let (cog, ring) = (Point::new(-430.0, 31.0), Point::new(0.0, 0.0));
        for (one, other) in [(48.0, 65.0), (-48.0, -65.0), (20.0, -36.0)] {
            let run = RunSprockets {
                first: (Some(0), one),
                second: (None, other),
            };
            let [start, end] = run.ends([cog, ring]);
            let line = end - start;
            for (place, centre, radius) in [(start, cog, one), (end, ring, other)] {
                assert_abs_diff_eq!((place - centre).length(), radius.abs(), epsilon = 1e-9);
                assert_abs_diff_eq!((place - centre).dot(line), 0.0, epsilon = 1e-7);
                assert_eq!(place.y > centre.y, radius > 0.0, "over is above");
            }
        }
    }
}
