//! Clearances of eight layouts at once, from samples.

use crate::input::Limit;
use crate::mechanism::{Motion, Pose};
use crate::number::{LANES, Lanes, Point, Scalar};
use crate::room::Room;

/// The parts that limits are about, in every pose looked at.
#[derive(Clone, Debug)]
pub(super) struct Parts {
    room: Room,
    moving: Vec<Point<Lanes>>,
    /// Of each pose, all corners, one lane after the other.
    corners: Vec<Vec<Point<f64>>>,
}

impl Parts {
    /// The parts of `limits` around a bicycle, for mechanisms that move by its plan.
    pub fn new(room: Room) -> Self {
        Self {
            room,
            moving: Vec::new(),
            corners: Vec::new(),
        }
    }

    /// The number of each limit's clearance among all of them; none for a limit on points.
    pub fn numbers(limits: &[Limit]) -> Vec<Option<usize>> {
        let mut next = 0..;
        let mut number = |limit: &Limit| limit.clearance().and_then(|_| next.next());
        limits.iter().map(&mut number).collect()
    }

    /// Places all parts in `poses`.
    pub fn place<'a>(
        &mut self,
        motion: &Motion<'_, Lanes>,
        poses: impl Iterator<Item = &'a Pose<Lanes>>,
    ) {
        if self.room.gaps().is_empty() {
            return;
        }
        let count = self.room.corner_count();
        for (index, pose) in poses.enumerate() {
            if index == self.corners.len() {
                let blank = (0..LANES).flat_map(|_| self.room.blank());
                self.corners.push(blank.collect());
            }
            let corners = &mut self.corners[index];
            self.room.place(motion, pose, &mut self.moving);
            self.room
                .values(&self.moving, |corner, place: Point<Lanes>| {
                    let (x, y) = (place.x.to_lanes(), place.y.to_lanes());
                    for lane in 0..LANES {
                        corners[lane * count + corner] = Point::new(x[lane], y[lane]);
                    }
                });
        }
    }

    /// The clearance in pose number `index`, in every lane.
    pub fn clearance(&self, gap: usize, index: usize) -> [f64; LANES] {
        let count = self.room.corner_count();
        std::array::from_fn(|lane| {
            let corners = &self.corners[index][lane * count..(lane + 1) * count];
            self.room.closest(gap, corners).value
        })
    }
}
