//! What the world does for a controller: lines that are not free, bookkeeping of whole accesses, recovery.

use alloc::vec::Vec;

use embedded_hal::i2c::Operation;

use crate::bus::BusFault;
use crate::detector::{Access, Finding};
use crate::event::{ChipId, Note};
use crate::fault::FaultKind;
use crate::hazard::Hazard;
use crate::ledger::Attempt;
use crate::world::World;

impl World {
    /// Whether a START is possible. With a line held low by a fault the controller gives up after a byte time.
    pub(crate) fn line_free(&mut self) -> Result<(), BusFault> {
        if self.supply_mv == 0 {
            return Err(BusFault::NoSupply);
        }
        if self.controller_hangs {
            return Err(BusFault::Hung);
        }
        if self.held_by.is_some() {
            return Err(BusFault::SdaHeld);
        }
        if self.line_held_until().is_some() {
            self.hit(FaultKind::LineHeld);
            self.run_to(self.now + self.plan.byte_ns());
            return Err(BusFault::SdaHeld);
        }
        Ok(())
    }

    pub(crate) fn begin_access(&mut self) {
        self.refused_in_access.clear();
    }

    pub(crate) fn book_access(
        &mut self,
        address: u8,
        operations: &[Operation<'_>],
        refused: &[(usize, u64)],
        done: bool,
    ) {
        let (write_bytes, read_bytes, digest) = digest(address, operations);
        for index in 0..self.chips.len() {
            let left = refused.iter().find(|(chip, _)| *chip == index).map(|(_, left)| *left);
            let answered = self.segment.responders.contains(&index);
            if left.is_none() && !(answered && done) {
                continue;
            }
            let chip = &self.chips[index];
            let header = usize::from(chip.model.word_address_bytes);
            let carries_data = read_bytes > 0 || write_bytes > header;
            let access = Access { client: self.client, digest, write_bytes, read_bytes, carries_data };
            self.detectors.accessed(index, &chip.model.name, &access, left, self.segment.at_ns);
            if left.is_some() && read_bytes == 0 && carries_data {
                let mut raw = Vec::with_capacity(write_bytes);
                for op in operations {
                    if let Operation::Write(bytes) = op {
                        raw.extend_from_slice(bytes);
                    }
                }
                let (control, lost_to) = (address << 1, Some(Hazard::BusyAccess));
                self.ledger.push(Attempt { chip: index, control, raw, lost_to });
            }
        }
    }

    /// The bus layer put a STOP where the program wanted one write.
    pub(crate) fn report_broken(&mut self, address: u8, what: &str) {
        let at_ns = self.now;
        for index in 0..self.chips.len() {
            if self.chips[index].meant_by(address << 1).is_some() {
                let text = alloc::format!("{}: the bus layer put {what}", self.chips[index].model.name);
                let chip = Some(ChipId(index));
                self.detectors.report(Finding { chip, at_ns, hazard: Hazard::RestartAbort, text });
            }
        }
    }

    /// A read without bytes: the chip already drives the first bit, so STOP is possible only if that bit is 1.
    pub(crate) fn empty_read(&mut self) -> Result<(), BusFault> {
        let at = self.now;
        for i in 0..self.responders.len() {
            let index = self.responders[i];
            let Some(byte) = self.chips[index].drive(at) else { continue };
            if byte & 0x80 == 0 {
                self.chips[index].say(at, Note::HoldsSda);
                self.held_by = Some(index);
            } else {
                self.chips[index].cut_byte(at, 1);
            }
        }
        self.hear_notes();
        if self.held_by.is_some() { Err(BusFault::SdaHeld) } else { Ok(()) }
    }

    pub(crate) fn interrupted_read(
        &mut self,
        address: u8,
        header: &[u8],
        bytes: usize,
        bits: u8,
    ) -> Result<(), BusFault> {
        self.line_free()?;
        if !header.is_empty() {
            self.start();
            if !self.address(address << 1) {
                self.stop();
                return Err(BusFault::AddressNack);
            }
            self.send_all(header);
        }
        self.start();
        if !self.address(address << 1 | 1) {
            self.stop();
            return Err(BusFault::AddressNack);
        }
        for _ in 0..bytes {
            self.receive(true);
        }
        self.stop_clocking(bits);
        Ok(())
    }

    /// The controller is reset: after `bits` bits (0 to 7) of the next byte SCL stays high and nothing more comes. A chip
    /// that drives a 0 then holds SDA.
    pub(crate) fn stop_clocking(&mut self, bits: u8) {
        let bits = bits & 7;
        self.run_to(self.now + self.plan.period_ns * u64::from(bits));
        for i in 0..self.responders.len() {
            let index = self.responders[i];
            let Some(byte) = self.chips[index].drive(self.now) else { continue };
            if byte << bits & 0x80 == 0 {
                self.chips[index].say(self.now, Note::HoldsSda);
                self.held_by = Some(index);
            } else {
                self.chips[index].cut_byte(self.now, bits);
            }
        }
        self.hear_notes();
    }

    pub(crate) fn recover(&mut self) {
        self.controller_hangs = false;
        if let Some(index) = self.held_by.take() {
            self.run_to(self.now + self.plan.byte_ns());
            self.chips[index].sent(false);
            self.hear_notes();
        }
        self.start();
        self.stop();
    }
}

/// Bytes written, bytes read, and a number that is equal for equal accesses.
fn digest(address: u8, operations: &[Operation<'_>]) -> (usize, usize, u64) {
    let (mut write_bytes, mut read_bytes) = (0, 0);
    let mut digest = 0xCBF2_9CE4_8422_2325_u64;
    let mut mix = |byte: u8| digest = (digest ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01B3);
    mix(address);
    for op in operations {
        match op {
            Operation::Write(bytes) => {
                write_bytes += bytes.len();
                bytes.iter().for_each(|byte| mix(*byte));
            }
            Operation::Read(buffer) => {
                read_bytes += buffer.len();
                buffer.len().to_le_bytes().into_iter().for_each(&mut mix);
            }
        }
    }
    (write_bytes, read_bytes, digest)
}
