//! Files that appear whole or not at all.

use anyhow::Context;
use std::fs;
use std::io::Write;
use std::path::Path;

/// Writes `text` to `path`, making the folders that it needs; what stands there is replaced.
///
/// # Errors
/// It cannot be written.
pub(super) fn write_whole(path: &Path, text: &str) -> anyhow::Result<()> {
    place(path, text, true)
}

/// The same without waiting until it is on the disk.
///
/// # Errors
/// It cannot be written.
pub(super) fn write_unsynced(path: &Path, text: &str) -> anyhow::Result<()> {
    place(path, text, false)
}

fn place(path: &Path, text: &str, synced: bool) -> anyhow::Result<()> {
    let folder = match path.parent() {
        Some(folder) if folder != Path::new("") => folder,
        _ => Path::new("."),
    };
    let write = || -> std::io::Result<()> {
        fs::create_dir_all(folder)?;
        let mut file = named(folder)?;
        file.write_all(text.as_bytes())?;
        if synced {
            file.as_file().sync_all()?;
        }
        file.persist(path)?;
        Ok(())
    };
    write().with_context(|| format!("cannot write {}", path.display()))
}

/// What the names of files begin with that are not whole yet.
pub(super) const UNFINISHED: &str = ".unfinished-";

/// A new file under a passing name, with the rights that any new one has, not those of a secret.
pub(super) fn named(folder: &Path) -> std::io::Result<tempfile::NamedTempFile> {
    let mut builder = tempfile::Builder::new();
    builder.prefix(UNFINISHED);
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        builder.permissions(fs::Permissions::from_mode(0o666));
    }
    builder.tempfile_in(folder)
}
