//! What the person at the line sees while it works: bars on standard error, on a terminal only; and the request to
//! stop.

use std::sync::atomic::{AtomicBool, Ordering};

use indicatif::{MultiProgress, ProgressBar, ProgressStyle};

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
        Self::of(ProgressBar::no_length(), unit, stop)
    }

    /// The same among others.
    #[must_use]
    pub fn among(bars: &MultiProgress, unit: &str, stop: &'s AtomicBool) -> Self {
        Self::of(bars.add(ProgressBar::no_length()), unit, stop)
    }

    fn of(bar: ProgressBar, unit: &str, stop: &'s AtomicBool) -> Self {
        bar.set_style(style("{prefix}  {msg:<7} {wide_bar} {bytes}/{total_bytes} {eta} left"));
        bar.set_prefix(plain(unit));
        Self { bar, stop }
    }

    /// No bar.
    #[must_use]
    pub fn silent(stop: &'s AtomicBool) -> Self {
        Self { bar: ProgressBar::hidden(), stop }
    }

    /// A step over this many bytes begins. One over nothing is not shown.
    pub fn begin(&self, step: Step, bytes: u64) {
        if bytes == 0 {
            return;
        }
        // First back to the beginning: more bytes than there are would be shown otherwise.
        self.bar.set_position(0);
        self.bar.set_length(bytes);
        self.bar.reset_eta();
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

/// Progress of all units.
pub struct Whole {
    bar: ProgressBar,
}

impl Whole {
    /// A bar above those of the units; none where there is one unit, or nobody knows how many.
    #[must_use]
    pub fn new(bars: &MultiProgress, units: u64) -> Self {
        if units < 2 {
            return Self { bar: ProgressBar::hidden() };
        }
        let bar = bars.add(ProgressBar::new(units));
        bar.set_style(style("{pos} of {len} units {wide_bar} {eta} left"));
        Self { bar }
    }

    /// So many units more are done.
    pub fn advance(&self, units: u64) {
        self.bar.inc(units);
    }
}

impl Drop for Whole {
    fn drop(&mut self) {
        self.bar.finish_and_clear();
    }
}

fn style(template: &str) -> ProgressStyle {
    ProgressStyle::with_template(template).unwrap_or_else(|_| ProgressStyle::default_bar())
}
