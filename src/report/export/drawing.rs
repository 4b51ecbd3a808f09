//! A layout as a DXF drawing (release 12, text, millimetres) that any CAD program opens.
//!
//! A layer for each body, and one each for shock, wheels, ground and names. Every body has a
//! point at each of its holes and lines between them, at top (continuous), sag (dashed) and
//! end (dotted); what is fixed to the frame is drawn once. The origin is the bottom bracket.
//!
//! The format is told in Autodesk's DXF reference for release 12: pairs of lines, a group code
//! and its value.

use super::names::plain;
use crate::input::{BodyId, Place};
use crate::number::{Point, Vector};
use crate::report::Subject;
use std::fmt::Write;

/// Longest name of a layer in release 12.
const LONGEST: usize = 31;
/// Height of names, mm.
const LETTERS: f64 = 6.0;
/// How far the ground is drawn beyond each contact point, mm.
const BEYOND: f64 = 200.0;

/// The positions drawn, with the type of their lines.
const POSES: [(Place, &str); 3] = [
    (Place::Top, "CONTINUOUS"),
    (Place::Sag, "DASHED"),
    (Place::End, "DOT"),
];

/// Line types: name, description, lengths of dash (positive), gap (negative) and dot (zero), mm.
const LINE_TYPES: [(&str, &str, &[f64]); 3] = [
    ("CONTINUOUS", "top", &[]),
    ("DASHED", "sag", &[6.0, -3.0]),
    ("DOT", "end", &[0.0, -3.0]),
];

/// A drawing under construction.
#[derive(Default)]
struct Drawing {
    text: String,
}

impl Drawing {
    fn pair(&mut self, code: u16, value: &str) {
        let _ = writeln!(self.text, "{code}\n{value}");
    }

    /// A number: a billionth of a millimetre is far below what a CAD program keeps.
    fn number(&mut self, code: u16, value: f64) {
        self.pair(code, &format!("{value:.9}"));
    }

    fn begin(&mut self, entity: &str, layer: &str, line: &str) {
        self.pair(0, entity);
        self.pair(8, layer);
        self.pair(6, line);
    }

    fn place(&mut self, offset: u16, place: Point<f64>) {
        self.number(10 + offset, place.x);
        self.number(20 + offset, place.y);
        self.number(30 + offset, 0.0);
    }

    fn line(&mut self, layer: &str, line: &str, ends: [Point<f64>; 2]) {
        self.begin("LINE", layer, line);
        self.place(0, ends[0]);
        self.place(1, ends[1]);
    }

    fn point(&mut self, layer: &str, line: &str, place: Point<f64>) {
        self.begin("POINT", layer, line);
        self.place(0, place);
    }

    fn circle(&mut self, layer: &str, line: &str, centre: Point<f64>, radius: f64) {
        self.begin("CIRCLE", layer, line);
        self.place(0, centre);
        self.number(40, radius);
    }

    fn words(&mut self, layer: &str, place: Point<f64>, words: &str) {
        self.begin("TEXT", layer, "CONTINUOUS");
        self.place(0, place);
        self.number(40, LETTERS);
        // Release 12 knows no Unicode, and a line break would end the value.
        let ascii = |letter: char| {
            if letter.is_ascii_graphic() || letter == ' ' {
                letter
            } else {
                '?'
            }
        };
        let words: String = words.chars().map(ascii).collect();
        self.pair(1, &words);
    }

    fn section(&mut self, name: &str, fill: impl FnOnce(&mut Self)) {
        self.pair(0, "SECTION");
        self.pair(2, name);
        fill(self);
        self.pair(0, "ENDSEC");
    }

    fn table(&mut self, name: &str, entries: usize, fill: impl FnOnce(&mut Self)) {
        self.pair(0, "TABLE");
        self.pair(2, name);
        self.pair(70, &entries.to_string());
        fill(self);
        self.pair(0, "ENDTAB");
    }
}

/// The layers of a drawing.
struct Layers {
    bodies: Vec<String>,
    shock: String,
    wheels: String,
    ground: String,
    names: String,
}

impl Layers {
    fn of(subject: &Subject) -> Self {
        // Layer 0 is in every drawing.
        let mut taken = vec!["0".to_owned()];
        let mut name = |text: &str| plain(&text.to_uppercase(), LONGEST, &mut taken);
        let bodies = &subject.layout.mechanism.bodies;
        Self {
            bodies: bodies.iter().map(|body| name(&body.name)).collect(),
            shock: name("SHOCK"),
            wheels: name("WHEELS"),
            ground: name("GROUND"),
            names: name("NAMES"),
        }
    }

