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
        // How much there is to do is known when the first step begins.
        bar.set_style(style("{prefix}"));
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
        self.bar.set_style(style("{prefix}  {msg:<7} {wide_bar} {bytes}/{total_bytes} {eta} left"));
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

#[cfg(test)]
mod tests {
    use std::io;
    use std::sync::{Arc, Mutex};

    use indicatif::{ProgressDrawTarget, TermLike};

    use super::*;

    /// A terminal that keeps what is drawn on it.
    #[derive(Debug, Clone, Default)]
    struct Screen(Arc<Mutex<Vec<String>>>);

    impl TermLike for Screen {
        fn width(&self) -> u16 {
            80
        }
        fn move_cursor_up(&self, _: usize) -> io::Result<()> {
            Ok(())
        }
        fn move_cursor_down(&self, _: usize) -> io::Result<()> {
            Ok(())
        }
        fn move_cursor_right(&self, _: usize) -> io::Result<()> {
            Ok(())
        }
        fn move_cursor_left(&self, _: usize) -> io::Result<()> {
            Ok(())
        }
        fn write_line(&self, line: &str) -> io::Result<()> {
            self.write_str(line)
        }
        fn write_str(&self, text: &str) -> io::Result<()> {
            self.0.lock().unwrap().push(text.to_string());
            Ok(())
        }
        fn clear_line(&self) -> io::Result<()> {
            Ok(())
        }
        fn flush(&self) -> io::Result<()> {
            Ok(())
        }
    }

    /// Bytes, as `2.00 KiB` says them.
    fn bytes(number: &str, unit: &str) -> f64 {
        number.parse::<f64>().unwrap() * if unit == "KiB" { 1024.0 } else { 1.0 }
    }

    /// What is done never exceeds what there is, and a step over nothing is not shown.
    #[test]
    fn a_bar_shows_no_more_than_there_is() {
        let (screen, stop) = (Screen::default(), AtomicBool::new(false));
        let target = ProgressDrawTarget::term_like_with_hz(Box::new(screen.clone()), 255);
        let progress = Progress::of(ProgressBar::with_draw_target(None, target), "U\x1b[31m1", &stop);
        progress.bar.force_draw();
        for (step, bytes) in [(Step::Verify, 0), (Step::Backup, 8192), (Step::Write, 1700), (Step::Verify, 8192)] {
            progress.begin(step, bytes);
            for _ in 0..4 {
                progress.advance(step, bytes / 4).unwrap();
                progress.bar.force_draw();
            }
        }
        let drawn = screen.0.lock().unwrap().clone();
        let mut amounts = 0;
        for line in drawn.iter().filter(|line| line.contains('/')) {
            let (done, all) = line.split_once('/').unwrap();
            let mut done = done.rsplit(' ');
            let (unit, number) = (done.next().unwrap(), done.next().unwrap());
            let mut all = all.split(' ');
            let whole = bytes(all.next().unwrap(), all.next().unwrap());
            assert!(whole > 0.0 && bytes(number, unit) <= whole, "{line}");
            amounts += 1;
        }
        assert!(amounts >= 12, "{drawn:?}");
        assert!(drawn.iter().all(|line| !line.contains('\x1b')), "what a unit is called is text");
    }
}
