//! How far holes may be off in a frame as built: a file of radii.
//!
//! A radius is that of the disc in which a hole's centre lies: half of a position tolerance in
//! the sense of ISO 1101, whose zone is a circle about the true place.

use super::fault::{Fault, Faults};
use super::json::{self, Node, Sink};
use super::layout::Layout;

/// Nobody builds a frame with larger scatter, mm.
pub const MOST_SCATTER: f64 = 20.0;

/// Where in its disc a hole is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Distribution {
    /// Anywhere, evenly over the disc.
    #[default]
    Uniform,
    /// Normally in both coordinates, the radius being three standard deviations.
    Normal,
}

/// How far everything may be off.
#[derive(Clone, Debug, PartialEq)]
pub struct Scatter {
    /// Radius for every hole without its own, mm.
    pub all: f64,
    /// Radii of all holes of a body, mm.
    pub bodies: Vec<(String, f64)>,
    /// Radii of a point's holes on every body, mm; these win over those of bodies.
    pub points: Vec<(String, f64)>,
    /// Radii of single holes by body and point, mm; these win over all others.
    pub holes: Vec<(String, String, f64)>,
    /// Eye-to-eye length of the shock, mm to both sides.
    pub eye_to_eye: f64,
    /// Stroke of the shock, mm to both sides.
    pub stroke: f64,
    /// Ranges of the centre of mass, `x` and `y`, mm.
    pub centre_of_mass: Option<[(f64, f64); 2]>,
    /// Where in its disc a hole is.
    pub distribution: Distribution,
}

impl Scatter {
    /// What the shock's length and stroke are usually off by, mm (common practice, no source).
    pub const SHOCK: f64 = 0.5;

    /// The same radius in mm for every hole.
    #[must_use]
    pub const fn even(radius: f64) -> Self {
        Self {
            all: radius,
            bodies: Vec::new(),
            points: Vec::new(),
            holes: Vec::new(),
            eye_to_eye: Self::SHOCK,
            stroke: Self::SHOCK,
            centre_of_mass: None,
            distribution: Distribution::Uniform,
        }
    }

    /// Reads a file of radii for `layout`; `file` is its name in messages.
    ///
    /// # Errors
    ///
    /// Every fault of syntax or, where there is none, of keys, values and names.
    pub fn from_json(file: &str, text: &str, layout: &Layout) -> Result<Self, Faults> {
        let value = json::parse(file, text)?;
        let sink = Sink::new(file);
        let scatter = read(&Node::root(&sink, &value), layout);
        sink.finish(scatter)
    }

    /// The radius of a hole, mm.
    #[must_use]
    pub fn radius(&self, body: &str, point: &str) -> f64 {
        let find = |list: &[(String, f64)], name: &str| {
            let entry = list.iter().find(|(other, _)| other == name);
            entry.map(|&(_, radius)| radius)
        };
        let mut holes = self.holes.iter();
        let hole = holes.find(|(on, name, _)| on == body && name == point);
        hole.map(|&(.., radius)| radius)
            .or_else(|| find(&self.points, point))
            .or_else(|| find(&self.bodies, body))
            .unwrap_or(self.all)
    }
}

fn read(root: &Node, layout: &Layout) -> Option<Scatter> {
    let known = &[
        "all",
        "bodies",
        "points",
        "holes",
        "eye_to_eye",
        "stroke",
        "centre_of_mass",
        "distribution",
    ];
    let object = root.object(
        known,
        "an object with radii: all, and bodies, points or holes by name",
    )?;
    let length = |key: &str, usual: Option<f64>| match (object.get(key).given(), usual) {
        (None, Some(usual)) => Some(usual),
        (None, None) => object.get(key).fault("a radius in mm for every other hole"),
        (Some(node), _) => radius(&node),
    };
    let all = length("all", None);
    let bodies = layout.mechanism.bodies.iter().map(|body| &*body.name);
    let bodies = radii(
        &object.get("bodies"),
        &bodies.collect::<Vec<_>>(),
        "a body of the layout",
    );
    let points = layout.mechanism.points.iter().map(|point| &*point.name);
    let points = radii(
        &object.get("points"),
        &points.collect::<Vec<_>>(),
        "a point of the layout",
    );
    let holes = holes(&object.get("holes"), layout);
    let eye_to_eye = length("eye_to_eye", Some(Scatter::SHOCK));
    let stroke = length("stroke", Some(Scatter::SHOCK));
    let centre_of_mass = match object.get("centre_of_mass").given() {
        None => Some(None),
        Some(node) => mass(&node).map(Some),
    };
    let distribution = match object.get("distribution").given() {
        None => Some(Distribution::Uniform),
        Some(node) => match node.name_among(["uniform", "normal"], "a distribution") {
            Some(0) => Some(Distribution::Uniform),
            Some(_) => Some(Distribution::Normal),
            None => None,
        },
    };
    Some(Scatter {
        all: all?,
        bodies: bodies?,
        points: points?,
        holes: holes?,
        eye_to_eye: eye_to_eye?,
        stroke: stroke?,
        centre_of_mass: centre_of_mass?,
        distribution: distribution?,
    })
}

fn radius(node: &Node) -> Option<f64> {
    node.number_within(0.0, MOST_SCATTER, "a radius in mm")
}

