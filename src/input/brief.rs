//! The question put to the search: what may move, what must hold, how long to look.
//!
//! A brief names other files, so it is read in two steps: [`BriefFile::from_json`] tells
//! which, and [`BriefFile::resolve`] takes what was read from them.

mod free;
mod limits;
mod rings;
mod shocks;
#[cfg(test)]
pub(super) mod tests;

pub use free::{Axis, FreePlace, FreePoint};
pub use limits::{AxisName, Bound, Limit, LimitQuantity};

use super::fault::{Faults, quoted};
use super::json::{self, Node, Object, Sink, Value};
use super::layout::{Layout, PointId};
use super::objectives::ObjectiveSet;
use super::parts::{self, Part};
use crate::number::Point;
use std::sync::Arc;

/// Lengths of the shock agree when they differ by no more, mm.
const SAME_LENGTH: f64 = 1e-9;

/// A brief that has been read, but not the files that it names.
#[derive(Clone, Debug)]
pub struct BriefFile {
    /// Path of the layout, as written: relative to the brief.
    pub layout: String,
    /// Paths of the objective sets, as written: relative to the brief.
    pub objectives: Vec<String>,
    file: String,
    value: Value,
}

/// The question put to the search.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct Brief {
    /// What a person calls it.
    pub name: String,
    /// The layout from which everything starts, with the brief's own parts after its own.
    pub layout: Layout,
    /// The objective sets, each with the name of its file.
    pub objectives: Vec<(String, ObjectiveSet)>,
    /// What may move, in the order of the file.
    pub free: Vec<FreePoint>,
    /// Shocks to try; empty where the layout's own is meant.
    pub shock_sizes: Vec<ShockSize>,
    /// Chainrings to try, by their teeth; empty where the layout's own is meant.
    pub chainring_teeth: Vec<u32>,
    /// What must hold.
    pub limits: Vec<Limit>,
    /// How long to look and what to keep.
    pub search: SearchOptions,
}

/// A shock to try.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ShockSize {
    /// Length at full extension, mm.
    pub eye_to_eye: f64,
    /// Stroke, mm, shorter than the length.
    pub stroke: f64,
}

/// What a start takes besides points: a shock and a chainring.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Variant {
    /// The shock.
    pub size: ShockSize,
    /// Teeth of the chainring.
    pub chainring_teeth: u32,
}

/// Which layouts have a place in the ranking.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum RankBy {
    /// The best of all.
    #[default]
    Overall,
    /// The best of each size of shock with each chainring: places are shared evenly among those
    /// that have a feasible layout.
    PerSize,
}

/// How long to look and what to keep.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SearchOptions {
    /// Number of starts.
    pub starts: u64,
    /// Number of layouts to keep.
    pub keep: usize,
    /// Layouts are distinct when a point differs by more than this, mm.
    pub distinct: f64,
    /// Seed of everything that is drawn at random.
    pub seed: u64,
    /// Which layouts have a place in the ranking.
    pub rank: RankBy,
}

impl Default for SearchOptions {
    fn default() -> Self {
        Self {
            starts: 2000,
            keep: 20,
            distinct: 5.0,
            seed: 1,
            rank: RankBy::Overall,
        }
    }
}

impl BriefFile {
    /// Reads a brief; `file` is its name in messages.
    ///
    /// # Errors
    ///
    /// Every fault of syntax or, where there is none, every fault of keys and values that
    /// shows without the layout.
    pub fn from_json(file: &str, text: &str) -> Result<Self, Faults> {
        let value = json::parse(file, text)?;
        let sink = Sink::new(file);
        let files = read_file_names(&Node::root(&sink, &value));
        // Without a layout no name can be looked up, but everything else is checked.
        read(&Node::root(&sink, &value), None);
        let (layout, objectives) = sink.finish(files)?;
        Ok(Self {
            layout,
            objectives,
            file: file.into(),
            value,
        })
    }

