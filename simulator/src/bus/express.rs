//! The usual random read, the usual poll and the transfer that nobody answers on a quiet bus, without the bookkeeping
//! that would find nothing.
//!
//! Observably the same as step by step (`tests/fast_path.rs` compares them); what is left out is the work of observers
//! that have nothing to say about a legal random read, about acknowledge polling with a header, or about an address that
//! stays without an answer.

use embedded_hal::i2c::Operation;

use crate::chip::Chip;
use crate::chip::registers::Target;
use crate::world::World;

impl World {
    /// Does `[Write(header), Read(data)]` if it is such a read; otherwise does nothing and returns `false`.
    pub(super) fn express_read(&mut self, address: u8, operations: &mut [Operation<'_>]) -> bool {
        let [Operation::Write(header), Operation::Read(into)] = operations else { return false };
        if into.is_empty() || address > 0x7F || !self.is_quiet() {
            return false;
        }
        let (plan, begin) = (self.plan, self.now);
        let first_byte = begin + plan.period_ns;
        let Some((index, block)) = self.only_array_at(address) else { return false };
        let chip = &mut self.chips[index];
        chip.settle(first_byte + plan.received_ns());
        let Some(offset) = chip.plain_read_from(first_byte, block, header) else { return false };
        // Whom the START lets go.
        self.others.iter_mut().for_each(|other| other.selected = false);
        // Two device addresses and the header, between two STARTs.
        let data = first_byte + 2 * plan.period_ns + plan.byte_ns() * (2 + header.len() as u64);
        let chip = &mut self.chips[index];
        chip.read_plainly(address << 1 | 1, block, offset);
        chip.read_run(data, plan.byte_ns(), into);
        self.now = data + plan.byte_ns() * into.len() as u64 + plan.period_ns;
        self.count_short(1);
        self.hear_notes();
        true
    }

    /// Does `[Write(header)]` if it is a poll that a chip in its write cycle refuses; otherwise does nothing and returns
    /// `false`.
    pub(super) fn express_poll(&mut self, address: u8, operations: &[Operation<'_>]) -> bool {
        let [Operation::Write(header)] = operations else { return false };
        if address > 0x7F || !self.is_quiet() {
            return false;
        }
        let (plan, begin) = (self.plan, self.now);
        let first_byte = begin + plan.period_ns;
        let end = first_byte + plan.byte_ns() + plan.period_ns;
        let Some((index, _)) = self.only_array_at(address) else { return false };
        if !self.chips[index].expects_refused_poll(first_byte, end, address, header) {
            return false;
        }
        self.others.iter_mut().for_each(|other| other.selected = false);
        self.now = end;
        self.count_short(1);
        true
    }

    /// Does a transfer that nobody answers, which is a device address and a STOP; otherwise does nothing and returns
    /// `false`.
    pub(super) fn express_unanswered(&mut self, address: u8, operations: &[Operation<'_>]) -> bool {
        let control = match operations.first() {
            Some(Operation::Write(bytes)) if !bytes.is_empty() => address << 1,
            Some(Operation::Read(buffer)) if !buffer.is_empty() => address << 1 | 1,
            _ => return false,
        };
        if address > 0x7F || !self.is_quiet() || !self.is_unanswered(control) {
            return false;
        }
        let (plan, begin) = (self.plan, self.now);
        let first_byte = begin + plan.period_ns;
        let end = first_byte + plan.byte_ns() + plan.period_ns;
        for chip in &mut self.chips {
            chip.start(begin + plan.low_ns);
            chip.receive(first_byte + plan.received_ns(), control);
            chip.stop(end);
        }
        self.others.iter_mut().for_each(|other| other.selected = false);
        self.now = end;
        self.count_short(1);
        self.hear_notes();
        true
    }

    /// Lets polls pass at once that are refused for sure, each followed by `pause_ns`, for at most `within_ns` in all, after one
    /// of them was done and before another one is. Without a header a poll is a read of one byte.
    pub(crate) fn pass_polls(&mut self, address: u8, header: &[u8], pause_ns: u64, within_ns: u64) {
        let booked = self.detectors.awaits_access();
        if address > 0x7F || !self.is_undisturbed() {
            return;
        }
        let begin = self.now;
        let first_byte = begin + self.plan.period_ns;
        let poll_ns = 2 * self.plan.period_ns + self.plan.byte_ns();
        let control = address << 1 | u8::from(header.is_empty());
        let refused_until = if !booked && self.is_unanswered(control) {
            u64::MAX
        } else {
            let busy = self.only_chip_at(address).map(|(index, _, _)| &self.chips[index]);
            let busy = busy.filter(|chip| chip.nothing_to_report(first_byte));
            let cycle = busy.and_then(|chip| chip.cycle.filter(|cycle| chip.refuses(*cycle, control)));
            cycle.map_or(begin, |cycle| cycle.ends_ns)
        };
        let last_start = refused_until.saturating_sub(begin).saturating_sub(poll_ns);
        let each = poll_ns + pause_ns;
        let polls = last_start.div_ceil(each).min(within_ns / each);
        self.pass(polls * each);
        self.count_short(polls);
    }

    fn count_short(&mut self, calls: u64) {
        self.calls += calls;
        self.short_calls += calls;
    }

    /// Nobody watches single bytes, nothing disturbs them, and nothing is left over from before.
    fn is_quiet(&self) -> bool {
        self.is_undisturbed() && !self.detectors.awaits_access()
    }

    /// The same, but for what the detectors wait for.
    fn is_undisturbed(&self) -> bool {
        self.trace.is_none()
            && self.faults.is_none()
            && self.wire.is_none()
            && self.stop_due.is_none()
            && self.held_by.is_none()
            && self.supply_ahead.is_empty()
            && self.silent.is_empty()
            && !self.overclock_faults
            && !self.controller_hangs
            && !self.in_transfer
            && self.supply_mv > 0
    }

    /// Nobody answers this device address on a quiet bus, and nobody has anything to report about it.
    fn is_unanswered(&self, control: u8) -> bool {
        let supply_mv = self.supply_mv;
        let silent = |(index, chip): (usize, &Chip)| {
            // That the supply is too low is reported once.
            let too_low = || supply_mv < chip.model.supply.read_min_mv && self.detectors.has_told_undervoltage(index);
            chip.meant_by(control).is_none() || too_low()
        };
        self.chips.iter().enumerate().all(silent) && self.others.iter().all(|other| other.address != control >> 1)
    }

    /// The only device that this address means, with what it means there and its block-select bits.
    fn only_chip_at(&self, address: u8) -> Option<(usize, Target, u32)> {
        if self.others.iter().any(|other| other.address == address) {
            return None;
        }
        let meant_by =
            |(index, chip): (usize, &Chip)| chip.meant_by(address << 1).map(|(target, block)| (index, target, block));
        let mut meant = self.chips.iter().enumerate().filter_map(meant_by);
        let first = meant.next()?;
        meant.next().is_none().then_some(first)
    }

    fn only_array_at(&self, address: u8) -> Option<(usize, u32)> {
        let (index, target, block) = self.only_chip_at(address)?;
        (target == Target::Array).then_some((index, block))
    }
}

impl Chip {
    /// Where a random read with this header begins if it is plain: answered, inside the array, at a legal speed, nothing
    /// to report.
    fn plain_read_from(&self, now: u64, block: u32, header: &[u8]) -> Option<u32> {
        let plain = !header.is_empty()
            && header.len() == usize::from(self.model.word_address_bytes)
            && self.cycle.is_none()
            && self.nothing_to_report(now);
        if !plain {
            return None;
        }
        let offset = header.iter().fold(block, |offset, byte| offset << 8 | u32::from(*byte));
        (offset < self.model.capacity).then_some(offset)
    }

    /// What is left of such a read when its second device address was answered.
    fn read_plainly(&mut self, control: u8, block: u32, offset: u32) {
        self.rolled_from = None;
        (self.control, self.target, self.block) = (control, Target::Array, block);
        self.point_at(offset);
    }

    /// Whether a poll with this header is refused from its first to its last moment, with nothing to report.
    fn expects_refused_poll(&self, now: u64, end: u64, address: u8, header: &[u8]) -> bool {
        header.len() == usize::from(self.model.word_address_bytes)
            && !header.is_empty()
            && self.cycle.is_some_and(|cycle| cycle.ends_ns > end && self.refuses(cycle, address << 1))
            && self.nothing_to_report(now)
    }

    fn nothing_to_report(&self, now: u64) -> bool {
        self.is_awake(now)
            && self.supply_mv >= self.model.supply.read_min_mv
            && self.ignored_address_bits() & 0x07 == 0
            && self.model.regions.is_empty()
            && self.within_conditions()
    }
}
