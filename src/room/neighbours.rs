//! The pairs of parts of a layout whose distance says something.

use crate::input::{Anchor, BodyId, Clearance, Layout, Part, Relation, Shape};
use crate::number::Point;
use std::sync::Arc;

/// All pairs of parts that could come to touch: not those that move together, that are drawn
/// about a common point, that lie beside each other, or that touch by their purpose (the chain
/// and its sprockets, the pieces of the shock).
#[must_use]
pub fn neighbours(layout: &Layout) -> Vec<Clearance> {
    let mut pairs = Vec::new();
    for (index, one) in layout.parts.iter().enumerate() {
        for other in &layout.parts[index + 1..] {
            if one.shares_a_layer_with(other)
                && !move_together(layout, one, other)
                && !share_a_point(one, other)
                && !belong_together(layout, one, other)
            {
                pairs.push(Clearance {
                    relation: Relation::Apart,
                    first: vec![Arc::clone(one)],
                    second: vec![Arc::clone(other)],
                });
            }
        }
    }
    pairs
}

/// Whether some body carries both.
fn move_together(layout: &Layout, one: &Part, other: &Part) -> bool {
    let carriers = carriers(layout, one);
    let others = self::carriers(layout, other);
    carriers.iter().any(|body| others.contains(body))
}

/// The bodies that carry all of a part.
fn carriers(layout: &Layout, part: &Part) -> Vec<BodyId> {
    let mechanism = &layout.mechanism;
    let of = |anchor: &Anchor| match anchor {
        Anchor::Point(point) => mechanism.bodies_of(*point).collect(),
        Anchor::Carried { carrier, .. } => vec![carrier.body],
    };
    match &part.shape {
        Shape::Circle(anchor) => of(anchor),
        Shape::Capsule([one, other]) => {
            let others = of(other);
            let mut carriers = of(one);
            carriers.retain(|body| others.contains(body));
            carriers
        }
        Shape::Polygon { carrier, .. } => vec![carrier.body],
        Shape::Chainring => {
            let mut bodies = mechanism.bodies.iter();
            let frame = bodies.position(|body| body.name == "frame");
            frame.map(BodyId).into_iter().collect()
        }
        Shape::AlongShock { .. } | Shape::Chain { .. } => Vec::new(),
    }
}

fn share_a_point(one: &Part, other: &Part) -> bool {
    let points = one.points();
    other.points().iter().any(|point| points.contains(point))
}

fn belong_together(layout: &Layout, one: &Part, other: &Part) -> bool {
    let shock = |part: &Part| matches!(part.shape, Shape::AlongShock { .. });
    let chain = |part: &Part| matches!(part.shape, Shape::Chain { .. });
    let sprocket = |part: &Part| match part.shape {
        Shape::Chainring => true,
        Shape::Circle(Anchor::Point(point)) => {
            let idler = layout.bicycle.idler.map(|idler| idler.point);
            point == layout.bicycle.rear_axle || Some(point) == idler
        }
        Shape::Circle(Anchor::Carried { position, .. }) => position == Point::new(0.0, 0.0),
        _ => false,
    };
    (shock(one) && shock(other))
        || (chain(one) && (chain(other) || sprocket(other)))
        || (chain(other) && sprocket(one))
}
