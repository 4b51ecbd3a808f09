//! Clearances: which parts must keep how far from which, or within which.

use super::Part;
use crate::input::fault::{Fault, quoted};
use crate::input::json::{Node, Object};
use crate::input::layout::{Layout, PointId};
use std::sync::Arc;

/// The keys of the two kinds of limit on parts.
pub(in crate::input) const KINDS: [&str; 2] = ["clearance", "inside"];

/// What a limit on parts looks at: at every moment the smallest distance over its pairs.
#[derive(Clone, Debug, PartialEq)]
pub struct Clearance {
    /// How the distance of a pair is meant.
    pub relation: Relation,
    /// The first of them, as named.
    pub first: Vec<Arc<Part>>,
    /// The others, as named.
    pub second: Vec<Arc<Part>>,
}

/// How the distance of a pair of parts is meant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Relation {
    /// The gap between their edges; negative where they overlap, by how far one would have to
    /// move out of the other.
    Apart,
    /// How far the first lies within the edge of the second; negative where it sticks out.
    Inside,
}

impl Clearance {
    /// The pairs that can touch: all of first and second but those that lie beside each other.
    pub fn pairs(&self) -> impl Iterator<Item = (&Arc<Part>, &Arc<Part>)> {
        self.first.iter().flat_map(move |one| {
            let others = self.second.iter();
            others
                .filter(move |other| {
                    self.relation == Relation::Inside || one.shares_a_layer_with(other)
                })
                .map(move |other| (one, other))
        })
    }

    /// Such as "clearance of tyre to post and bottle".
    #[must_use]
    pub fn words(&self) -> String {
        let names = |parts: &[Arc<Part>]| {
            let names: Vec<_> = parts.iter().map(|part| &*part.name).collect();
            names.join(" and ")
        };
        let (first, second) = (names(&self.first), names(&self.second));
        match self.relation {
            Relation::Apart => format!("clearance of {first} to {second}"),
            Relation::Inside => format!("{first} inside {second}"),
        }
    }
}

/// A layout with all its parts, and regions; nothing where they are at fault or not known.
type Shapes<'s> = Option<(&'s Layout, &'s [Arc<Part>])>;

/// Reads the clearance that stands under `kind`, of the parts, points and regions that are `known`.
pub(in crate::input) fn read(object: &Object, kind: &str, known: Shapes) -> Option<Clearance> {
    let node = object.get(kind);
    let what = "two parts, or lists of parts, by name";
    let [first, second] = node.list_of(what)?.map(|side| group(&side, known));
    let relation = if kind == "inside" {
        Relation::Inside
    } else {
        Relation::Apart
    };
    let clearance = Clearance {
        relation,
        first: first?,
        second: second?,
    };
    let twice = clearance
        .first
        .iter()
        .find(|part| clearance.second.contains(part));
    if let Some(part) = twice {
        let found = format!("{} on both sides", quoted(&part.name));
        node.sink.fault(&node.path, found, "different parts");
        return None;
    }
    if clearance.pairs().next().is_none() {
        let found = "parts that lie beside each other (their layers do not overlap)";
        node.sink.fault(&node.path, found, "parts that can touch");
        return None;
    }
    Some(clearance)
}

/// One name, or a list of one or more.
fn group(node: &Node, known: Shapes) -> Option<Vec<Arc<Part>>> {
    if node.as_text().is_some() {
        return part(node, known).map(|part| vec![part]);
    }
    let items = node.list("the name of a part, or a list of names")?;
    if items.is_empty() {
        return node.fault("one part or more");
    }
    let parts: Vec<_> = items.iter().map(|item| part(item, known)).collect();
    let parts: Vec<_> = parts.into_iter().collect::<Option<_>>()?;
    for (index, part) in parts.iter().enumerate() {
        if parts[..index].contains(part) {
            return items[index].fault("each part once");
        }
    }
    Some(parts)
}

fn part(node: &Node, known: Shapes) -> Option<Arc<Part>> {
    let name = node.text("the name of a part or a point")?;
    let (layout, regions) = known?;
    let mut shapes = layout.parts.iter().chain(regions);
    if let Some(part) = shapes.clone().find(|part| part.name == name) {
        return Some(Arc::clone(part));
    }
    let points = &layout.mechanism.points;
    if let Some(index) = points.iter().position(|point| point.name == name) {
        return Some(Arc::new(Part::of_point(name, PointId(index))));
    }
    let expected = if shapes.next().is_none() {
        "a part or a point (neither the layout nor the brief has \"parts\")"
    } else {
        "a part or a point of the layout, or a part or a region of the brief"
    };
    let known = layout.parts.iter().chain(regions).map(|part| &*part.name);
    let known = known.chain(points.iter().map(|point| &*point.name));
    let file = node.sink.file;
    node.sink
        .push(Fault::unknown_name(file, &node.path, name, expected, known));
    None
}
