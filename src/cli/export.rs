//! `export`: a layout as files for CAD and spreadsheets.

use super::args::ExportArguments;
use super::whole::write_whole;
use super::{Outcome, files, print};
use crate::curves::Suspension;
use crate::report::{Subject, export};
use std::path::Path;

/// Writes the files of one layout.
pub(super) fn run(arguments: &ExportArguments) -> anyhow::Result<Outcome> {
    let (file, layout, plan) = files::load_mechanism(&arguments.layout)?;
    let suspension = Suspension::new(&plan, &file, &layout)?;
    files::warn_of(&file, &layout, &suspension);
    let name = stem(&arguments.layout);
    for (ending, text) in export::files(&Subject::new(&layout, &suspension)) {
        let path = arguments.to.join(format!("{name}.{ending}"));
        write_whole(&path, &text)?;
        print(&format!("{}\n", path.display()))?;
    }
    Ok(Outcome::Met)
}

/// What the layout's file is called, without its ending.
fn stem(path: &Path) -> String {
    let name = path
        .file_name()
        .map_or("-".into(), |name| name.to_string_lossy());
    let name = name
        .strip_suffix(".layout.json")
        .or(name.strip_suffix(".json"))
        .unwrap_or(&name);
    let name = if name == "-" { "layout" } else { name };
    name.to_owned()
}
