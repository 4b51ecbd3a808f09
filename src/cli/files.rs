//! From a path to a checked layout, objective set or brief.
//!
//! Faults name a file as the user gave it; a file that a brief names, by the brief's folder
//! and what stands there.

use super::warn;
use crate::curves::Suspension;
use crate::input::brief::BriefFile;
use crate::input::fault::{quoted, quoted_list};
use crate::input::{Brief, Fault, Faults, Layout, ObjectiveSet};
use crate::mechanism::Plan;
use std::io::{self, Read};
use std::path::{Component, Path, PathBuf};

/// No file that a person writes is longer, bytes.
const LONGEST: u64 = 1 << 24;

/// The kinds of file that a person writes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// One suspension, fully placed.
    Layout,
    /// What its curves should be.
    Objectives,
    /// The question put to the search.
    Brief,
}

impl Kind {
    const ALL: [Self; 3] = [Self::Layout, Self::Objectives, Self::Brief];

    /// With its article, as in "a layout".
    #[must_use]
    pub const fn noun(self) -> &'static str {
        match self {
            Self::Layout => "a layout",
            Self::Objectives => "an objective set",
            Self::Brief => "a brief",
        }
    }

    const fn ending(self) -> &'static str {
        match self {
            Self::Layout => ".layout.json",
            Self::Objectives => ".objectives.json",
            Self::Brief => ".brief.json",
        }
    }

    /// Keys that no other kind has.
    const fn keys(self) -> &'static [&'static str] {
        match self {
            Self::Layout => &["bicycle", "mechanism"],
            Self::Objectives => &["targets"],
            Self::Brief => &[
                "layout",
                "objectives",
                "free",
                "shock_sizes",
                "chainring_teeth",
                "limits",
                "search",
            ],
        }
    }
}

/// The text of a file and its name in messages.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Source {
    /// The name in messages.
    pub file: String,
    /// What it says.
    pub text: String,
}

impl Source {
    /// Reads `path`, or stdin where it is `-`.
    ///
    /// # Errors
    ///
    /// It cannot be read, is no UTF-8 or longer than 16 MiB.
    pub fn read(path: &Path) -> Result<Self, Faults> {
        let file = display(path);
        match bytes(path) {
            Ok(bytes) => Self::from_bytes(file, bytes),
            Err(error) => Err(Fault::new(file, "", unreadable(&error), "a file").into()),
        }
    }

    /// Reads the file that a brief at `path` names at `key`: a path that leads nowhere is a
    /// mistake of the brief.
    fn read_named(path: &Path, brief: &str, key: &str, name: &str) -> Result<Self, Faults> {
        let place = path.parent().unwrap_or(Path::new("")).join(name);
        // Shorter to read, but where a folder is a link it may lead elsewhere.
        let file = display(&without_detours(&place));
        match bytes(&place) {
            Ok(bytes) => Self::from_bytes(file, bytes),
            Err(error) => {
                let found = format!("{}, {}", quoted(name), unreadable(&error));
                Err(Fault::new(brief, key, found, format!("a file at {file}")).into())
            }
        }
    }

    fn from_bytes(file: String, bytes: Vec<u8>) -> Result<Self, Faults> {
        if bytes.len() as u64 > LONGEST {
            let expected = "a file that a person wrote";
            return Err(Fault::new(file, "", "more than 16 MiB", expected).into());
        }
        match String::from_utf8(bytes) {
            Ok(text) => Ok(Self { file, text }),
            Err(error) => {
                let place = error.utf8_error().valid_up_to();
                let found = format!("bytes that are no UTF-8 (after {place} that are)");
                Err(Fault::new(file, "", found, "UTF-8 text").into())
            }
        }
    }

    /// What kind of file it is: by name, else by the keys; none where neither tells.
    #[must_use]
    pub fn kind(&self) -> Option<Kind> {
        Kind::ALL
            .into_iter()
            .find(|kind| self.file.ends_with(kind.ending()))
            .or_else(|| self.kind_by_keys())
    }

    fn kind_by_keys(&self) -> Option<Kind> {
        let object = self.keys()?;
        let known = |kind: &Kind| {
            let keys = object.iter();
            keys.filter(|key| kind.keys().contains(&key.as_str()))
                .count()
        };
        let best = Kind::ALL.into_iter().max_by_key(known)?;
        let rivals = Kind::ALL.iter().filter(|kind| known(kind) == known(&best));
        (known(&best) > 0 && rivals.count() == 1).then_some(best)
    }

