//! Parts from their tree.

use super::{Anchor, Carrier, ChainRun, Part, Shape};
use crate::input::fault::{quoted, quoted_list};
use crate::input::json::{FARTHEST, Node, Object, SMALLEST, is_name};
use crate::input::layout::{BodyId, PointId};
use crate::input::reading::distinct_teeth;
use crate::number::Point;
use std::sync::Arc;

/// The kinds of shape, and the keys that each takes besides.
const KINDS: [(&str, &[&str]); 5] = [
    ("circle", &["body"]),
    ("capsule", &["body"]),
    ("polygon", &["body"]),
    ("along_shock", &["from", "to", "offset"]),
    ("chain", &["cogs"]),
];
/// Keys that belong to some kinds only.
const SPECIAL: [&str; 5] = ["body", "from", "to", "offset", "cogs"];
/// Corners of a polygon nearer than this are one, mm.
const LEAST_EDGE: f64 = 1e-6;
/// A polygon without more area than this is a line, mm^2.
const LEAST_AREA: f64 = 1e-6;
/// Most corners of a polygon: a shape that needs more is no sketch of a tube.
const MOST_CORNERS: usize = 100;

/// What parts may name; nothing where it is at fault or not known.
#[derive(Clone, Default)]
pub(in crate::input) struct Known<'k> {
    /// The names of the points.
    pub points: Option<Vec<&'k str>>,
    /// The names of the bodies and their points.
    pub bodies: Option<Vec<(&'k str, &'k [PointId])>>,
    /// The shock's eyes.
    pub ends: Option<[PointId; 2]>,
    /// The cassette.
    pub cogs: Option<&'k [u32]>,
}

impl Known<'_> {
    fn point(&self, node: &Node) -> Option<PointId> {
        let Some(points) = &self.points else {
            node.text("the name of a point");
            return None;
        };
        let names = points.iter().copied();
        node.name_among(names, "a point of mechanism.points, or [x, y] in mm")
            .map(PointId)
    }

    fn frame(&self) -> Option<Carrier> {
        let bodies = self.bodies.as_ref()?;
        let frame = bodies.iter().position(|(name, _)| *name == "frame");
        self.carrier(frame?)
    }

    fn body(&self, node: &Node) -> Option<Carrier> {
        let Some(bodies) = &self.bodies else {
            node.text("the name of a body");
            return None;
        };
        let names = bodies.iter().map(|(name, _)| *name);
        let body = node.name_among(names, "a body of mechanism.bodies")?;
        self.carrier(body)
    }

    fn carrier(&self, body: usize) -> Option<Carrier> {
        let (name, points) = self.bodies.as_ref()?.get(body)?;
        let base = match *name {
            "frame" => None,
            _ => Some(*points.first()?),
        };
        Some(Carrier {
            body: BodyId(body),
            base,
        })
    }
}

/// Reads all parts; `taken` are names of parts that stand elsewhere.
pub(in crate::input) fn read(node: &Node, known: &Known, taken: &[Arc<Part>]) -> Option<Vec<Part>> {
    let entries = node.entries("an object with each part's name and its shape")?;
    let parts: Vec<_> = entries
        .iter()
        .map(|(key, entry)| part(key, entry, known, taken))
        .collect();
    parts.into_iter().collect()
}

fn part(name: &str, node: &Node, known: &Known, taken: &[Arc<Part>]) -> Option<Part> {
    let good_name = check_name(name, node, known, taken);
    let keys = &[
        "circle",
        "capsule",
        "polygon",
        "along_shock",
        "chain",
        "diameter",
        "body",
        "layer",
        "from",
        "to",
        "offset",
        "cogs",
    ];
    let explain = |key: &str| {
        (key == "radius")
            .then_some("\"diameter\", which is twice the radius: as parts are measured")
    };
    let object =
        node.object_explaining(keys, "an object with a shape and its diameter", explain)?;
    let kind = object.exactly_one(&["circle", "capsule", "polygon", "along_shock", "chain"]);
    let layer = match object.get("layer").given() {
        None => Some(None),
        Some(node) => node
            .bounds("the distance from the mid-plane in mm", |node| {
                node.number_within(0.0, FARTHEST, "a distance from the mid-plane in mm")
            })
            .map(Some),
    };
    let kind = kind?;
    let fits = check_keys(node, &object, kind);
    let radius = radius(&object, kind);
    let shape = match kind {
        "circle" => circle(&object, known),
        "capsule" => capsule(&object, known),
        "polygon" => polygon(&object, known),
        "along_shock" => along_shock(&object, known),
        _ => chain(&object, known),
    };
    (good_name && fits).then_some(Part {
        name: name.into(),
        shape: shape?,
        radius: radius?,
        layer: layer?,
    })
}

