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
    let folder = match path.parent() {
        Some(folder) if folder != Path::new("") => folder,
        _ => Path::new("."),
    };
    let write = || -> std::io::Result<()> {
        fs::create_dir_all(folder)?;
        let mut file = tempfile::NamedTempFile::new_in(folder)?;
        file.write_all(text.as_bytes())?;
        file.as_file().sync_all()?;
        file.persist(path)?;
        Ok(())
    };
    write().with_context(|| format!("cannot write {}", path.display()))
}
