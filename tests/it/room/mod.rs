//! The room that parts take up: distances, clearances over the travel, searches with limits on
//! parts.

mod distances;
mod limits;
mod search;
mod sweeps;

use geo::{Contains, ConvexHull, EuclideanDistance};
use pivotwright::curves::{Suspension, pitch_radius};
use pivotwright::input::{Anchor, Carrier, ChainRun, Clearance, Part, Relation, Shape};
use pivotwright::number::Point;

/// Signed distance of two convex cores by the general-purpose geometry library geo: that of the
/// origin to the outline of the Minkowski difference, the hull of all differences of corners.
pub fn signed_distance(first: &[Point<f64>], second: &[Point<f64>]) -> f64 {
    let differences = first.iter().flat_map(|a| {
        let difference = |b: &Point<f64>| geo::Point::new(b.x - a.x, b.y - a.y);
        second.iter().map(difference)
    });
    let differences: geo::MultiPoint = differences.collect();
    let origin = geo::Point::new(0.0, 0.0);
    match differences.0[..] {
        [only] => origin.euclidean_distance(&only),
        [one, other] => origin.euclidean_distance(&geo::Line::new(one, other)),
        _ => {
            let hull = differences.convex_hull();
            let away = origin.euclidean_distance(hull.exterior());
            if hull.contains(&origin) { -away } else { away }
        }
    }
}

/// The cores of a part at parameter `q`, worked out without the program's own placing.
fn cores(suspension: &Suspension, part: &Part, q: f64) -> Vec<Vec<Point<f64>>> {
    let (drawn, posed) = (suspension.pose(0.0).points, suspension.pose(q).points);
    // A body's turning is that of the line between two of its points.
    let carried = |position: Point<f64>, carrier: &Carrier, other: usize| match carrier.base {
        None => position,
        Some(base) => {
            let base = base.index();
            let angle = |points: &[Point<f64>]| {
                (points[other].y - points[base].y).atan2(points[other].x - points[base].x)
            };
            let (sine, cosine) = (angle(&posed) - angle(&drawn)).sin_cos();
            let (x, y) = (position.x - drawn[base].x, position.y - drawn[base].y);
            Point::new(
                posed[base].x + x * cosine - y * sine,
                posed[base].y + x * sine + y * cosine,
            )
        }
    };
    let second = |carrier: &Carrier| {
        carrier.base.map_or(0, |base| {
            // The layouts of these tests have the second point of a body after its first.
            second_point(base.index())
        })
    };
    let anchor = |anchor: &Anchor| match anchor {
        Anchor::Point(point) => posed[point.index()],
        Anchor::Carried { position, carrier } => carried(*position, carrier, second(carrier)),
    };
    match &part.shape {
        Shape::Circle(centre) => vec![vec![anchor(centre)]],
        Shape::Capsule(ends) => vec![ends.iter().map(anchor).collect()],
        Shape::Polygon { corners, carrier } => {
            let place = |&corner: &Point<f64>| carried(corner, carrier, second(carrier));
            vec![corners.iter().map(place).collect()]
        }
        Shape::AlongShock {
            eye,
            other,
            from,
            to,
            offset,
        } => {
            let (eye, other) = (posed[eye.index()], posed[other.index()]);
            let angle = (other.y - eye.y).atan2(other.x - eye.x);
            let at = |along: f64| {
                Point::new(
                    eye.x + along * angle.cos() - offset * angle.sin(),
                    eye.y + along * angle.sin() + offset * angle.cos(),
                )
            };
            vec![vec![at(*from), at(*to)]]
        }
        Shape::Chainring => vec![vec![Point::new(0.0, 0.0)]],
        Shape::Chain { run, cogs } => {
            let axle = posed[suspension.bicycle().axle()];
            // Without an idler, on a chainring of 32.
            cogs.iter()
                .map(|&cog| run_line(*run, axle, cog, 32))
                .collect()
        }
    }
}

/// Of the demo's four-bar, the point that follows another in its body.
fn second_point(base: usize) -> usize {
    // axle, main_pivot, stay_pivot, rocker_pivot, rocker_stay, shock_rocker, shock_frame.
    match base {
        1 => 2,
        2 => 0,
        _ => 4,
    }
}

/// The common tangent of two circles by its angles: turned from the line of centres by the
/// angle whose sine is the difference of the radii over their distance.
fn run_line(run: ChainRun, axle: Point<f64>, cog: u32, ring: u32) -> Vec<Point<f64>> {
    let (cog, ring) = (pitch_radius(cog), pitch_radius(ring));
    let (distance, line) = (axle.x.hypot(axle.y), (-axle.y).atan2(-axle.x));
    let turn = ((ring - cog) / distance).asin();
    let quarter = std::f64::consts::FRAC_PI_2;
    let normal = match run {
        ChainRun::Upper => line + turn + quarter,
        ChainRun::Lower => line - turn - quarter,
    };
    let from = |centre: Point<f64>, radius: f64| {
        Point::new(
            centre.x + radius * normal.cos(),
            centre.y + radius * normal.sin(),
        )
    };
    vec![from(axle, cog), from(Point::new(0.0, 0.0), ring)]
}

/// The clearance at parameter `q` as geo has it.
pub fn clearance_at(suspension: &Suspension, clearance: &Clearance, q: f64) -> f64 {
    let round = |part: &Part| match part.shape {
        Shape::Chainring => part.radius + suspension.bicycle().ring_radius(),
        _ => part.radius,
    };
    let mut least = f64::INFINITY;
    for (one, other) in clearance.pairs() {
        for first in cores(suspension, one, q) {
            for second in cores(suspension, other, q) {
                let value = match clearance.relation {
                    Relation::Apart => signed_distance(&first, &second) - round(one) - round(other),
                    Relation::Inside => {
                        first
                            .iter()
                            .map(|corner| -signed_distance(&[*corner], &second))
                            .fold(f64::INFINITY, f64::min)
                            - round(one)
                            + round(other)
                    }
                };
                least = least.min(value);
            }
        }
    }
    least
}