    /// The brief with what was read from the files that it names, each objective set with the
    /// name of its file.
    ///
    /// # Errors
    ///
    /// Every name that the layout lacks, and every value that does not fit it, here and in
    /// the objective sets.
    pub fn resolve(
        self,
        layout: Layout,
        objectives: Vec<(String, ObjectiveSet)>,
    ) -> Result<Brief, Faults> {
        let sink = Sink::new(&self.file);
        let rest = read(&Node::root(&sink, &self.value), Some(&layout));
        for (file, set) in &objectives {
            set.check_against(file, &layout)
                .into_iter()
                .for_each(|fault| sink.push(fault));
        }
        let Rest {
            name,
            free,
            shock_sizes,
            chainring_teeth,
            limits,
            search,
            parts,
        } = sink.finish(rest)?;
        let mut layout = layout;
        layout.parts.extend(parts);
        Ok(Brief {
            name,
            layout,
            objectives,
            free,
            shock_sizes,
            chainring_teeth,
            limits,
            search,
        })
    }
}

impl Brief {
    /// The shocks to try, the layout's own where the brief names none.
    #[must_use]
    pub fn sizes(&self) -> Vec<ShockSize> {
        if !self.shock_sizes.is_empty() {
            return self.shock_sizes.clone();
        }
        let mechanism = &self.layout.mechanism;
        let own = ShockSize {
            eye_to_eye: mechanism.eye_to_eye(),
            stroke: mechanism.shock.stroke,
        };
        vec![own]
    }

    /// The chainrings to try, the layout's own where the brief names none.
    #[must_use]
    pub fn rings(&self) -> Vec<u32> {
        match self.chainring_teeth[..] {
            [] => vec![self.layout.bicycle.chainring_teeth],
            _ => self.chainring_teeth.clone(),
        }
    }

    /// Every shock to try with every chainring to try; starts take them in turn.
    #[must_use]
    pub fn variants(&self) -> Vec<Variant> {
        let rings = self.rings();
        let with_rings = |size| {
            let variant = move |&chainring_teeth| Variant {
                size,
                chainring_teeth,
            };
            rings.iter().map(variant)
        };
        self.sizes().into_iter().flat_map(with_rings).collect()
    }

    /// The end of the shock that is placed by the shock's length, and the end about which.
    ///
    /// None where neither end may move.
    #[must_use]
    pub fn constructed_end(&self) -> Option<(PointId, PointId)> {
        free::constructed_end(&self.free, self.layout.mechanism.shock.ends)
    }

    /// Indices into `free` in an order in which each point comes after those it is placed from.
    #[must_use]
    pub fn placing_order(&self) -> Vec<usize> {
        // A held brief has no cycle.
        free::placing_order(&self.free, self.constructed_end()).unwrap_or_default()
    }
}

/// The layout as far as it is known, for looking up names.
#[derive(Clone, Copy)]
struct Names<'l> {
    layout: Option<&'l Layout>,
    /// The brief's regions; none where some part or region is at fault, so that a name that is
    /// missing for it is not a fault of its own.
    regions: Option<&'l [Arc<Part>]>,
}

impl Names<'_> {
    /// The point whose name stands at `node`; without a layout only that it is a name.
    fn point(self, node: &Node) -> Option<PointId> {
        let Some(layout) = self.layout else {
            node.text("the name of a point");
            return None;
        };
        let names = layout.mechanism.points.iter().map(|point| &*point.name);
        node.name_among(names, "a point of the layout").map(PointId)
    }

    fn position(self, point: PointId) -> Option<Point<f64>> {
        self.layout.map(|layout| layout.mechanism.position(point))
    }
}

/// What a brief has besides the names of files.
struct Rest {
    name: String,
    free: Vec<FreePoint>,
    shock_sizes: Vec<ShockSize>,
    chainring_teeth: Vec<u32>,
    limits: Vec<Limit>,
    search: SearchOptions,
    parts: Vec<Arc<Part>>,
}

/// The keys are checked by [`read`], so not here.
fn read_file_names(root: &Node) -> Option<(String, Vec<String>)> {
    let object = Object::unchecked(root)?;
    let layout = object.get("layout").text("the path of a layout file");
    let node = object.get("objectives");
    let items = node.list("a list of paths of objective files")?;
    if items.is_empty() {
        return node.fault("one objective file or more");
    }
    let mut complete = true;
    let mut paths: Vec<String> = Vec::with_capacity(items.len());
    for item in items {
        match item.text("the path of an objective file") {
            Some(path) if paths.iter().any(|other| other == path) => {
                complete = false;
                item.fault::<()>("each objective file once");
            }
            Some(path) => paths.push(path.into()),
            None => complete = false,
        }
    }
    complete.then_some((layout?.into(), paths))
}

