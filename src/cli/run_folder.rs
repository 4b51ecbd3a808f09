//! The folder that a search writes: never over anything that stands there already.

use super::whole::{write_unsynced, write_whole};
use anyhow::{Context, bail};
use std::fs;
use std::path::{Path, PathBuf};

/// A new folder for the results of a run.
#[derive(Debug)]
pub(super) struct RunFolder {
    path: PathBuf,
}

impl RunFolder {
    /// Makes the folder `out`, or where none is asked for the next free of `NAME.run`,
    /// `NAME-2.run`, ... beside the brief.
    ///
    /// # Errors
    /// `out` exists and is not empty, or no folder can be made.
    pub fn create(out: Option<&Path>, brief: &Path) -> anyhow::Result<Self> {
        let Some(out) = out else {
            return Self::beside(brief);
        };
        match fs::read_dir(out).map(|mut entries| entries.next().is_none()) {
            Ok(true) => {}
            Ok(false) => bail!(
                "--out: found {}, which is not empty, expected a new or empty folder (results are \
                 never overwritten; leave --out away for a fresh one)",
                out.display()
            ),
            Err(_) if out.is_file() => bail!(
                "--out: found {}, which is a file, expected a new or empty folder",
                out.display()
            ),
            Err(_) => fs::create_dir_all(out)
                .with_context(|| format!("--out: cannot make the folder {}", out.display()))?,
        }
        Ok(Self {
            path: out.to_owned(),
        })
    }

    fn beside(brief: &Path) -> anyhow::Result<Self> {
        let name = brief
            .file_name()
            .map_or("brief".into(), |name| name.to_string_lossy());
        let name = name
            .strip_suffix(".brief.json")
            .or(name.strip_suffix(".json"))
            .unwrap_or(&name);
        let name = if name == "-" { "brief" } else { name };
        let folder = brief.parent().unwrap_or(Path::new(""));
        for number in 1.. {
            let name = if number == 1 {
                format!("{name}.run")
            } else {
                format!("{name}-{number}.run")
            };
            let path = folder.join(name);
            // Making it is the test whether it is free: another search may be at it too.
            match fs::create_dir(&path) {
                Ok(()) => return Ok(Self { path }),
                Err(error) if error.kind() == std::io::ErrorKind::AlreadyExists => {}
                Err(error) => {
                    return Err(error).with_context(|| {
                        format!(
                            "cannot make the folder {} (--out names another)",
                            path.display()
                        )
                    });
                }
            }
        }
        bail!("no free name for a run folder")
    }

    /// Where it is.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Writes a file of the folder, whole or not at all.
    ///
    /// # Errors
    /// It cannot be written.
    pub fn write(&self, name: &str, text: &str) -> anyhow::Result<()> {
        write_whole(&self.path.join(name), text)
    }

    /// The same for what can be made again from the other files: a power cut may cost it, and
    /// nobody waits for the disk.
    ///
    /// # Errors
    /// It cannot be written.
    pub fn write_derived(&self, name: &str, text: &str) -> anyhow::Result<()> {
        write_unsynced(&self.path.join(name), text)
    }
}
