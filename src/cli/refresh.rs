//! When the ranking on the disk is written anew while a search runs.

use super::warn;
use std::time::{Duration, Instant};

/// How long the ranking on the disk may be older than what is found, at least.
pub(super) const REFRESH: Duration = Duration::from_mins(1);

/// When the ranking on the disk is written anew: it takes a hundredth of the time at most.
pub(super) struct Refresh {
    last: Instant,
    least: Duration,
    wait: Duration,
    failed: bool,
}

impl Refresh {
    pub fn new(least: Duration) -> Self {
        Self {
            last: Instant::now(),
            least,
            wait: least,
            failed: false,
        }
    }

    pub fn due(&mut self, write: impl FnOnce() -> anyhow::Result<()>) {
        if self.last.elapsed() < self.wait {
            return;
        }
        let begun = Instant::now();
        if let Err(error) = write() {
            // The search itself is safe as long as its journal can be written.
            if !std::mem::replace(&mut self.failed, true) {
                warn(&format!("the ranking could not be refreshed: {error:#}"));
            }
        }
        self.wait = self.least.max(100 * begun.elapsed());
        self.last = Instant::now();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_ranking_that_cannot_be_refreshed_ends_no_search() {
        let mut refresh = Refresh::new(Duration::ZERO);
        let mut tries = 0;
        for _ in 0..3 {
            refresh.wait = Duration::ZERO;
            refresh.due(|| {
                tries += 1;
                anyhow::bail!("no space")
            });
        }
        assert!(refresh.failed);
        assert_eq!(tries, 3);
        // Not before it is due.
        Refresh::new(Duration::from_hours(1)).due(|| unreachable!("not due"));
    }
}
