//! Word addresses with bits that must be 0, and the security command of parts that take such a bit for one.

use crate::chip::registers::Target;
use crate::chip::{Chip, Phase};
use crate::event::Note;
use crate::model::ByteRange;

impl Chip {
    /// B4: nothing is promised where a bit is set that must be 0. What is written is lost, the pointer stands anywhere.
    pub(super) fn take_forbidden_address(&mut self, now: u64, sent: u32) {
        self.say(now, Note::ForbiddenAddress { sent });
        self.pointer = self.rng.below(u64::from(self.model.capacity)) as u32;
        self.phase = Phase::Lost;
    }

    /// G3: a word address whose first byte is this makes a command of a write.
    pub(super) fn begin_security(&mut self, first: u32) {
        let block = self.model.capacity / 16;
        self.regions.securing = ByteRange { start: (first >> 1 & 0x0F) * block, len: 0 };
        (self.target, self.phase) = (Target::Security, Phase::Security);
    }

    /// The data byte of the command: 10xx nnnn protects so many blocks; whatever else it may be is acknowledged and lost.
    pub(super) fn security_byte(&mut self, byte: u8) -> bool {
        if self.latch.received == 0 && byte & 0xC0 == 0x80 {
            let len = u32::from(byte & 0x0F) * (self.model.capacity / 16);
            self.regions.securing.len = len.min(self.model.capacity - self.regions.securing.start);
        }
        self.latch.received += 1;
        true
    }

    /// STOP after the command: a write cycle sets the register, once.
    pub(super) fn security_stop(&mut self, now: u64) {
        let range = self.regions.securing;
        if self.latch.received == 0 {
            return;
        }
        if self.supply_mv < self.model.supply.write_min_mv {
            let (mv, min_mv) = (self.supply_mv, self.model.supply.write_min_mv);
            return self.say(now, Note::TooLowToWrite { mv, min_mv, offset: range.start, bytes: 1 });
        }
        let sets = range.len > 0 && self.regions.secured.is_none();
        self.say(now, Note::Secured { offset: range.start, bytes: if sets { range.len } else { 0 } });
        if sets {
            self.latch.open(0, 1);
            self.start_cycle(now);
        }
    }
}