    fn all(&self) -> impl Iterator<Item = &str> {
        let own = [&self.shock, &self.wheels, &self.ground, &self.names];
        self.bodies.iter().chain(own).map(String::as_str)
    }
}

/// The text of the drawing.
pub(super) fn text(subject: &Subject) -> String {
    let layers = Layers::of(subject);
    let mut drawing = Drawing::default();
    drawing.pair(
        999,
        "units: millimetres; origin: bottom bracket; x forward, y up",
    );
    drawing.section("HEADER", |drawing| {
        drawing.pair(9, "$ACADVER");
        drawing.pair(1, "AC1009");
    });
    drawing.section("TABLES", |drawing| tables(drawing, &layers));
    drawing.section("ENTITIES", |drawing| {
        for (place, line) in POSES {
            pose(drawing, subject, &layers, place, line);
        }
        labels(drawing, subject, &layers);
    });
    drawing.pair(0, "EOF");
    drawing.text
}

fn tables(drawing: &mut Drawing, layers: &Layers) {
    drawing.table("LTYPE", LINE_TYPES.len(), |drawing| {
        for (name, description, dashes) in LINE_TYPES {
            drawing.pair(0, "LTYPE");
            drawing.pair(2, name);
            drawing.pair(70, "0");
            drawing.pair(3, description);
            drawing.pair(72, "65");
            drawing.pair(73, &dashes.len().to_string());
            drawing.number(40, dashes.iter().map(|dash| dash.abs()).sum());
            for &dash in dashes {
                drawing.number(49, dash);
            }
        }
    });
    let names: Vec<&str> = std::iter::once("0").chain(layers.all()).collect();
    drawing.table("LAYER", names.len(), |drawing| {
        for (index, name) in names.into_iter().enumerate() {
            drawing.pair(0, "LAYER");
            drawing.pair(2, name);
            drawing.pair(70, "0");
            // Colours 1 to 7 are the ones that every program tells apart; 7 is the paper's
            // opposite.
            let colour = if index == 0 { 7 } else { (index - 1) % 7 + 1 };
            drawing.pair(62, &colour.to_string());
            drawing.pair(6, "CONTINUOUS");
        }
    });
}

fn pose(drawing: &mut Drawing, subject: &Subject, layers: &Layers, place: Place, line: &str) {
    let layout = subject.layout;
    let mechanism = &layout.mechanism;
    let parameter = subject.suspension.parameter_at(place);
    let points = subject.suspension.pose(parameter).points;
    let state = subject.suspension.state(parameter);
    for (index, (body, layer)) in mechanism.bodies.iter().zip(&layers.bodies).enumerate() {
        let on_frame = BodyId(index) == mechanism.frame;
        if on_frame && place != Place::Top {
            continue;
        }
        let own: Vec<Point<f64>> = body.points.iter().map(|p| points[p.index()]).collect();
        for &hole in &own {
            drawing.point(layer, line, hole);
        }
        // Between holes on the frame there is no part of the linkage.
        if on_frame {
            continue;
        }
        for (number, &one) in own.iter().enumerate() {
            for &other in &own[number + 1..] {
                drawing.line(layer, line, [one, other]);
            }
        }
    }
    let eyes = mechanism.shock.ends.map(|end| points[end.index()]);
    drawing.line(&layers.shock, line, eyes);
    let bicycle = &layout.bicycle;
    let (sine, cosine) = libm::sincos(bicycle.head_angle.to_radians());
    let front = bicycle.front_axle + Vector::new(-cosine, sine) * state.fork_compression;
    let (rear_radius, front_radius) = (bicycle.rear_wheel_radius, bicycle.front_wheel_radius);
    drawing.circle(&layers.wheels, line, state.axle, rear_radius);
    drawing.circle(&layers.wheels, line, front, front_radius);
    let (up, forward) = (state.ground.up, state.ground.forward);
    let rear_end = state.axle - up * rear_radius - forward * BEYOND;
    let front_end = front - up * front_radius + forward * BEYOND;
    drawing.line(&layers.ground, line, [rear_end, front_end]);
}

fn labels(drawing: &mut Drawing, subject: &Subject, layers: &Layers) {
    for point in &subject.layout.mechanism.points {
        let beside = point.position + Vector::new(LETTERS, LETTERS);
        drawing.words(&layers.names, beside, &point.name);
    }
    let bracket = Point::new(0.0, 0.0);
    drawing.point(&layers.names, "CONTINUOUS", bracket);
    drawing.words(&layers.names, bracket + Vector::new(LETTERS, LETTERS), "BB");
}
