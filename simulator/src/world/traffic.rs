//! Conditions and bytes on the bus, at byte level: one by one, and whole runs at once.

use alloc::vec::Vec;

use crate::chip::Chip;
use crate::detector::{Finding, wrong_family};
use crate::event::{ChipId, EventKind};
use crate::hazard::Hazard;
use crate::time::ByteTimes;
use crate::world::World;

impl World {
    /// START, or repeated START inside a transfer.
    pub(crate) fn start(&mut self) {
        if let Some(due) = self.stop_due {
            self.run_to(due);
        }
        let repeated = self.in_transfer;
        if self.wire.is_some() {
            // Whoever measured edges before: now it is this controller that clocks.
            self.chips.iter_mut().for_each(|chip| chip.scl_hz = self.scl_hz);
        }
        let lead = if repeated { self.plan.period_ns } else { 0 };
        self.run_to(self.now + lead + self.plan.low_ns);
        self.start_edge(repeated);
        self.run_to(self.now + self.plan.high_ns);
    }

    /// SDA falls while SCL is high.
    pub(crate) fn start_edge(&mut self, repeated: bool) {
        let at = self.now;
        if self.trace.is_some() {
            self.lines.transfer(at, Some(self.plan));
        }
        for chip in &mut self.chips {
            chip.start(at);
        }
        self.hear_notes();
        self.start_seen(at, repeated);
    }

    /// Books a START: the stretch before it is over, a new one begins.
    pub(crate) fn start_seen(&mut self, at: u64, repeated: bool) {
        self.close_segment(true);
        self.responders.clear();
        for other in &mut self.others {
            other.selected = false;
        }
        self.in_transfer = true;
        self.segment.open(at, repeated);
        self.emit(at, if repeated { EventKind::RepeatedStart } else { EventKind::Start });
    }

    /// The byte after a START. Returns whether anybody answered.
    pub(crate) fn address(&mut self, control: u8) -> bool {
        self.address_at(control, self.plan.byte_from(self.now))
    }

    pub(crate) fn address_at(&mut self, control: u8, times: ByteTimes) -> bool {
        self.run_to(times.received);
        if let Some(sent) = self.faulty_byte(control, true) {
            let sent = self.on_the_wire(sent);
            for index in 0..self.chips.len() {
                if self.chips[index].receive(self.now, sent) {
                    self.responders.push(index);
                }
            }
            for other in &mut self.others {
                other.selected = other.address == sent >> 1;
            }
        } else {
            self.chips.iter_mut().for_each(Chip::miss);
        }
        self.hear_notes();
        self.run_to(times.acknowledged);
        let acked = self.after_address(times.begin, control);
        self.end_byte(times);
        acked
    }

    /// Books the answer to a device address: trace, conflict, detectors.
    pub(crate) fn after_address(&mut self, begin: u64, control: u8) -> bool {
        let others = self.others.iter().filter(|other| other.selected).count();
        let acked = !self.responders.is_empty() || others > 0;
        self.emit(begin, EventKind::Address { address: control >> 1, read: control & 1 == 1, acked });
        self.segment.addressed(control, acked, &self.responders);
        let together = self.responders.iter().all(|&i| self.chips[i].follows_together());
        if self.responders.len() + others > 1 && !together {
            self.report_conflict(begin, control >> 1);
        }
        if !acked && let Some(&(_, family)) = self.silent.iter().find(|(address, _)| *address == control >> 1) {
            let text = wrong_family::text(control >> 1, family);
            self.detectors.report_once(Finding { chip: None, at_ns: begin, hazard: Hazard::WrongFamily, text });
        }
        self.detectors.addressed(&self.segment, &self.chips);
        acked
    }

    fn report_conflict(&mut self, at_ns: u64, address: u8) {
        let chips = self.responders.iter().map(|&i| self.chips[i].model.name.as_str());
        let others = self.others.iter().filter(|other| other.selected).map(|other| other.name.as_str());
        let names: Vec<&str> = chips.chain(others).collect();
        let chip = self.responders.first().map(|&i| ChipId(i));
        self.detectors.conflict(at_ns, chip, address, &names);
        self.segment.conflict = true;
    }

    /// One byte to the chips. Returns the acknowledge bit.
    pub(crate) fn send(&mut self, byte: u8) -> bool {
        self.send_at(byte, self.plan.byte_from(self.now))
    }

    pub(crate) fn send_at(&mut self, byte: u8, times: ByteTimes) -> bool {
        self.run_to(times.received);
        let mut acked = false;
        if let Some(sent) = self.faulty_byte(byte, true) {
            let sent = self.on_the_wire(sent);
            acked = self.others.iter().any(|other| other.selected);
            for i in 0..self.responders.len() {
                acked |= self.chips[self.responders[i]].receive(self.now, sent);
            }
        } else {
            self.chips.iter_mut().for_each(Chip::miss);
        }
        self.hear_notes();
        self.run_to(times.acknowledged);
        self.segment.wrote(byte, acked);
        self.emit(times.begin, EventKind::Write { byte, acked });
        self.end_byte(times);
        acked
    }

