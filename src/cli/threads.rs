//! Work over as many threads as were asked for.

use anyhow::Context;

/// Does `work` over `threads` threads, or one for each core.
///
/// # Errors
/// The threads could not be started.
pub(super) fn over<R: Send>(
    threads: Option<u16>,
    work: impl FnOnce() -> R + Send,
) -> anyhow::Result<R> {
    let Some(threads) = threads else {
        return Ok(work());
    };
    let pool = rayon::ThreadPoolBuilder::new()
        .num_threads(usize::from(threads))
        .build()
        .with_context(|| format!("--threads: {threads} threads could not be started"))?;
    Ok(pool.install(work))
}