fn read(root: &Node, layout: Option<&Layout>) -> Option<Rest> {
    let known = &[
        "name",
        "layout",
        "objectives",
        "free",
        "shock_sizes",
        "chainring_teeth",
        "parts",
        "regions",
        "limits",
        "search",
    ];
    let object = root.object(
        known,
        "a brief: an object with name, layout, objectives and free",
    )?;
    let name = object.get("name").text("the brief's name");
    let parts = parts(object.get("parts"), layout);
    // Limits may name the brief's own parts, and so may whoever reads a layout that is found.
    let with_parts = layout.zip(parts.as_ref()).map(|(layout, parts)| {
        let mut layout = layout.clone();
        layout.parts.extend(parts.iter().cloned());
        layout
    });
    let layout = with_parts.as_ref().or(layout);
    let regions = self::parts(object.get("regions"), layout);
    let names = Names {
        layout,
        regions: regions.as_deref().filter(|_| parts.is_some()),
    };
    let free = free::read(&object.get("free"), names);
    let limits = object
        .get("limits")
        .given()
        .map_or(Some(Vec::new()), |node| {
            let items = node.list("a list of limits")?;
            let limits: Vec<_> = items.iter().map(|item| limits::read(item, names)).collect();
            limits.into_iter().collect()
        });
    let constructed = free.as_ref().zip(layout);
    let constructed = constructed
        .map(|(free, layout)| free::constructed_end(free, layout.mechanism.shock.ends).is_some());
    let fixed_length = match (constructed, layout) {
        (Some(false), Some(layout)) => Some(layout.mechanism.eye_to_eye()),
        _ => None,
    };
    let shock_sizes = shocks::read(object.get("shock_sizes"), fixed_length);
    let chainring_teeth = rings::read(object.get("chainring_teeth"), layout);
    let search = search(object.get("search"));
    Some(Rest {
        name: name?.into(),
        free: free?,
        shock_sizes: shock_sizes?,
        chainring_teeth: chainring_teeth?,
        limits: limits.filter(|_| regions.is_some())?,
        search: search?,
        parts: parts?,
    })
}

/// The brief's own parts, or its regions: shapes that take up no room.
fn parts(node: Node, layout: Option<&Layout>) -> Option<Vec<Arc<Part>>> {
    let Some(node) = node.given() else {
        return Some(Vec::new());
    };
    let (known, taken) = match layout {
        Some(layout) => (layout.known(), &layout.parts[..]),
        None => (parts::Known::default(), &[][..]),
    };
    let parts = parts::read(&node, &known, taken)?;
    Some(parts.into_iter().map(Arc::new).collect())
}

fn search(node: Node) -> Option<SearchOptions> {
    let usual = SearchOptions::default();
    let Some(node) = node.given() else {
        return Some(usual);
    };
    let known = &["starts", "keep", "distinct", "seed", "rank"];
    let object = node.object(known, "an object with starts, keep, distinct, seed or rank")?;
    let whole = |key, low, high, usual| match object.get(key).given() {
        None => Some(usual),
        Some(node) => node.whole(low, high, key),
    };
    let starts = whole("starts", 1, 1_000_000_000, usual.starts);
    let keep = match object.get("keep").given() {
        None => Some(usual.keep),
        Some(node) => node
            .whole(1, 9999, "keep")
            .and_then(|keep| usize::try_from(keep).ok()),
    };
    let distinct = match object.get("distinct").given() {
        None => Some(usual.distinct),
        Some(node) => node.number_within(0.001, 1000.0, "a distance in mm"),
    };
    let seed = whole("seed", 0, u64::MAX, usual.seed);
    let rank = match object.get("rank").given() {
        None => Some(usual.rank),
        Some(node) => node.choice(&[("overall", RankBy::Overall), ("per_size", RankBy::PerSize)]),
    };
    Some(SearchOptions {
        starts: starts?,
        keep: keep?,
        distinct: distinct?,
        seed: seed?,
        rank: rank?,
    })
}

/// The name of a point, quoted, for messages.
fn point_name(layout: &Layout, point: PointId) -> String {
    quoted(
        layout
            .mechanism
            .points
            .get(point.index())
            .map_or("", |point| &point.name),
    )
}