    fn keys(&self) -> Option<Vec<String>> {
        let text = self.text.strip_prefix('\u{feff}').unwrap_or(&self.text);
        let object: serde_json::Map<String, serde_json::Value> = serde_json::from_str(text).ok()?;
        Some(object.into_iter().map(|(key, _)| key).collect())
    }

    /// The fault of a file of no kind.
    pub(super) fn of_no_kind(&self) -> Faults {
        let Some(keys) = self.keys() else {
            // Every reader starts with the syntax, and tells what is wrong with it.
            return match Layout::from_json(&self.file, &self.text) {
                Err(faults) => faults,
                Ok(_) => Faults(Vec::new()),
            };
        };
        let found = match &keys[..] {
            [] => "an object without keys".to_owned(),
            keys => {
                let first = keys.iter().take(8).map(String::as_str);
                format!("an object with the keys {}", quoted_list(first))
            }
        };
        let expected = "a layout (with \"mechanism\"), an objective set (with \"targets\") or a \
                        brief (with \"free\")";
        Fault::new(&self.file, "", found, expected).into()
    }

    /// A file that is plainly of another kind gets one fault instead of one for each key.
    fn expect(&self, wanted: Kind) -> Result<(), Faults> {
        match self.kind_by_keys() {
            Some(kind) if kind != wanted => {
                Err(Fault::new(&self.file, "", kind.noun(), wanted.noun()).into())
            }
            _ => Ok(()),
        }
    }

    /// The layout that it holds.
    ///
    /// # Errors
    ///
    /// The faults of its syntax, or else of its keys and values.
    pub fn layout(&self) -> Result<Layout, Faults> {
        self.expect(Kind::Layout)?;
        Layout::from_json(&self.file, &self.text)
    }

    /// The objective set that it holds.
    ///
    /// # Errors
    ///
    /// The faults of its syntax, or else of its keys and values.
    pub fn objectives(&self) -> Result<ObjectiveSet, Faults> {
        self.expect(Kind::Objectives)?;
        ObjectiveSet::from_json(&self.file, &self.text)
    }
}

/// A brief and the text of every file that it was made from.
#[derive(Clone, Debug)]
pub struct BriefSources {
    /// The brief.
    pub brief: Brief,
    /// The name in messages of the layout that it names.
    pub layout_file: String,
    /// The brief's own file, its layout, its objective sets, in this order: each path as it
    /// stands in the brief (the brief's own is its file name), and the text.
    pub inputs: Vec<Source>,
}

/// Reads a layout; `-` is stdin.
///
/// # Errors
///
/// Every fault of the first stage that has any.
pub fn load_layout(path: &Path) -> Result<Layout, Faults> {
    Source::read(path)?.layout()
}

/// Reads objective sets, each with its name in messages.
///
/// # Errors
///
/// The faults of all of them.
pub fn load_objectives(paths: &[PathBuf]) -> Result<Vec<(String, ObjectiveSet)>, Faults> {
    collect(paths.iter().map(|path| {
        let source = Source::read(path)?;
        let set = source.objectives()?;
        Ok((source.file, set))
    }))
}

/// Reads a brief and the files that it names; `-` is stdin.
///
/// # Errors
///
/// Every fault of the first stage that has any, in the brief or else in the files that it
/// names.
pub fn load_brief(path: &Path) -> Result<Brief, Faults> {
    read_brief(path).map(|sources| sources.brief)
}

/// As [`load_brief`], with the text of every file.
///
/// # Errors
///
/// As [`load_brief`].
pub fn read_brief(path: &Path) -> Result<BriefSources, Faults> {
    brief_from(path, Source::read(path)?)
}

