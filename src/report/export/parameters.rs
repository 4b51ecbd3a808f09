//! A layout as variables of a CAD model: name, value, unit, in full precision.
//!
//! Points are at full extension, from the bottom bracket. Lengths between holes are there too,
//! so that a part can be drawn by itself.

use super::names::plain;
use crate::curves::pitch_radius;
use crate::report::Subject;
use std::fmt::Write;

/// Longest name of a variable.
const LONGEST: usize = 60;

/// Rows under construction.
struct Table {
    text: String,
    taken: Vec<String>,
}

impl Table {
    fn row(&mut self, name: &str, value: f64, unit: &str) {
        let name = plain(name, LONGEST, &mut self.taken);
        let _ = writeln!(self.text, "{name},{value:?},{unit}");
    }
}

/// The table of parameters.
pub(super) fn text(subject: &Subject) -> String {
    let mut table = Table {
        text: "name,value,unit\n".to_owned(),
        taken: Vec::new(),
    };
    let mechanism = &subject.layout.mechanism;
    for point in &mechanism.points {
        table.row(&format!("{}_x", point.name), point.position.x, "mm");
        table.row(&format!("{}_y", point.name), point.position.y, "mm");
    }
    for (index, body) in mechanism.bodies.iter().enumerate() {
        if index == mechanism.frame.index() {
            continue;
        }
        for (number, &one) in body.points.iter().enumerate() {
            for &other in &body.points[number + 1..] {
                let [first, second] =
                    [one, other].map(|point| &mechanism.points[point.index()].name);
                let name = format!("{}_{first}_to_{second}", body.name);
                let length = (mechanism.position(other) - mechanism.position(one)).length();
                table.row(&name, length, "mm");
            }
        }
    }
    table.row("shock_eye_to_eye", mechanism.eye_to_eye(), "mm");
    table.row("shock_stroke", mechanism.shock.stroke, "mm");
    bicycle(&mut table, subject);
    table.text
}

fn bicycle(table: &mut Table, subject: &Subject) {
    let bicycle = &subject.layout.bicycle;
    table.row("total_travel", subject.suspension.total_travel(), "mm");
    table.row("rear_wheel_radius", bicycle.rear_wheel_radius, "mm");
    table.row("front_wheel_radius", bicycle.front_wheel_radius, "mm");
    table.row("front_axle_x", bicycle.front_axle.x, "mm");
    table.row("front_axle_y", bicycle.front_axle.y, "mm");
    table.row("head_angle", bicycle.head_angle, "deg");
    table.row("fork_travel", bicycle.fork_travel, "mm");
    let ring = pitch_radius(bicycle.chainring_teeth);
    table.row("chainring_pitch_radius", ring, "mm");
    if let Some(idler) = bicycle.idler {
        table.row("idler_pitch_radius", pitch_radius(idler.teeth), "mm");
    }
}
