//! The WP pin: a person moves it, or the simulated bench does.

use std::io::BufRead;

use crate::output::{Tone, paint};
use pagewise_line::bench::{Bench, Wire};
use pagewise_measure::protect::Hand;

/// The pin of a simulated part.
pub(super) struct AtBench(Wire);

impl AtBench {
    pub(super) fn new(bench: &Bench) -> Self {
        Self(bench.wp())
    }
}

impl Hand for AtBench {
    fn tie_wp(&mut self, high: bool) -> bool {
        self.0.tie(high);
        true
    }

    fn as_before(&mut self) {
        self.0.as_before();
    }
}

/// A person at the terminal.
pub(super) struct Asked;

impl Asked {
    fn line(question: &str) -> bool {
        anstream::eprint!("{question} and press Enter (q leaves WP alone): ");
        let mut typed = String::new();
        // An input that cannot be read answers nothing.
        let _ = std::io::stdin().lock().read_line(&mut typed);
        typed.ends_with('\n') && typed.trim() != "q"
    }
}

impl Hand for Asked {
    fn tie_wp(&mut self, high: bool) -> bool {
        Self::line(&format!("Tie WP to {}", paint(Tone::Strong, if high { "VCC" } else { "GND" })))
    }

    fn as_before(&mut self) {
        Self::line("Put WP back where it was before");
    }
}