/// The brief that `source`, read from `path`, holds.
pub(super) fn brief_from(path: &Path, source: Source) -> Result<BriefSources, Faults> {
    source.expect(Kind::Brief)?;
    let written = BriefFile::from_json(&source.file, &source.text)?;
    let named = |key: &str, name: &str| Source::read_named(path, &source.file, key, name);
    let layout = named("layout", &written.layout)
        .and_then(|source| source.layout().map(|layout| (source, layout)));
    let sets = collect(written.objectives.iter().enumerate().map(|(index, name)| {
        let source = named(&format!("objectives[{index}]"), name)?;
        let set = source.objectives()?;
        Ok((source, set))
    }));
    let ((layout_source, layout), sets) = both(layout, sets)?;
    let own_name = path.file_name().filter(|_| !is_stdin(path));
    let mut inputs = vec![Source {
        file: own_name.map_or(source.file, |name| name.to_string_lossy().into_owned()),
        text: source.text,
    }];
    inputs.push(Source {
        file: written.layout.clone(),
        text: layout_source.text,
    });
    let mut objectives = Vec::with_capacity(sets.len());
    for (name, (source, set)) in written.objectives.iter().zip(sets) {
        inputs.push(Source {
            file: name.clone(),
            text: source.text,
        });
        objectives.push((source.file, set));
    }
    Ok(BriefSources {
        brief: written.resolve(layout, objectives)?,
        layout_file: layout_source.file,
        inputs,
    })
}

/// The brief that was made from these files, in the order of [`BriefSources::inputs`].
///
/// # Errors
///
/// As [`load_brief`]; they are not as many as the brief names.
pub(super) fn brief_of(inputs: Vec<Source>) -> Result<BriefSources, Faults> {
    let [brief, layout, sets @ ..] = &inputs[..] else {
        return Err(Fault::new("inputs", "", "no brief and layout", "copies of both").into());
    };
    let written = BriefFile::from_json(&brief.file, &brief.text)?;
    if written.objectives.len() != sets.len() {
        let found = format!("{} objective sets", sets.len());
        let expected = format!("the {} that it names", written.objectives.len());
        return Err(Fault::new(&brief.file, "objectives", found, expected).into());
    }
    let objectives = collect(
        sets.iter()
            .map(|set| Ok((set.file.clone(), set.objectives()?))),
    );
    let (drawn, objectives) = both(layout.layout(), objectives)?;
    Ok(BriefSources {
        brief: written.resolve(drawn, objectives)?,
        layout_file: layout.file.clone(),
        inputs,
    })
}

/// Reads a layout and compiles its mechanism; the first string is its name in messages.
///
/// # Errors
///
/// Every fault of the first stage that has any.
pub fn load_mechanism(path: &Path) -> Result<(String, Layout, Plan), Faults> {
    let source = Source::read(path)?;
    let layout = source.layout()?;
    let plan = Plan::compile(&source.file, &layout.mechanism)?;
    Ok((source.file, layout, plan))
}

/// All results, or the faults of all that failed.
pub(super) fn collect<T>(
    results: impl IntoIterator<Item = Result<T, Faults>>,
) -> Result<Vec<T>, Faults> {
    let (mut values, mut faults) = (Vec::new(), Vec::new());
    for result in results {
        match result {
            Ok(value) => values.push(value),
            Err(more) => faults.extend(more.0),
        }
    }
    Faults::none_or(faults, values)
}

/// Both results, or the faults of both.
pub(super) fn both<A, B>(
    one: Result<A, Faults>,
    other: Result<B, Faults>,
) -> Result<(A, B), Faults> {
    match (one, other) {
        (Ok(one), Ok(other)) => Ok((one, other)),
        (Err(mut faults), Err(more)) => {
            faults.0.extend(more.0);
            Err(faults)
        }
        (Err(faults), _) | (_, Err(faults)) => Err(faults),
    }
}

/// Warns of what may deceive a reader of a layout's curves.
pub fn warn_of(file: &str, layout: &Layout, suspension: &Suspension) {
    let tilt = suspension.state(0.0).ground.tilt().to_degrees();
    // A tilt that does not show in a head angle of two decimals deceives nobody.
    if tilt.abs() >= 0.005 {
        let drawn = layout.bicycle.head_angle;
        warn(&format!(
            "{file}: the ground line is drawn tilted by {tilt:.2} degrees, so on the ground the \
             head angle at top is {:.2} and not {drawn} degrees",
            drawn + tilt,
        ));
    }
    for oddity in oddities(layout, suspension.total_travel()) {
        warn(&format!("{file}: {oddity}"));
    }
    let mechanism = &layout.mechanism;
    let brake = &mechanism.bodies[mechanism.brake_body.index()];
    if !brake.points.contains(&layout.bicycle.rear_axle) {
        warn(&format!(
            "{file}: the brake body {} does not carry the rear axle: anti-rise is that of a wheel \
             turning with it, but a caliper there would slide along its rotor",
            quoted(&brake.name)
        ));
    }
}

