//! A part as cores whose corners follow the candidate.

use crate::curves::{Bicycle, RunSprockets, chain_runs};
use crate::input::{Anchor, BodyId, Carrier, Part, PointId, Shape};
use crate::mechanism::{Motion, Plan, Pose};
use crate::number::{Point, Scalar, Vector};

/// A corner and what it follows.
#[derive(Clone, Copy, Debug)]
pub(super) enum Corner {
    /// A point of the linkage.
    Point(usize),
    /// A place in the frame.
    Fixed(Point<f64>),
    /// A place at full extension, carried by a body along with one of its points.
    Carried {
        position: Point<f64>,
        body: BodyId,
        base: usize,
    },
    /// So far from one eye of the shock towards the other, and to the left of that line.
    AlongShock {
        eye: usize,
        /// Whether that is the first eye of the shock.
        first: bool,
        along: f64,
        offset: f64,
    },
}

/// The core of a part.
#[derive(Clone, Debug)]
pub(super) enum Core {
    /// A point, a line or a convex polygon.
    Corners(Vec<Corner>),
    /// A straight run of the chain.
    Run(RunSprockets),
}

/// One core of a part, made thicker.
#[derive(Clone, Debug)]
pub(super) struct Figure {
    pub core: Core,
    /// By how much it is thicker than its core all round, mm.
    pub radius: f64,
}

impl Figure {
    /// The cores of `part`: one, or of a chain as many as it has runs.
    pub fn all_of(part: &Part, plan: &Plan, bicycle: &Bicycle) -> Vec<Self> {
        let core = |corners| {
            vec![Self {
                core: Core::Corners(corners),
                radius: part.radius,
            }]
        };
        let anchor = |anchor: &Anchor| match *anchor {
            Anchor::Point(point) => Corner::Point(point.index()),
            Anchor::Carried { position, carrier } => carried(position, carrier),
        };
        match &part.shape {
            Shape::Circle(centre) => core(vec![anchor(centre)]),
            Shape::Capsule(ends) => core(ends.iter().map(anchor).collect()),
            Shape::Polygon { corners, carrier } => core(
                counter_clockwise(corners)
                    .into_iter()
                    .map(|corner| carried(corner, *carrier))
                    .collect(),
            ),
            Shape::AlongShock {
                eye,
                from,
                to,
                offset,
                ..
            } => {
                let at = |along: f64| Corner::AlongShock {
                    eye: eye.index(),
                    first: *eye == plan.shock_ends()[0],
                    along,
                    offset: *offset,
                };
                core(vec![at(*from), at(*to)])
            }
            Shape::Chainring => vec![Self {
                core: Core::Corners(vec![Corner::Fixed(Point::new(0.0, 0.0))]),
                radius: part.radius + bicycle.ring_radius(),
            }],
            Shape::Chain { run, cogs } => chain_runs(bicycle, *run, cogs)
                .into_iter()
                .map(|sprockets| Self {
                    core: Core::Run(sprockets),
                    radius: part.radius,
                })
                .collect(),
        }
    }
}

impl Corner {
    /// Whether it never moves in the frame.
    pub fn stands_still(self, plan: &Plan) -> bool {
        match self {
            Self::Fixed(_) => true,
            Self::Point(point) => plan.is_fixed(PointId(point)),
            Self::Carried { .. } | Self::AlongShock { .. } => false,
        }
    }

    /// Its place in `pose`; `shock` is the unit vector from the first to the second eye.
    pub fn place<T: Scalar>(
        self,
        motion: &Motion<'_, T>,
        pose: &Pose<T>,
        shock: Vector<T>,
    ) -> Point<T> {
        match self {
            Self::Point(point) => pose.points[point],
            Self::Fixed(position) => Point::constant(position),
            Self::Carried {
                position,
                body,
                base,
            } => {
                let turned = motion.rotation(body, pose);
                let offset = Point::constant(position) - motion.drawn()[base];
                let offset = offset * turned.cosine + offset.turned_left() * turned.sine;
                pose.points[base] + offset
            }
            Self::AlongShock {
                eye,
                first,
                along,
                offset,
            } => {
                // The other way round from the second eye.
                let sign = if first { 1.0 } else { -1.0 };
                let (along, offset) = (along * sign, offset * sign);
                let place = Vector::new(
                    shock.x * along - shock.y * offset,
                    shock.y * along + shock.x * offset,
                );
                pose.points[eye] + place
            }
        }
    }
}

fn carried(position: Point<f64>, carrier: Carrier) -> Corner {
    match carrier.base {
        None => Corner::Fixed(position),
        Some(base) => Corner::Carried {
            position,
            body: carrier.body,
            base: base.index(),
        },
    }
}

/// The corners in the sense that distances are taken in.
fn counter_clockwise(corners: &[Point<f64>]) -> Vec<Point<f64>> {
    let mut corners = corners.to_vec();
    let Some(&first) = corners.first() else {
        return corners;
    };
    let pairs = corners.windows(2);
    let doubled: f64 = pairs
        .map(|pair| (pair[0] - first).cross(pair[1] - first))
        .sum();
    if doubled < 0.0 {
        corners.reverse();
    }
    corners
}
