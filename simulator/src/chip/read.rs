//! Reading: the pointer, its wrap, and whole runs at once.

use crate::chip::{Chip, Phase};
use crate::event::Note;

impl Chip {
    /// The byte that the chip drives next, in the read that is going on; `None` if it does not drive.
    pub(crate) fn drive(&mut self, now: u64) -> Option<u8> {
        match self.phase {
            Phase::Read => {
                self.report_rollover(now);
                Some(self.cell(self.pointer))
            }
            Phase::Garbage => Some(self.rng.byte()),
            Phase::ReadRegion(i) => Some(self.drive_region(i)),
            _ => None,
        }
    }

    /// The controller's acknowledge bit after a byte that the chip drove.
    pub(crate) fn sent(&mut self, acked: bool) {
        match self.phase {
            Phase::Read => self.advance(),
            Phase::ReadRegion(i) => self.advance_region(i),
            _ => {}
        }
        if !acked {
            self.phase = Phase::Ignore;
        }
    }

    fn report_rollover(&mut self, now: u64) {
        if let Some(from) = self.rolled_from.take() {
            self.say(now, Note::ReadRollover { from, to: self.pointer });
        }
    }

    /// Moves the pointer on, inside its wrap block (R3).
    fn advance(&mut self) {
        let wrap = self.model.read_wrap;
        let next = self.pointer & !(wrap - 1) | (self.pointer + 1) & (wrap - 1);
        if next != self.pointer + 1 {
            self.rolled_from = Some(self.pointer);
        }
        self.pointer = next;
    }

    /// Whether [`Chip::read_run`] may stand for byte by byte.
    pub(crate) fn streams_reads(&self) -> bool {
        self.phase == Phase::Read
    }

    /// The same as `drive` and `sent(true)` for each byte; the first one starts at `now`, each takes `byte_ns`.
    pub(crate) fn read_run(&mut self, now: u64, byte_ns: u64, into: &mut [u8]) {
        let wrap = self.model.read_wrap;
        let mut done = 0;
        while done < into.len() {
            self.report_rollover(now + byte_ns * done as u64);
            let room = (wrap - (self.pointer & (wrap - 1))) as usize;
            let n = room.min(into.len() - done);
            let run = &mut into[done..done + n];
            self.array.read(self.pointer, run);
            self.lay_over(self.pointer, run);
            self.pointer += n as u32 - 1;
            self.advance();
            done += n;
        }
    }
}