    /// One byte from the chips; `ack` is the controller's acknowledge bit.
    pub(crate) fn receive(&mut self, ack: bool) -> u8 {
        self.receive_at(ack, self.plan.byte_from(self.now))
    }

    pub(crate) fn receive_at(&mut self, ack: bool, times: ByteTimes) -> u8 {
        let mut byte = if self.others.iter().any(|other| other.selected) { 0x00 } else { 0xFF };
        for i in 0..self.responders.len() {
            byte &= self.chips[self.responders[i]].drive(times.begin).unwrap_or(0xFF);
        }
        self.run_to(times.received);
        byte = self.faulty_byte(byte, false).unwrap_or(byte);
        byte = self.on_the_wire(byte);
        self.run_to(times.acknowledged);
        for i in 0..self.responders.len() {
            self.chips[self.responders[i]].sent(ack);
        }
        self.hear_notes();
        self.segment.read = true;
        self.emit(times.begin, EventKind::Read { byte, acked: ack });
        self.end_byte(times);
        byte
    }

    /// The next byte begins after the acknowledge bit, or when a device that stretches the low part lets go of SCL.
    fn end_byte(&mut self, times: ByteTimes) {
        self.run_to(times.end);
        let held = self.others.iter().filter(|other| other.selected).map(|other| other.stretch_ns).max();
        if let Some(more) = held.and_then(|ns| ns.checked_sub(self.plan.low_ns)) {
            self.run_to(self.now + more);
        }
    }

    /// STOP.
    pub(crate) fn stop(&mut self) {
        self.run_to(self.now + self.plan.period_ns);
        self.stop_edge();
    }

    /// SDA rises while SCL is high.
    pub(crate) fn stop_edge(&mut self) {
        let at = self.now;
        for chip in &mut self.chips {
            chip.stop(at);
        }
        self.hear_notes();
        self.stop_seen(at);
    }

    /// Books a STOP.
    pub(crate) fn stop_seen(&mut self, at: u64) {
        self.close_segment(false);
        self.in_transfer = false;
        self.responders.clear();
        self.emit(at, EventKind::Stop);
    }

    fn close_segment(&mut self, restarted: bool) {
        if !self.segment.is_open() {
            return;
        }
        self.segment.restarted = restarted;
        self.detectors.ended(&self.segment, &self.chips);
        self.ledger.ended(&self.segment, &self.chips);
        self.segment.close();
    }

    /// A byte as it arrives: with bits flipped where SCL is too fast and faults are on (P2).
    fn on_the_wire(&mut self, byte: u8) -> u8 {
        if !self.overclock_faults || !self.chips.iter().any(Chip::overclocked) {
            return byte;
        }
        let draw = self.rng.below(32);
        if draw < 8 { byte ^ 1 << draw } else { byte }
    }

    /// The one chip that may take or give whole runs of bytes without anybody noticing the difference.
    fn streaming(&self, len: usize) -> Option<usize> {
        let ends = self.now + self.plan.byte_ns() * len as u64;
        let calm = self.trace.is_none()
            && !self.overclock_faults
            && self.faults.is_none()
            && self.supply_ahead.front().is_none_or(|&(at, _)| at > ends)
            && !self.others.iter().any(|other| other.selected);
        match *self.responders {
            [only] if calm => Some(only),
            _ => None,
        }
    }

    /// Bytes to the chips; stops after the first that is not acknowledged. Returns how many were.
    pub(crate) fn send_all(&mut self, bytes: &[u8]) -> usize {
        let mut done = 0;
        while done < bytes.len() {
            let rest = &bytes[done..];
            if let Some(index) = self.streaming(rest.len())
                && self.chips[index].streams_writes()
            {
                let byte_ns = self.plan.byte_ns();
                self.chips[index].write_run(self.now + self.plan.received_ns(), byte_ns, rest);
                self.segment.wrote_all(rest);
                self.now += byte_ns * rest.len() as u64;
                self.hear_notes();
                return bytes.len();
            }
            if !self.send(bytes[done]) {
                return done;
            }
            done += 1;
        }
        done
    }

    /// Bytes from the chips; the last one is not acknowledged if `last` is set.
    pub(crate) fn receive_all(&mut self, into: &mut [u8], last: bool) {
        let count = into.len();
        let mut done = 0;
        if let Some(index) = self.streaming(count)
            && self.chips[index].streams_reads()
        {
            done = count.saturating_sub(1);
            let byte_ns = self.plan.byte_ns();
            self.chips[index].read_run(self.now, byte_ns, &mut into[..done]);
            self.segment.read = true;
            self.now += byte_ns * done as u64;
            self.hear_notes();
        }
        for (i, place) in into.iter_mut().enumerate().skip(done) {
            *place = self.receive(!(last && i + 1 == count));
        }
    }
}