fn check_name(name: &str, node: &Node, known: &Known, taken: &[Arc<Part>]) -> bool {
    let fault = |expected: &str| {
        let found = format!("the name {}", quoted(name));
        node.sink.fault(&node.path, found, expected);
        false
    };
    let names_a_point = |points: &Vec<&str>| points.contains(&name);
    if !is_name(name) {
        fault("a name of a part, not blank, without line breaks")
    } else if known.points.as_ref().is_some_and(names_a_point) {
        fault("a name that no point has, since a limit may name either")
    } else if taken.iter().any(|part| part.name == name) {
        fault("a name that no part has")
    } else {
        true
    }
}

/// Keys that do not belong to the kind of shape.
fn check_keys(node: &Node, object: &Object, kind: &str) -> bool {
    let own = KINDS.iter().find(|(name, _)| *name == kind);
    let own = own.map_or(&[][..], |(_, keys)| keys);
    let mut good = true;
    for key in object.given(&SPECIAL) {
        if !own.contains(&key) {
            good = false;
            let of = KINDS.iter().filter(|(_, keys)| keys.contains(&key));
            let of = quoted_list(of.map(|(name, _)| *name));
            let found = format!("{} beside {}", quoted(key), quoted(kind));
            let expected = format!("{} only beside {of}", quoted(key));
            node.sink.fault(&node.path, found, expected);
        }
    }
    good
}

/// Half the diameter; what has an edge of its own, and the chain's pitch line, may do without.
fn radius(object: &Object, kind: &str) -> Option<f64> {
    let node = object.get("diameter");
    if matches!(kind, "polygon" | "chain") && node.clone().given().is_none() {
        return Some(0.0);
    }
    if node.clone().given().is_none() && !object.given(&["radius"]).is_empty() {
        // Told already, with what is expected instead.
        return None;
    }
    node.number_within(0.0, FARTHEST, "a diameter in mm")
        .map(|diameter| 0.5 * diameter)
}

fn circle(object: &Object, known: &Known) -> Option<Shape> {
    let body = body(object, known);
    let anchor = anchor(&object.get("circle"), known, body);
    Some(Shape::Circle(anchor?))
}

fn capsule(object: &Object, known: &Known) -> Option<Shape> {
    let body = body(object, known);
    let ends = object
        .get("capsule")
        .list_of("two places, each the name of a point or [x, y] in mm")?;
    let given = ends.clone();
    let [one, other] = ends.map(|end| anchor(&end, known, body));
    let (one, other) = (one?, other?);
    if one == other {
        return given[1].fault("another place than the first");
    }
    Some(Shape::Capsule([one, other]))
}

/// The body that is named, the frame where none is, and whether one is.
fn body(object: &Object, known: &Known) -> (Option<Carrier>, bool) {
    match object.get("body").given() {
        None => (known.frame(), false),
        Some(node) => (known.body(&node), true),
    }
}

fn anchor(node: &Node, known: &Known, (carrier, given): (Option<Carrier>, bool)) -> Option<Anchor> {
    if node.as_text().is_none() {
        let position = node.point("the place (or the name of a point)")?;
        return carrier.map(|carrier| Anchor::Carried { position, carrier });
    }
    let point = known.point(node)?;
    if let Some(carrier) = carrier.filter(|_| given) {
        let bodies = known.bodies.as_ref()?;
        let (name, points) = bodies.get(carrier.body.0)?;
        if !points.contains(&point) {
            return node.fault(format!(
                "a point of the body {}, which is to carry the part",
                quoted(name)
            ));
        }
    }
    Some(Anchor::Point(point))
}

