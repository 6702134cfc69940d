//! What the person at the line sees while it works: a bar on standard error, on a terminal only; and the request to
//! stop.

use std::sync::atomic::{AtomicBool, Ordering};

use indicatif::{ProgressBar, ProgressStyle};

use super::{Halt, Step};
use pagewise_base::paint::plain;

/// Progress of one unit, and whether somebody asked to stop.
pub struct Progress<'s> {
    bar: ProgressBar,
    stop: &'s AtomicBool,
}

impl<'s> Progress<'s> {
    /// A bar for a unit. `stop` is set by whoever wants the line to stop.
    #[must_use]
    pub fn new(unit: &str, stop: &'s AtomicBool) -> Self {
        let bar = ProgressBar::new(0);
        let style = "{prefix}  {msg:<7} {wide_bar} {bytes}/{total_bytes}";
        bar.set_style(ProgressStyle::with_template(style).unwrap_or_else(|_| ProgressStyle::default_bar()));
        bar.set_prefix(plain(unit));
        Self { bar, stop }
    }

    /// No bar.
    #[must_use]
    pub fn silent(stop: &'s AtomicBool) -> Self {
        Self { bar: ProgressBar::hidden(), stop }
    }

    /// A step over this many bytes begins.
    pub fn begin(&self, step: Step, bytes: u64) {
        self.bar.set_length(bytes);
        self.bar.set_position(0);
        self.bar.set_message(step.word());
    }

    /// So many bytes more are done.
    ///
    /// # Errors
    /// Somebody asked to stop.
    pub fn advance(&self, step: Step, bytes: u64) -> Result<(), Halt> {
        self.bar.inc(bytes);
        if self.stop.load(Ordering::Relaxed) { Err(Halt::stopped(step)) } else { Ok(()) }
    }
}

impl Drop for Progress<'_> {
    fn drop(&mut self) {
        self.bar.finish_and_clear();
    }
}