/// What is no fault but hardly meant: a mirrored drawing, another unit.
fn oddities(layout: &Layout, travel: f64) -> Vec<String> {
    let (bicycle, mechanism) = (&layout.bicycle, &layout.mechanism);
    let rear = mechanism.position(bicycle.rear_axle);
    let mut oddities = Vec::new();
    if rear.x >= 0.0 {
        oddities.push(format!(
            "the rear axle is drawn in front of the bottom bracket (x {}): x is forward, the bicycle \
             faces right",
            rear.x
        ));
    }
    let apart = (bicycle.front_axle - rear).length();
    if apart <= bicycle.rear_wheel_radius + bicycle.front_wheel_radius {
        oddities.push(format!(
            "the wheels overlap: their axles are only {apart:.0} mm apart"
        ));
    }
    if travel < LEAST_TRAVEL {
        oddities.push(format!(
            "only {travel:.1} mm of travel: is the stroke in mm?"
        ));
    }
    if bicycle.sag.fraction > MOST_SAG {
        let percent = bicycle.sag.fraction * 100.0;
        oddities.push(format!(
            "sag at {percent:.0} % is deeper than anybody rides"
        ));
    }
    oddities
}

/// Less travel is no bicycle's, mm (common practice, no source).
const LEAST_TRAVEL: f64 = 30.0;

/// Deeper sag is nobody's (common practice, no source).
const MOST_SAG: f64 = 0.5;

fn bytes(path: &Path) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    // One byte more than allowed tells a file that is too long.
    if is_stdin(path) {
        io::stdin()
            .lock()
            .take(LONGEST + 1)
            .read_to_end(&mut bytes)?;
    } else {
        let file = std::fs::File::open(path)?;
        file.take(LONGEST + 1).read_to_end(&mut bytes)?;
    }
    Ok(bytes)
}

fn is_stdin(path: &Path) -> bool {
    path.as_os_str() == "-"
}

fn display(path: &Path) -> String {
    if is_stdin(path) {
        "standard input".into()
    } else {
        path.display().to_string()
    }
}

/// What is found where a file cannot be read: the system's message without its number.
fn unreadable(error: &io::Error) -> String {
    let message = error.to_string();
    let message = message.split(" (os error").next().unwrap_or(&message);
    format!("nothing that can be read ({})", message.to_lowercase())
}

/// `a/../b` is `b`, which reads better in a message.
fn without_detours(path: &Path) -> PathBuf {
    let mut result = PathBuf::new();
    for part in path.components() {
        let named = matches!(result.components().next_back(), Some(Component::Normal(_)));
        match part {
            Component::ParentDir if named => {
                result.pop();
            }
            Component::CurDir => {}
            part => result.push(part),
        }
    }
    result
}

#[cfg(test)]
mod tests {
    use super::*;

    fn kind(file: &str, text: &str) -> Option<Kind> {
        let (file, text) = (file.into(), text.into());
        Source { file, text }.kind()
    }

    #[test]
    fn the_name_tells_the_kind_and_else_the_keys() {
        assert_eq!(kind("a.layout.json", "{}"), Some(Kind::Layout));
        assert_eq!(kind("x", "{\"mechanism\": 1}"), Some(Kind::Layout));
        assert_eq!(kind("x", "{\"targets\": 1}"), Some(Kind::Objectives));
        assert_eq!(kind("x", "{\"layout\": 1, \"free\": 1}"), Some(Kind::Brief));
        assert_eq!(kind("x", "{\"name\": 1}"), None);
        assert_eq!(kind("x", "{\"targets\": 1, \"bicycle\": 1}"), None);
        assert_eq!(kind("x", "[]"), None);
    }

    #[test]
    fn detours_are_left_out() {
        let short = |path: &str| without_detours(Path::new(path)).display().to_string();
        assert_eq!(short("demo/../objectives/./a"), "objectives/a");
        assert_eq!(short("../a/../b"), "../b");
        assert_eq!(short("../../b"), "../../b");
        assert_eq!(short("/a/../b"), "/b");
    }
}
