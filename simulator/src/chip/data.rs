//! Data bytes of a write: into the page latch, or straight into FRAM-like cells.

use crate::chip::registers::Target;
use crate::chip::{Chip, Phase};
use crate::event::Note;
use crate::model::ProtectedAnswer;

impl Chip {
    /// W1, W8: one data byte into the latch.
    pub(crate) fn data(&mut self, now: u64, byte: u8) -> bool {
        if self.latch.received == 0 {
            self.wp_seen_active = self.wp_active();
        }
        let offset = self.latch.next();
        if self.refuses_data(offset) {
            let partly = self.latch.received > 0;
            self.say(now, Note::Protected { offset, bytes: 1, partly, acked: false });
            self.phase = Phase::Refused;
            return false;
        }
        if self.latch.about_to_wrap() {
            let page = self.latch.page_size();
            self.say(now, Note::PageWrap { meant: offset + page, landed: offset, page });
        }
        self.latch.push(byte);
        true
    }

    /// Whether this data byte is answered with NACK because it is protected.
    fn refuses_data(&self, offset: u32) -> bool {
        match self.target {
            Target::Array => {
                self.model.write_protect.answer == ProtectedAnswer::NackData && self.protects(offset, self.wp_active())
            }
            Target::Region(i) => self.region_locked(i),
            Target::Security => false,
        }
    }

    /// W10: FRAM-like cells take each byte as it comes.
    pub(crate) fn store_at_once(&mut self, now: u64, byte: u8) -> bool {
        let offset = self.pointer;
        self.latch.received += 1;
        if self.latch.received > 1 && offset == 0 {
            self.say(now, Note::ArrayWrap);
        }
        self.pointer = (offset + 1) & (self.model.capacity - 1);
        if self.supply_mv < self.model.supply.write_min_mv {
            let (mv, min_mv) = (self.supply_mv, self.model.supply.write_min_mv);
            self.say(now, Note::TooLowToWrite { mv, min_mv, offset, bytes: 1 });
            return true;
        }
        if self.protects(offset, self.wp_active()) {
            let acked = self.model.write_protect.answer != ProtectedAnswer::NackData;
            self.say(now, Note::Protected { offset, bytes: 1, partly: false, acked });
            if !acked {
                self.phase = Phase::Refused;
            }
            return acked;
        }
        self.array.set(offset, byte);
        true
    }

    /// Whether [`Chip::write_run`] may stand for byte by byte.
    pub(crate) fn streams_writes(&self) -> bool {
        self.phase == Phase::Data
            && !self.is_fram()
            && self.target == Target::Array
            && (self.model.write_protect.answer != ProtectedAnswer::NackData || self.unprotected_everywhere())
    }

    /// The same as `receive` for each byte; the first one is complete at `now`, each next one `byte_ns` later.
    pub(crate) fn write_run(&mut self, now: u64, byte_ns: u64, bytes: &[u8]) {
        let mut done = 0;
        while done < bytes.len() {
            let n = (self.latch.room() as usize).min(bytes.len() - done);
            // The first byte looks at WP, and bytes past the end of the page wrap: both one by one.
            if n == 0 || self.latch.received == 0 {
                self.data(now + byte_ns * done as u64, bytes[done]);
                done += 1;
            } else {
                self.latch.push_slice(&bytes[done..done + n]);
                done += n;
            }
        }
    }
}
