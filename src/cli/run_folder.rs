//! The folder that a search writes: never over anything that stands there already, but for
//! results of the same run.

use super::whole::{UNFINISHED, write_unsynced, write_whole};
use anyhow::{Context, bail};
use std::ffi::OsStr;
use std::fs;
use std::path::{Path, PathBuf};

/// The folder with copies of the brief and its files.
pub(super) const INPUTS: &str = "inputs";

/// The report and what is kept for it.
const DERIVED: [&str; 2] = [super::report::PAGE, super::report::MARGINS];

/// The folder for the results of a run.
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
            Ok(false) if out.join(super::journal::NAME).exists() => bail!(
                "--out: found {0}, which is not empty but holds a run, expected a new or empty folder (results are \
                 never overwritten; `pivotwright resume {0}` goes on with that run)",
                out.display()
            ),
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

    /// A folder that stands there, of a run that goes on.
    pub fn existing(path: &Path) -> Self {
        Self {
            path: path.to_owned(),
        }
    }

    /// As [`Self::create`], but `out` may hold what a search leaves that was ended before its
    /// journal stood.
    ///
    /// # Errors
    /// As of [`Self::create`].
    pub fn create_or_begin_anew(out: &Path, brief: &Path) -> anyhow::Result<Self> {
        let of_a_beginning =
            |name: &OsStr| name == INPUTS || name.to_string_lossy().starts_with(UNFINISHED);
        let begun = fs::read_dir(out).is_ok_and(|mut entries| {
            entries.all(|entry| entry.is_ok_and(|entry| of_a_beginning(&entry.file_name())))
        });
        if begun {
            Ok(Self::existing(out))
        } else {
            Self::create(Some(out), brief)
        }
    }

    /// Writes a file of the folder, whole or not at all.
    ///
    /// # Errors
    /// It cannot be written.
    pub fn write(&self, name: &str, text: &str) -> anyhow::Result<()> {
        write_whole(&self.path.join(name), text)
    }

    /// Removes from the folder `name` within it every file named by a rank, as `NN.*`, above
    /// `ranks`: rows of an earlier ranking that are no more.
    ///
    /// # Errors
    /// One cannot be removed.
    pub fn keep_ranks(&self, name: &str, ranks: usize) -> anyhow::Result<()> {
        Self::remove(&self.path.join(name), |file| {
            let rank = file.split('.').next().and_then(|rank| rank.parse().ok());
            rank.is_some_and(|rank: usize| rank > ranks)
        })
    }

    /// Removes files that were being written when a process died.
    ///
    /// # Errors
    /// One cannot be removed.
    pub fn remove_unfinished(&self) -> anyhow::Result<()> {
        for folder in ["", INPUTS, "layouts", "sensitivity", "cad"] {
            Self::remove(&self.path.join(folder), |file| file.starts_with(UNFINISHED))?;
        }
        Ok(())
    }

    /// Removes what is made from the ranking and can be made again.
    ///
    /// # Errors
    /// One of the files cannot be removed.
    pub fn remove_derived(&self) -> anyhow::Result<()> {
        Self::remove(&self.path, |file| DERIVED.contains(&file))?;
        for folder in ["sensitivity", "cad"] {
            self.keep_ranks(folder, 0)?;
        }
        Ok(())
    }

    fn remove(folder: &Path, wanted: impl Fn(&str) -> bool) -> anyhow::Result<()> {
        let Ok(entries) = fs::read_dir(folder) else {
            // Not every run has every folder.
            return Ok(());
        };
        for entry in entries.flatten() {
            if wanted(&entry.file_name().to_string_lossy()) {
                fs::remove_file(entry.path())
                    .with_context(|| format!("cannot remove {}", entry.path().display()))?;
            }
        }
        Ok(())
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
