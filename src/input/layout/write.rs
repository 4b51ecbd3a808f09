//! A layout as text: one line for each field, point and body, every number in full.

use super::{ForkCompression, Layout, PointId, SagOf, Wrap};
use crate::input::fault::{quoted, quoted_list};
use crate::input::json::number_text;
use crate::input::parts;
use crate::number::Point;
use std::fmt::Display;

pub(super) fn layout(layout: &Layout) -> String {
    let bicycle = block("  ", &bicycle_lines(layout));
    let mechanism = block("  ", &mechanism_lines(layout));
    let mut lines = vec![
        field("name", quoted(&layout.name)),
        field("bicycle", bicycle),
        field("mechanism", mechanism),
    ];
    if !layout.parts.is_empty() {
        lines.push(field("parts", block("  ", &part_lines(layout))));
    }
    block("", &lines) + "\n"
}

fn part_lines(layout: &Layout) -> Vec<String> {
    let body = |body: super::BodyId| quoted(&layout.mechanism.bodies[body.0].name);
    let names = parts::WriteNames {
        point: &|point| point_name(layout, point),
        body: &body,
        cassette: &layout.bicycle.cassette_teeth,
    };
    let parts = layout.parts.iter().map(|part| &**part);
    let lines = parts::write(parts, &names).into_iter();
    lines.map(|(name, part)| field(&name, part)).collect()
}

fn bicycle_lines(layout: &Layout) -> Vec<String> {
    let bicycle = &layout.bicycle;
    let teeth: Vec<_> = bicycle.cassette_teeth.iter().map(u32::to_string).collect();
    let compression = match bicycle.fork_compression {
        ForkCompression::Proportional => quoted("proportional"),
        ForkCompression::Fixed(compression) => number_text(compression),
    };
    let of = match bicycle.sag.of {
        SagOf::Travel => "travel",
        SagOf::Stroke => "stroke",
    };
    let fraction = number_text(bicycle.sag.fraction);
    let mut lines = vec![
        field("rear_axle", point_name(layout, bicycle.rear_axle)),
        field("front_axle", pair(bicycle.front_axle)),
        field("rear_wheel_radius", number_text(bicycle.rear_wheel_radius)),
        field(
            "front_wheel_radius",
            number_text(bicycle.front_wheel_radius),
        ),
        field("head_angle", number_text(bicycle.head_angle)),
        field("fork_travel", number_text(bicycle.fork_travel)),
        field("fork_compression", compression),
        field("centre_of_mass", pair(bicycle.centre_of_mass)),
        field("chainring_teeth", bicycle.chainring_teeth),
        field("cassette_teeth", format!("[{}]", teeth.join(", "))),
        field(
            "sag",
            format!("{{\"fraction\": {fraction}, \"of\": {}}}", quoted(of)),
        ),
    ];
    if let Some(idler) = bicycle.idler {
        let wrap = match idler.wrap {
            Wrap::Over => "over",
            Wrap::Under => "under",
        };
        let (point, teeth, wrap) = (point_name(layout, idler.point), idler.teeth, quoted(wrap));
        let text = format!("{{\"point\": {point}, \"teeth\": {teeth}, \"wrap\": {wrap}}}");
        lines.push(field("idler", text));
    }
    lines
}

fn mechanism_lines(layout: &Layout) -> Vec<String> {
    let mechanism = &layout.mechanism;
    let names = |points: &[PointId]| {
        quoted_list(points.iter().map(|point| &*mechanism.points[point.0].name))
    };
    let points: Vec<_> = mechanism
        .points
        .iter()
        .map(|point| field(&point.name, pair(point.position)))
        .collect();
    let bodies: Vec<_> = mechanism
        .bodies
        .iter()
        .map(|body| field(&body.name, format!("[{}]", names(&body.points))))
        .collect();
    let ends = names(&mechanism.shock.ends);
    let stroke = number_text(mechanism.shock.stroke);
    let body_name = |body: super::BodyId| quoted(&mechanism.bodies[body.0].name);
    let mut lines = vec![
        field("points", block("    ", &points)),
        field("bodies", block("    ", &bodies)),
        field(
            "shock",
            format!("{{\"ends\": [{ends}], \"stroke\": {stroke}}}"),
        ),
        field("brake_body", body_name(mechanism.brake_body)),
    ];
    if mechanism.bodies_of(layout.bicycle.rear_axle).count() > 1 {
        lines.push(field("axle_body", body_name(mechanism.axle_body)));
    }
    lines
}

fn field(key: &str, value: impl Display) -> String {
    format!("{}: {value}", quoted(key))
}

fn block(indent: &str, lines: &[String]) -> String {
    let separator = format!(",\n{indent}  ");
    format!("{{\n{indent}  {}\n{indent}}}", lines.join(&separator))
}

fn pair(point: Point<f64>) -> String {
    format!("[{}, {}]", number_text(point.x), number_text(point.y))
}

fn point_name(layout: &Layout, point: PointId) -> String {
    quoted(&layout.mechanism.points[point.0].name)
}
