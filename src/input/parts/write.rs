//! Parts as text: one line for each.

use super::{Anchor, ChainRun, Part, Shape};
use crate::input::fault::quoted;
use crate::input::json::number_text;
use crate::input::layout::{BodyId, PointId};
use crate::number::Point;

/// How points and bodies are called.
pub(in crate::input) struct Names<'n> {
    /// The name of a point, quoted.
    pub point: &'n dyn Fn(PointId) -> String,
    /// The name of a body, quoted.
    pub body: &'n dyn Fn(BodyId) -> String,
    /// The cassette.
    pub cassette: &'n [u32],
}

/// Each part's name and its object.
pub(in crate::input) fn parts<'p>(
    parts: impl Iterator<Item = &'p Part>,
    names: &Names,
) -> Vec<(String, String)> {
    let line = |part: &Part| (part.name.clone(), object(part, names));
    parts.map(line).collect()
}

fn object(part: &Part, names: &Names) -> String {
    let mut fields = shape(&part.shape, names);
    let may_lack = matches!(
        part.shape,
        Shape::Polygon { .. } | Shape::Chainring | Shape::Chain { .. }
    );
    if part.radius != 0.0 || !may_lack {
        fields.push(("diameter", number_text(2.0 * part.radius)));
    }
    if let Some((low, high)) = part.layer {
        fields.push((
            "layer",
            format!("[{}, {}]", number_text(low), number_text(high)),
        ));
    }
    let fields: Vec<_> = fields
        .into_iter()
        .map(|(key, value)| format!("{}: {value}", quoted(key)))
        .collect();
    format!("{{{}}}", fields.join(", "))
}

type Fields = Vec<(&'static str, String)>;

fn shape(shape: &Shape, names: &Names) -> Fields {
    match shape {
        Shape::Circle(anchor) => {
            let mut fields = vec![("circle", place(anchor, names))];
            fields.extend(carrier(&[*anchor], names));
            fields
        }
        Shape::Capsule(anchors) => {
            let [one, other] = anchors.each_ref().map(|anchor| place(anchor, names));
            let mut fields = vec![("capsule", format!("[{one}, {other}]"))];
            fields.extend(carrier(anchors, names));
            fields
        }
        Shape::Polygon { corners, carrier } => {
            let corners: Vec<_> = corners.iter().map(|&corner| pair(corner)).collect();
            vec![
                ("polygon", format!("[{}]", corners.join(", "))),
                ("body", (names.body)(carrier.body)),
            ]
        }
        Shape::AlongShock {
            eye,
            from,
            to,
            offset,
            ..
        } => {
            let mut fields = vec![
                ("along_shock", (names.point)(*eye)),
                ("from", number_text(*from)),
                ("to", number_text(*to)),
            ];
            if *offset != 0.0 {
                fields.push(("offset", number_text(*offset)));
            }
            fields
        }
        Shape::Chainring => vec![("chain", quoted("chainring"))],
        Shape::Chain { run, cogs } => {
            let run = match run {
                ChainRun::Upper => "upper",
                ChainRun::Lower => "lower",
            };
            let mut fields = vec![("chain", quoted(run))];
            if cogs != names.cassette {
                let teeth: Vec<_> = cogs.iter().map(u32::to_string).collect();
                fields.push(("cogs", format!("[{}]", teeth.join(", "))));
            }
            fields
        }
    }
}

fn place(anchor: &Anchor, names: &Names) -> String {
    match anchor {
        Anchor::Point(point) => (names.point)(*point),
        Anchor::Carried { position, .. } => pair(*position),
    }
}

/// The body, where a place needs one.
fn carrier(anchors: &[Anchor], names: &Names) -> Option<(&'static str, String)> {
    let body = anchors.iter().find_map(|anchor| match anchor {
        Anchor::Carried { carrier, .. } => Some(carrier.body),
        Anchor::Point(_) => None,
    });
    body.map(|body| ("body", (names.body)(body)))
}

fn pair(point: Point<f64>) -> String {
    format!("[{}, {}]", number_text(point.x), number_text(point.y))
}
