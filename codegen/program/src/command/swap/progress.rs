//! A progress bar on standard error, for runs that take long.

use indicatif::{ProgressBar, ProgressStyle};

use pagewise_judge::fleet::Job;

/// Judgements from which on a bar is shown: a second or more of work.
const LONG: usize = 4000;

/// The bar of a run, one step for each board. It shows on a terminal only, and not beside JSON.
pub(super) fn bar(jobs: &[Job<'_>], json: bool) -> ProgressBar {
    let judgements: usize = jobs.iter().map(|job| job.candidates.len()).sum();
    if json || judgements < LONG {
        return ProgressBar::hidden();
    }
    // On its own it draws on standard error, and nothing where that is not a terminal.
    let bar = ProgressBar::new(jobs.len() as u64);
    let style = ProgressStyle::with_template("{pos} of {len} boards {wide_bar} {eta} left");
    bar.with_style(style.unwrap_or_else(|_| ProgressStyle::default_bar()))
}
