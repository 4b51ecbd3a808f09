//! Limits of eight layouts at once, from samples.
//!
//! A clearance is looked at only where it could matter. By how much it can differ from that of
//! the layout that the sampler was made for is known in every sample (`room::Nearby`); where even
//! so it would be larger than what is of interest, the samples' own clearances need not be found.

use super::course::Course;
use super::sampled::{Lane, SAMPLES, Sampled, Sampler};
use crate::design::limit_rows::{self, Measure};
use crate::input::{Limit, Place};
use crate::mechanism::Pose;
use crate::number::{LANES, Lanes};

/// Top to end.
pub(super) const WHOLE: (Place, Place) = (Place::Top, Place::End);

/// What of the limits is wanted to be known.
#[derive(Clone, Copy)]
pub enum Interest<'i> {
    /// The slack of every limit.
    Everything,
    /// Every slack that is negative; another may be told as any that is not.
    Broken,
    /// The smallest slack of all where it is below what the function makes of the values and of
    /// the slacks of limits on points; else any that is not.
    Least(&'i dyn Fn(&Sampled) -> Lane),
}

impl Sampler<'_> {
    /// The slack of every limit, as far as it is of interest.
    pub(super) fn read_limits(&self, interest: Interest, out: &mut Sampled) {
        out.slacks.clear();
        let points = self.limits.iter().map(|limit| {
            let measure = Measure::of(&limit.quantity);
            measure.map_or([f64::INFINITY; LANES], |measure| self.slack(limit, measure))
        });
        out.slacks.extend(points);
        let mut above = match interest {
            Interest::Everything => [f64::INFINITY; LANES],
            Interest::Broken => [0.0; LANES],
            Interest::Least(above) => above(out),
        };
        for (index, (limit, gap)) in self.limits.iter().zip(&self.gaps).enumerate() {
            let Some(gap) = *gap else { continue };
            let slack = self.gap_slack(limit, gap, above);
            out.slacks[index] = slack;
            if matches!(interest, Interest::Least(_)) {
                for (above, slack) in above.iter_mut().zip(slack) {
                    *above = above.min(slack);
                }
            }
        }
    }

    fn slack(&self, limit: &Limit, measure: Measure) -> Lane {
        let read =
            |pose: &Pose<Lanes>| -> Lane { limit_rows::measure(measure, &pose.points).to_array() };
        let Some(range) = limit.over else {
            let top = read(&self.poses[0]);
            return top.map(|value| limit_rows::slack(limit.bound, value));
        };
        let line: Vec<Lane> = self.poses.iter().map(read).collect();
        let ends = [range.0, range.1].map(|place| read(&self.place_poses[self.place(place)]));
        least_slack(limit, &self.courses(&line, range, ends))
    }

    fn gap_slack(&self, limit: &Limit, gap: usize, above: Lane) -> Lane {
        let range = limit.over.unwrap_or(WHOLE);
        match (limit.bound.low(), limit.bound.high()) {
            (Some(low), None) => {
                let smallest = self.smallest(gap, range, above.map(|above| above + low));
                smallest.map(|value| value - low)
            }
            _ => least_slack(limit, &self.gap_courses(gap, range)),
        }
    }

    /// The smallest clearance over a range, where it is not above `below`; else any that is.
    pub(super) fn smallest(&self, gap: usize, range: (Place, Place), below: Lane) -> Lane {
        if self.nearby.stands_still(gap) {
            return self.nearby.clearance(gap, 0).to_array();
        }
        if range != WHOLE {
            return self.gap_courses(gap, range).map(|course| course.least().1);
        }
        let mut below = Lanes::from_array(below);
        let bounds = self.bounds(gap);
        let matters = |bound: Lanes, below: Lanes| {
            let (bound, below) = (bound.to_array(), below.to_array());
            (0..LANES).any(|lane| bound[lane] <= below[lane])
        };
        let mut line = [[f64::INFINITY; LANES]; SAMPLES];
        if !bounds.iter().any(|&bound| matters(bound, below)) {
            return line[0];
        }
        // What it was smallest at before is a good guess of how small it is.
        let known = |pose: usize| self.nearby.known(gap, pose);
        let guess = (0..SAMPLES).min_by(|&a, &b| known(a).total_cmp(&known(b)));
        let guess = guess.unwrap_or(0);
        let there = self.nearby.clearance(gap, guess);
        line[guess] = there.to_array();
        below = there.smaller(below);
        let needed = bounds.map(|bound| matters(bound, below));
        for pose in (0..SAMPLES).filter(|&pose| pose != guess) {
            // The parabola through a sample looks at its neighbours.
            let around = pose.saturating_sub(1)..(pose + 2).min(SAMPLES);
            if needed[around].contains(&true) {
                line[pose] = self.nearby.clearance(gap, pose).to_array();
            }
        }
        let ends = [line[0], line[SAMPLES - 1]];
        self.courses(&line, WHOLE, ends)
            .map(|course| course.least().1)
    }

    /// In each sample a lower bound of the clearance, and of the parabola through it and its
    /// neighbours: that lies below the lowest of three by an eighth of their second difference
    /// at most.
    fn bounds(&self, gap: usize) -> [Lanes; SAMPLES] {
        let known: [f64; SAMPLES] = std::array::from_fn(|pose| self.nearby.known(gap, pose));
        let reach: [Lanes; SAMPLES] = std::array::from_fn(|pose| self.nearby.reach(gap, pose));
        std::array::from_fn(|pose| {
            let bound = -reach[pose] + known[pose];
            if pose == 0 || pose + 1 == SAMPLES {
                return bound;
            }
            let bend = known[pose - 1] - 2.0 * known[pose] + known[pose + 1];
            let more = reach[pose - 1] + reach[pose] * 2.0 + reach[pose + 1];
            bound - (more + bend.max(0.0)) / 8.0
        })
    }

    /// The clearance over a range in every lane.
    fn gap_courses(&self, gap: usize, range: (Place, Place)) -> [Course; LANES] {
        let exact = |pose: usize| self.nearby.clearance(gap, pose).to_array();
        let line: Vec<Lane> = (0..SAMPLES).map(exact).collect();
        let ends = [range.0, range.1].map(|place| exact(SAMPLES + self.place(place)));
        self.courses(&line, range, ends)
    }

    /// Places the parts of all clearances.
    pub(super) fn place_parts(&mut self) {
        let poses = self.poses.iter().chain(&self.place_poses);
        self.nearby.place(&self.motion, poses);
    }
}

/// The least slack over the course of a limit's value.
fn least_slack(limit: &Limit, courses: &[Course; LANES]) -> Lane {
    std::array::from_fn(|lane| {
        let course = &courses[lane];
        let slacks = [course.least().1, course.greatest().1]
            .map(|value| limit_rows::slack(limit.bound, value));
        if slacks[0] < slacks[1] {
            slacks[0]
        } else {
            slacks[1]
        }
    })
}
