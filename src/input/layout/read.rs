//! A layout from its tree: each value by itself, into a draft with holes where one is at fault.

use super::{
    Bicycle, Body, BodyId, ForkCompression, Idler, Layout, Mechanism, NamedPoint, PointId, Sag,
    SagOf, Shock, Wrap, check,
};
use crate::input::fault::{nearest, quoted, quoted_list};
use crate::input::json::{FARTHEST, Node, is_name};
use crate::input::parts::{self, Part};
use crate::input::reading::{distinct_teeth, percent, teeth};
use crate::number::Point;
use std::sync::Arc;

pub(super) const SLIDERS: &str =
    "pivots only: sliders (telescoping or prismatic joints) are not covered";

/// What could be read of a bicycle.
#[derive(Default)]
pub(super) struct BicycleDraft {
    pub(super) rear_axle: Option<PointId>,
    pub(super) front_axle: Option<Point<f64>>,
    pub(super) rear_wheel_radius: Option<f64>,
    pub(super) front_wheel_radius: Option<f64>,
    head_angle: Option<f64>,
    pub(super) fork_travel: Option<f64>,
    pub(super) fork_compression: Option<ForkCompression>,
    pub(super) centre_of_mass: Option<Point<f64>>,
    pub(super) chainring_teeth: Option<u32>,
    pub(super) cassette_teeth: Option<Vec<u32>>,
    sag: Option<Sag>,
    pub(super) idler: Option<Idler>,
    /// Whether there is an idler that could not be read.
    pub(super) idler_at_fault: bool,
}

/// What could be read of a mechanism.
#[derive(Default)]
pub(super) struct MechanismDraft {
    /// Every name, with its place where that could be read.
    pub(super) points: Option<Vec<(String, Option<Point<f64>>)>>,
    pub(super) bodies: Option<Vec<Body>>,
    /// Whether a body lists something that cannot be meant, so that a point may seem unused.
    pub(super) some_body_incomplete: bool,
    pub(super) ends: Option<[PointId; 2]>,
    pub(super) stroke: Option<f64>,
    pub(super) brake_body: Option<BodyId>,
    /// As written, if it is.
    pub(super) axle_body: Option<BodyId>,
}

impl MechanismDraft {
    pub(super) fn position(&self, point: PointId) -> Option<Point<f64>> {
        self.points.as_ref()?.get(point.0)?.1
    }

    pub(super) fn frame(&self) -> Option<BodyId> {
        self.bodies
            .as_ref()?
            .iter()
            .position(|body| body.name == "frame")
            .map(BodyId)
    }

    pub(super) fn bodies_of(&self, point: PointId) -> Vec<BodyId> {
        let bodies = self.bodies.iter().flatten().enumerate();
        bodies
            .filter(|(_, body)| body.points.contains(&point))
            .map(|(i, _)| BodyId(i))
            .collect()
    }

    /// What parts may name.
    fn known<'d>(&'d self, bicycle: &'d BicycleDraft) -> parts::Known<'d> {
        let points = self.points.iter().flatten();
        let bodies = self.bodies.iter().flatten();
        parts::Known {
            points: self
                .points
                .is_some()
                .then(|| points.map(|(name, _)| &**name).collect()),
            bodies: self
                .bodies
                .is_some()
                .then(|| bodies.map(|body| (&*body.name, &*body.points)).collect()),
            ends: self.ends,
            cogs: bicycle.cassette_teeth.as_deref(),
        }
    }

    /// The point whose name stands at `node`; silent where the points themselves are missing.
    fn point(&self, node: &Node) -> Option<PointId> {
        let Some(points) = &self.points else {
            return None;
        };
        let names = points.iter().map(|(name, _)| &**name);
        node.name_among(names, "a point of mechanism.points")
            .map(PointId)
    }

    fn body(&self, node: &Node) -> Option<BodyId> {
        let Some(bodies) = &self.bodies else {
            return None;
        };
        let names = bodies.iter().map(|body| &*body.name);
        node.name_among(names, "a body of mechanism.bodies")
            .map(BodyId)
    }
}

pub(super) fn layout(root: &Node) -> Option<Layout> {
    let object = root.object_explaining(
        &["name", "bicycle", "mechanism", "parts"],
        "a layout: an object with name, bicycle and mechanism",
        explain,
    )?;
    let name = object.get("name").text("the layout's name");
    let mechanism = mechanism_draft(&object.get("mechanism")).unwrap_or_default();
    let bicycle = bicycle_draft(&object.get("bicycle"), &mechanism).unwrap_or_default();
    let axle_body = check::all(root.sink, &bicycle, &mechanism);
    let parts = match object.get("parts").given() {
        None => Some(Vec::new()),
        Some(node) => parts::read(&node, &mechanism.known(&bicycle), &[]),
    };
    finish(name?, bicycle, mechanism, axle_body?, parts?)
}

