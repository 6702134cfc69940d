//! The clock of the production line's bus.

use std::time::Instant;

use crate::probe::Clock;
use pagewise_line::LineDelay;

impl Clock for LineDelay {
    fn now_ns(&mut self) -> u64 {
        match self {
            Self::Simulated(delay) => delay.now_ns(),
            Self::Real => {
                static BEGUN: std::sync::OnceLock<Instant> = std::sync::OnceLock::new();
                BEGUN.get_or_init(Instant::now).elapsed().as_nanos() as u64
            }
        }
    }
}