fn radii(node: &Node, known: &[&str], what: &str) -> Option<Vec<(String, f64)>> {
    let Some(node) = node.clone().given() else {
        return Some(Vec::new());
    };
    let entries = node.entries("an object with names and their radii")?;
    let read: Vec<Option<(String, f64)>> = entries
        .iter()
        .map(|(key, entry)| {
            let value = radius(entry);
            if !known.contains(key) {
                let fault = Fault::unknown_name(
                    entry.sink.file,
                    &entry.path,
                    key,
                    what,
                    known.iter().copied(),
                );
                entry.sink.push(fault);
                return None;
            }
            value.map(|value| ((*key).to_owned(), value))
        })
        .collect();
    read.into_iter().collect()
}

/// Radii of single holes: of each body those of its points.
fn holes(node: &Node, layout: &Layout) -> Option<Vec<(String, String, f64)>> {
    let Some(node) = node.clone().given() else {
        return Some(Vec::new());
    };
    let mechanism = &layout.mechanism;
    let what = "an object with bodies, and of each its points and their radii";
    let mut holes = Some(Vec::new());
    for (name, entry) in node.entries(what)? {
        let bodies = mechanism.bodies.iter();
        let Some(body) = bodies.clone().find(|body| body.name == name) else {
            let known = bodies.map(|body| &*body.name);
            let (file, path) = (entry.sink.file, &entry.path);
            let fault = Fault::unknown_name(file, path, name, "a body of the layout", known);
            entry.sink.push(fault);
            holes = None;
            continue;
        };
        let points = body.points.iter();
        let points: Vec<&str> = points
            .filter_map(|point| mechanism.points.get(point.index()))
            .map(|point| &*point.name)
            .collect();
        let of_body = radii(&entry, &points, &format!("a point of body {name}"));
        match (&mut holes, of_body) {
            (Some(holes), Some(read)) => {
                let read = read.into_iter();
                holes.extend(read.map(|(point, radius)| (name.to_owned(), point, radius)));
            }
            _ => holes = None,
        }
    }
    holes
}

/// Ranges of the centre of mass.
fn mass(node: &Node) -> Option<[(f64, f64); 2]> {
    let object = node.object(&["x", "y"], "an object with the ranges x and y")?;
    let range = |key: &str| {
        object.get(key).bounds("a range in mm", |edge| {
            edge.number_within(-json::FARTHEST, json::FARTHEST, "a coordinate in mm")
        })
    };
    let (x, y) = (range("x"), range("y"));
    Some([x?, y?])
}

#[cfg(test)]
mod tests {
    use super::*;

    fn layout() -> Layout {
        let text = include_str!("../../demo-data/trail-crew-m.layout.json");
        Layout::from_json("m", text).unwrap()
    }

    #[test]
    fn a_point_wins_over_its_body_and_a_body_over_all() {
        let text = r#"{"all": 0.15, "bodies": {"rocker": 0.05}, "points": {"axle": 0.3}}"#;
        let scatter = Scatter::from_json("s", text, &layout()).unwrap();
        assert_eq!(scatter.radius("frame", "main_pivot"), 0.15);
        assert_eq!(scatter.radius("rocker", "rocker_pivot"), 0.05);
        assert_eq!(scatter.radius("seat_stay", "axle"), 0.3);
        assert_eq!(scatter.eye_to_eye, 0.5);
    }

    #[test]
    fn a_hole_wins_over_its_point_and_its_body() {
        let text = r#"{"all": 0.15, "bodies": {"rocker": 0.05}, "points": {"rocker_pivot": 0.3},
            "holes": {"rocker": {"rocker_pivot": 0.02}}}"#;
        let scatter = Scatter::from_json("s", text, &layout()).unwrap();
        assert_eq!(scatter.radius("rocker", "rocker_pivot"), 0.02);
        assert_eq!(scatter.radius("frame", "rocker_pivot"), 0.3);
        assert_eq!(scatter.radius("rocker", "rocker_stay"), 0.05);
    }

    #[test]
    fn slips_in_holes_are_told_with_what_was_meant() {
        let text = r#"{"all": 0.1, "holes": {"rockr": {"rocker_pivot": 0.1},
            "rocker": {"rocker_pivt": 0.1, "axle": 0.1}}}"#;
        let faults = Scatter::from_json("s", text, &layout()).unwrap_err();
        let told = faults.to_string();
        assert_eq!(faults.0.len(), 3, "{told}");
        assert!(told.contains("did you mean \"rocker\"?"), "{told}");
        assert!(told.contains("did you mean \"rocker_pivot\"?"), "{told}");
        assert!(told.contains("a point of body rocker"), "{told}");
    }

    #[test]
    fn slips_are_told_with_what_was_meant() {
        let text = r#"{"all": -1, "bodies": {"roker": 0.1}, "points": {"axle": "x"},
            "distribution": "normol", "centre_of_mass": {"x": [3, 1], "y": [1, 2]}}"#;
        let faults = Scatter::from_json("s", text, &layout()).unwrap_err();
        let told = faults.to_string();
        assert_eq!(faults.0.len(), 5, "{told}");
        assert!(told.contains("did you mean \"rocker\"?"), "{told}");
        assert!(told.contains("did you mean \"normal\"?"), "{told}");
    }
}