fn finish(
    name: &str,
    bicycle: BicycleDraft,
    mechanism: MechanismDraft,
    axle_body: BodyId,
    parts: Vec<Part>,
) -> Option<Layout> {
    let frame = mechanism.frame()?;
    let points = mechanism.points?.into_iter();
    let points = points.map(|(name, position)| {
        Some(NamedPoint {
            name,
            position: position?,
        })
    });
    Some(Layout {
        name: name.into(),
        bicycle: Bicycle {
            rear_axle: bicycle.rear_axle?,
            front_axle: bicycle.front_axle?,
            rear_wheel_radius: bicycle.rear_wheel_radius?,
            front_wheel_radius: bicycle.front_wheel_radius?,
            head_angle: bicycle.head_angle?,
            fork_travel: bicycle.fork_travel?,
            fork_compression: bicycle.fork_compression?,
            centre_of_mass: bicycle.centre_of_mass?,
            chainring_teeth: bicycle.chainring_teeth?,
            cassette_teeth: bicycle.cassette_teeth?,
            sag: bicycle.sag?,
            idler: bicycle.idler,
        },
        mechanism: Mechanism {
            points: points.collect::<Option<_>>()?,
            bodies: mechanism.bodies?,
            frame,
            shock: Shock {
                ends: mechanism.ends?,
                stroke: mechanism.stroke?,
            },
            brake_body: mechanism.brake_body?,
            axle_body,
        },
        parts: parts.into_iter().map(Arc::new).collect(),
    })
}

/// Words of a joint that slides, in a key or a name.
fn means_slider(text: &str) -> bool {
    let text = text.to_lowercase();
    ["slider", "sliding", "telescop", "prismatic"]
        .iter()
        .any(|word| text.contains(word))
}

fn explain(key: &str) -> Option<&'static str> {
    means_slider(key).then_some(SLIDERS)
}

fn mechanism_draft(node: &Node) -> Option<MechanismDraft> {
    let object = node.object_explaining(
        &["points", "bodies", "shock", "brake_body", "axle_body"],
        "an object with points, bodies, shock and brake_body",
        explain,
    )?;
    let mut draft = MechanismDraft {
        points: points(&object.get("points")),
        ..MechanismDraft::default()
    };
    bodies(&object.get("bodies"), &mut draft);
    shock(&object.get("shock"), &mut draft);
    draft.brake_body = draft.body(&object.get("brake_body"));
    draft.axle_body = object
        .get("axle_body")
        .given()
        .and_then(|body| draft.body(&body));
    Some(draft)
}

/// Whether `key` can name a point or body; a fault where not.
fn check_name(node: &Node, key: &str, what: &str) {
    let found = format!("the name {}", quoted(key));
    if means_slider(key) {
        node.sink.fault(&node.path, found, SLIDERS);
    } else if !is_name(key) {
        let expected = format!("a name of a {what}, not blank, without line breaks");
        node.sink.fault(&node.path, found, expected);
    }
}

fn points(node: &Node) -> Option<Vec<(String, Option<Point<f64>>)>> {
    let entries = node.entries("an object with each point's name and [x, y] in mm")?;
    let read = |(key, place): (&str, Node)| {
        check_name(&place, key, "point");
        (key.to_owned(), place.point("the point"))
    };
    Some(entries.into_iter().map(read).collect())
}

fn bodies(node: &Node, draft: &mut MechanismDraft) {
    let what = "an object with each body's name and the list of its points";
    let Some(entries) = node.entries(what) else {
        return;
    };
    let mut bodies = Vec::with_capacity(entries.len());
    for (key, list) in entries {
        check_name(&list, key, "body");
        let points = body_points(&list, draft);
        bodies.push(Body {
            name: key.into(),
            points,
        });
    }
    if !bodies.iter().any(|body| body.name == "frame") {
        let names = bodies.iter().map(|body| &*body.name);
        let found = format!("the bodies {}", quoted_list(names));
        node.sink
            .fault(&node.path, found, "one of them named \"frame\"");
    }
    draft.bodies = Some(bodies);
}

fn body_points(node: &Node, draft: &mut MechanismDraft) -> Vec<PointId> {
    if node
        .value()
        .is_some_and(|value| value.mentions(means_slider))
    {
        draft.some_body_incomplete = true;
        node.fault::<()>(SLIDERS);
        return Vec::new();
    }
    let Some(items) = node.list("the list of the body's points") else {
        draft.some_body_incomplete = true;
        return Vec::new();
    };
    if items.len() < 2 {
        node.fault::<()>("two points or more on a body");
    }
    let mut points = Vec::new();
    for item in items {
        match draft.point(&item) {
            Some(point) if points.contains(&point) => {
                draft.some_body_incomplete = true;
                item.fault::<()>("each point of the body once");
            }
            Some(point) => points.push(point),
            None => draft.some_body_incomplete = true,
        }
    }
    points
}

