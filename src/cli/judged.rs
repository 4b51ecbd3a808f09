//! A layout and what it is judged by: objective files, or a brief with its limits.

use super::files::{self, BriefSources};
use crate::input::fault::quoted;
use crate::input::{Brief, Fault, Faults, Layout, Limit, Mechanism, ObjectiveSet};
use crate::mechanism::Plan;
use std::path::{Path, PathBuf};

/// A layout with what it is judged by.
#[derive(Debug)]
pub(super) struct Judged {
    /// The name of the layout's file in messages.
    pub file: String,
    /// The layout.
    pub layout: Layout,
    /// Its plan.
    pub plan: Plan,
    /// Objective sets, each with the name of its file.
    pub sets: Vec<(String, ObjectiveSet)>,
    /// The brief with which it is judged, its layout being this one.
    pub brief: Option<Brief>,
}

impl Judged {
    /// Reads all files.
    ///
    /// # Errors
    /// The faults of all of them, or a brief that is about another linkage.
    pub fn load(
        layout: &Path,
        objectives: &[PathBuf],
        brief: Option<&Path>,
    ) -> Result<Self, Faults> {
        let loaded = files::load_mechanism(layout);
        let sets = files::load_objectives(objectives);
        let read = brief.map(files::read_brief).transpose();
        let ((loaded, mut sets), read) = files::both(files::both(loaded, sets), read)?;
        let (file, layout, plan) = loaded;
        let brief = match read {
            Some(read) => Some(retarget(read, brief, &file, &layout)?),
            None => None,
        };
        if let Some(brief) = &brief {
            sets.extend(brief.objectives.iter().cloned());
        }
        let faults = sets
            .iter()
            .flat_map(|(file, set)| set.check_against(file, &layout));
        Faults::none_or(faults.collect(), ())?;
        Ok(Self {
            file,
            layout,
            plan,
            sets,
            brief,
        })
    }

    /// The objective sets.
    pub fn sets(&self) -> Vec<&ObjectiveSet> {
        self.sets.iter().map(|(_, set)| set).collect()
    }

    /// The limits of the brief, if there is one.
    pub fn limits(&self) -> &[Limit] {
        self.brief.as_ref().map_or(&[], |brief| &brief.limits)
    }
}

/// The brief as if it had been written about `layout`, which must be the same linkage.
fn retarget(
    read: BriefSources,
    path: Option<&Path>,
    file: &str,
    layout: &Layout,
) -> Result<Brief, Faults> {
    let mut brief = read.brief;
    let path = path.unwrap_or(Path::new(""));
    require_same_linkage(&brief, &read.layout_file, path, file, layout)?;
    brief.layout = layout.clone();
    brief.shock_sizes.clear();
    brief.chainring_teeth.clear();
    Ok(brief)
}

/// That `layout` is the linkage that the brief is about.
///
/// # Errors
/// How they differ.
pub(super) fn require_same_linkage(
    brief: &Brief,
    layout_file: &str,
    brief_path: &Path,
    file: &str,
    layout: &Layout,
) -> Result<(), Faults> {
    match difference(&brief.layout.mechanism, &layout.mechanism) {
        None => Ok(()),
        Some(difference) => {
            let expected = format!(
                "the linkage of {layout_file}, which {} is about, with points moved at most",
                brief_path.display()
            );
            Err(Fault::new(file, "mechanism", difference, expected).into())
        }
    }
}

/// How two linkages differ in structure, if they do.
fn difference(wanted: &Mechanism, found: &Mechanism) -> Option<String> {
    let names = |mechanism: &Mechanism| -> Vec<String> {
        mechanism
            .points
            .iter()
            .map(|point| point.name.clone())
            .collect()
    };
    let (wanted_names, found_names) = (names(wanted), names(found));
    if wanted_names != found_names {
        let missing = wanted_names.iter().find(|name| !found_names.contains(name));
        return Some(match missing {
            Some(name) => format!("no point {}", quoted(name)),
            None => "other points, or in another order".to_owned(),
        });
    }
    let same_bodies = wanted.bodies == found.bodies;
    let same = same_bodies && wanted.shock.ends == found.shock.ends;
    (!same).then(|| "the same points on other bodies".to_owned())
}
