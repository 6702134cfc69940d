//! The part on the bench once its word-address bytes are known: markers in the scratch range, and what they show.

use crate::place::{Scratch, Window};
use crate::probe::{Probe, Trouble};

/// Bytes of a marker.
pub(crate) const MARK: u32 = 8;

/// What is measured, where it may be written, and what was shown so far.
pub(crate) struct Bench<'p, 'b> {
    pub(crate) probe: &'p mut Probe<'b>,
    pub(crate) window: Window,
    pub(crate) scratch: Scratch,
    /// Device addresses that answered.
    pub(crate) answers: Vec<u8>,
    /// Its own other addresses that mean the same bytes.
    pub(crate) aliases: Vec<u8>,
    /// Its own other addresses that mean other bytes.
    pub(crate) blocks: Vec<u8>,
    /// Markers made so far.
    made: u32,
}

impl<'p, 'b> Bench<'p, 'b> {
    pub(crate) fn new(probe: &'p mut Probe<'b>, window: Window, scratch: Scratch, answers: &[u8]) -> Self {
        let answers = answers.to_vec();
        Self { probe, window, scratch, answers, aliases: Vec::new(), blocks: Vec::new(), made: 0 }
    }

    /// New bytes: neighbours differ, and so does each from the one at its place in the last ones.
    pub(crate) fn fresh(&mut self, bytes: u32) -> Vec<u8> {
        self.made += 1;
        let round = self.made;
        // 149 is odd, so that 256 bytes in a row all differ; the upper part keeps longer runs from repeating.
        (0..bytes).map(|at| ((at * 149) ^ ((at >> 8) * 37)).wrapping_add(round * 91 + 17) as u8).collect()
    }

    /// A new marker at the beginning of the scratch range; `None` where the part does not store it.
    pub(crate) fn mark(&mut self) -> Result<Option<Vec<u8>>, Trouble> {
        let marker = self.fresh(MARK);
        let at = self.scratch.start;
        let stored = self.probe.lay(self.window, at, &marker)? && self.probe.peek(self.window, at, MARK)? == marker;
        Ok(stored.then_some(marker))
    }

    /// The same window at another device address.
    pub(crate) fn seen_at(&self, device: u8) -> Window {
        Window { device, ..self.window }
    }
}