fn polygon(object: &Object, known: &Known) -> Option<Shape> {
    let (carrier, _) = body(object, known);
    let node = object.get("polygon");
    let items = node.list("the corners, each as [x, y] in mm")?;
    if items.len() < 3 || items.len() > MOST_CORNERS {
        return node.fault(format!("three corners or more, at most {MOST_CORNERS}"));
    }
    let corners: Vec<_> = items.iter().map(|item| item.point("the corner")).collect();
    let corners: Vec<_> = corners.into_iter().collect::<Option<_>>()?;
    check_convex(&items, &node, &corners)?;
    Some(Shape::Polygon {
        corners,
        carrier: carrier?,
    })
}

/// Every corner has to lie on one side of every edge.
fn check_convex(items: &[Node], node: &Node, corners: &[Point<f64>]) -> Option<()> {
    let next = |index: usize| corners[(index + 1) % corners.len()];
    for (index, &corner) in corners.iter().enumerate() {
        if (next(index) - corner).length() < LEAST_EDGE {
            return items[(index + 1) % corners.len()]
                .fault("a corner that differs from the one before");
        }
    }
    let first = corners[0];
    let doubled: f64 = (0..corners.len())
        .map(|index| (corners[index] - first).cross(next(index) - first))
        .sum();
    if doubled.abs() < LEAST_AREA {
        return node.fault("corners that enclose an area (for a line, a capsule)");
    }
    let convex = (0..corners.len()).all(|index| {
        let edge = next(index) - corners[index];
        corners.iter().all(|&corner| {
            let beside = edge.cross(corner - corners[index]) * doubled.signum();
            beside >= -SMALLEST * edge.length()
        })
    });
    if convex {
        Some(())
    } else {
        let found = "a polygon that is not convex, or whose edges cross";
        let expected = "a convex one: split it up, and name its pieces together in a limit";
        node.sink.fault(&node.path, found, expected);
        None
    }
}

fn along_shock(object: &Object, known: &Known) -> Option<Shape> {
    let node = object.get("along_shock");
    let eye = if let (Some(ends), Some(points)) = (known.ends, &known.points) {
        let names = ends.map(|end| points.get(end.0).copied().unwrap_or_default());
        let found = node.name_among(names, "the end of the shock that the part moves with");
        found.map(|index| (ends[index], ends[1 - index]))
    } else {
        node.text("the end of the shock that the part moves with");
        None
    };
    let along = |key: &str, usual: Option<f64>| match (object.get(key).given(), usual) {
        (None, Some(usual)) => Some(usual),
        _ => object
            .get(key)
            .number_within(-FARTHEST, FARTHEST, "a distance in mm"),
    };
    let (from, to) = (along("from", Some(0.0)), along("to", None));
    let offset = along("offset", Some(0.0));
    let (from, to) = (from?, to?);
    if to - from < LEAST_EDGE {
        return object
            .get("to")
            .fault(format!("a distance from that eye above {from} mm"));
    }
    let (eye, other) = eye?;
    Some(Shape::AlongShock {
        eye,
        other,
        from,
        to,
        offset: offset?,
    })
}

fn chain(object: &Object, known: &Known) -> Option<Shape> {
    let run = object.get("chain").choice(&[
        ("upper", Some(ChainRun::Upper)),
        ("lower", Some(ChainRun::Lower)),
        ("chainring", None),
    ]);
    if run == Some(None) {
        let cogs = object.get("cogs").given();
        return cogs.map_or(Some(Shape::Chainring), |node| {
            node.fault("no cogs beside the chainring: they belong to a run of the chain")
        });
    }
    let node = object.get("cogs");
    let all = node.clone().given().is_none() || node.as_text() == Some("all");
    let cogs = if all {
        known.cogs.map(<[u32]>::to_vec)
    } else {
        let cogs = distinct_teeth(&node, "\"all\" or the teeth of each cog")?;
        if let Some(cassette) = known.cogs {
            let strange = cogs.iter().position(|cog| !cassette.contains(cog));
            if let Some(index) = strange {
                let items = node.list("cogs")?;
                let teeth: Vec<_> = cassette.iter().map(u32::to_string).collect();
                return items[index].fault(format!("a cog of the cassette: {}", teeth.join(", ")));
            }
        }
        Some(cogs)
    };
    Some(Shape::Chain {
        run: run??,
        cogs: cogs?,
    })
}