fn shock(node: &Node, draft: &mut MechanismDraft) {
    let known = &["ends", "stroke"];
    let Some(object) = node.object_explaining(known, "an object with ends and stroke", explain)
    else {
        return;
    };
    let ends = object
        .get("ends")
        .list_of::<2>("the two points at the shock's eyes");
    let ends = ends.map(|ends| ends.map(|end| draft.point(&end)));
    if let Some([Some(one), Some(other)]) = ends {
        draft.ends = Some([one, other]);
    }
    draft.stroke = object
        .get("stroke")
        .number("a stroke in mm, above 0 and at most 10000", |s| {
            0.0 < s && s <= FARTHEST
        });
}

fn bicycle_draft(node: &Node, mechanism: &MechanismDraft) -> Option<BicycleDraft> {
    let known = &[
        "rear_axle",
        "front_axle",
        "rear_wheel_radius",
        "front_wheel_radius",
        "head_angle",
        "fork_travel",
        "fork_compression",
        "centre_of_mass",
        "chainring_teeth",
        "cassette_teeth",
        "sag",
        "idler",
    ];
    let object = node.object(known, "an object with rear_axle, front_axle and so on")?;
    let radius = |key| {
        object
            .get(key)
            .number_within(100.0, 500.0, "a wheel radius in mm")
    };
    let given_idler = object.get("idler").given();
    let idler = given_idler.as_ref().and_then(|node| idler(node, mechanism));
    Some(BicycleDraft {
        rear_axle: mechanism.point(&object.get("rear_axle")),
        front_axle: object.get("front_axle").point("the front axle"),
        rear_wheel_radius: radius("rear_wheel_radius"),
        front_wheel_radius: radius("front_wheel_radius"),
        head_angle: object
            .get("head_angle")
            .number_within(45.0, 90.0, "a head angle in degrees"),
        fork_travel: object
            .get("fork_travel")
            .number_within(0.0, 500.0, "a fork travel in mm"),
        fork_compression: fork_compression(&object.get("fork_compression")),
        centre_of_mass: object.get("centre_of_mass").point("the centre of mass"),
        chainring_teeth: teeth(&object.get("chainring_teeth"), "teeth of the chainring"),
        cassette_teeth: distinct_teeth(&object.get("cassette_teeth"), "the teeth of each cog"),
        sag: sag(object.get("sag")),
        idler_at_fault: given_idler.is_some() && idler.is_none(),
        idler,
    })
}

fn fork_compression(node: &Node) -> Option<ForkCompression> {
    let Some(node) = node.clone().given() else {
        return Some(ForkCompression::Proportional);
    };
    if node.as_text() == Some("proportional") {
        return Some(ForkCompression::Proportional);
    }
    let expected = "\"proportional\" or a fixed compression in mm, 0 or more";
    if let Some(text) = node.as_text() {
        let near = nearest(text, ["proportional"]).map(quoted);
        return node.fault_suggesting(expected, near);
    }
    node.number(expected, |compression| compression >= 0.0)
        .map(ForkCompression::Fixed)
}

fn sag(node: Node) -> Option<Sag> {
    let Some(node) = node.given() else {
        return Some(Sag {
            fraction: 0.3,
            of: SagOf::Travel,
        });
    };
    let object = node.object(&["fraction", "of"], "an object with fraction and of")?;
    let fraction = fraction(&object.get("fraction"));
    let of = object
        .get("of")
        .choice(&[("travel", SagOf::Travel), ("stroke", SagOf::Stroke)]);
    Some(Sag {
        fraction: fraction?,
        of: of?,
    })
}

fn fraction(node: &Node) -> Option<f64> {
    let what = "a fraction between 0 and 1, such as 0.30 for 30 %";
    match node.as_number() {
        Some(number) if 0.0 < number && number < 1.0 => Some(number),
        number => node.fault_suggesting(what, number.and_then(percent)),
    }
}

fn idler(node: &Node, mechanism: &MechanismDraft) -> Option<Idler> {
    let object = node.object(
        &["point", "teeth", "wrap"],
        "an object with point, teeth and wrap",
    )?;
    let point = mechanism.point(&object.get("point"));
    let teeth = teeth(&object.get("teeth"), "teeth of the idler");
    let wrap = object
        .get("wrap")
        .choice(&[("over", Wrap::Over), ("under", Wrap::Under)]);
    Some(Idler {
        point: point?,
        teeth: teeth?,
        wrap: wrap?,
    })
}
