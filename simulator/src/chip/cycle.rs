//! The internal write cycle.

use crate::chip::Chip;
use crate::chip::registers::Target;
use crate::chip::running::{Cycle, CycleTime};
use crate::event::Note;
use crate::model::{BusyAnswer, CycleUnit, PartlyProtected, PointerAfterWrite, ProtectedAnswer};

impl Chip {
    /// Applies the write cycle if its end has come.
    pub(crate) fn settle(&mut self, now: u64) {
        if let Some(cycle) = self.cycle
            && now >= cycle.ends_ns
        {
            self.cycle = None;
            if cycle.sticks {
                self.commit(cycle.target);
            }
            self.say(cycle.ends_ns, Note::CycleEnd { page: self.programming.page });
        }
    }

    fn commit(&mut self, target: Target) {
        match target {
            Target::Array => {
                for (offset, byte) in self.programming.bytes() {
                    self.array.set(offset, byte);
                }
                self.heal_written();
            }
            Target::Region(i) => self.commit_region(i),
            Target::Security => self.regions.secured = Some(self.regions.securing),
        }
    }

    /// STOP after data: protection, supply, pointer, and the write cycle (W2, W6, W8, W9, P1).
    pub(crate) fn program(&mut self, now: u64) {
        let (offset, received) = (self.latch.first, self.latch.received);
        if let Target::Region(i) = self.target
            && self.model.regions[i].shares_pointer
        {
            let next = self.model.regions[i].word_address + self.latch.next();
            self.pointer = next & (self.model.capacity - 1);
            self.regions.above = next - self.pointer;
        } else if self.target == Target::Array {
            self.pointer = match self.model.pointer_after_write {
                PointerAfterWrite::WrappedInPage => self.latch.next(),
                PointerAfterWrite::LastPlusOne => (self.latch.last() + 1) & (self.model.capacity - 1),
            };
        }
        if self.supply_mv < self.model.supply.write_min_mv {
            let (mv, min_mv) = (self.supply_mv, self.model.supply.write_min_mv);
            self.say(now, Note::TooLowToWrite { mv, min_mv, offset, bytes: received });
            return;
        }
        self.look_at_wp(now);
        let runs = match self.target {
            Target::Array => self.drop_protected(now, offset),
            Target::Region(i) => self.drop_protected_region(now, i),
            Target::Security => false,
        };
        self.wp_times.doubted = false;
        if runs {
            self.start_cycle(now);
        }
    }

    /// Takes protected bytes out of the latch; returns whether a write cycle runs at all.
    fn drop_protected(&mut self, now: u64, offset: u32) -> bool {
        if self.unprotected_everywhere() && !self.wp_times.doubted {
            return true;
        }
        let pin = self.pin_cancels();
        let mut latch = core::mem::take(&mut self.latch);
        let dropped = latch.retain(|at| !self.protects(at, pin));
        let left = latch.count();
        let partly = left > 0 && self.model.write_protect.partial == PartlyProtected::UnprotectedOnly;
        if dropped > 0 && !partly {
            latch.clear();
        }
        self.latch = latch;
        if dropped == 0 {
            return true;
        }
        let bytes = if partly { dropped } else { dropped + left };
        self.say(now, Note::Protected { offset, bytes, partly, acked: true });
        partly || self.model.write_protect.answer == ProtectedAnswer::AckBusy
    }

    pub(crate) fn start_cycle(&mut self, now: u64) {
        let bytes = self.latch.count();
        let each = self.draw_cycle_ns();
        let lasts = match self.model.write_cycle.per {
            CycleUnit::Page => each,
            CycleUnit::Byte => each.saturating_mul(u64::from(bytes.max(1))),
        };
        let (lasts, sticks) = self.faulty_cycle(lasts);
        let page = self.latch.page;
        core::mem::swap(&mut self.latch, &mut self.programming);
        let ends_ns = now.saturating_add(lasts);
        self.cycle = Some(Cycle { starts_ns: now, ends_ns, control: self.control, target: self.target, sticks });
        self.say(now, Note::CycleStart { page, bytes, ends_ns });
        if self.target == Target::Array {
            self.count_wear(now);
        }
    }

    fn draw_cycle_ns(&mut self) -> u64 {
        let max_ns = self.model.write_cycle.max_ns_in(self.supply_mv, self.celsius);
        let typical_ns = self.model.write_cycle.typical_ns.min(max_ns);
        match self.cycle_time {
            CycleTime::Drawn => {
                let span = max_ns - typical_ns;
                typical_ns + if span == 0 { 0 } else { self.rng.below(span + 1) }
            }
            CycleTime::Typical => typical_ns,
            CycleTime::Max => max_ns,
            CycleTime::Exact(ns) => ns,
        }
    }

    /// W7 (axis): whether this control byte is refused inside this write cycle.
    pub(crate) fn refuses(&self, cycle: Cycle, control: u8) -> bool {
        match self.model.busy_answer {
            BusyAnswer::AnyAccess => true,
            BusyAnswer::WritesOnly => control & 1 == 0,
            BusyAnswer::SameControlByte => control == cycle.control,
        }
    }

    /// W7: a device address that is the chip's own, inside the write cycle. Returns the acknowledge bit.
    pub(crate) fn answer_while_busy(&mut self, now: u64, cycle: Cycle, control: u8) -> bool {
        let read = control & 1 == 1;
        if self.refuses(cycle, control) {
            self.say(now, Note::BusyRefused { read, left_ns: cycle.ends_ns - now });
            return false;
        }
        self.say(now, Note::BusyUndefined { read });
        self.phase = if read { super::Phase::Garbage } else { super::Phase::Lost };
        true
    }
}
