//! Faults at their places: on the bus, in the chips, at the lines.

use crate::chip::disturb::CycleFault;
use crate::event::Line;
use crate::fault::{BusFaults, Fault, FaultHit, FaultKind, Faults, UnknownPlace};
use crate::rng::Rng;
use crate::world::World;

impl World {
    pub(crate) fn set_faults(&mut self, faults: Faults) -> Result<(), UnknownPlace> {
        for fault in &faults.script {
            self.check_place(fault)?;
        }
        self.settle();
        self.clear_faults();
        for chip in &mut self.chips {
            (chip.disturb.lie, chip.disturb.long, chip.disturb.seed) = (faults.lie, faults.long, faults.seed);
        }
        for fault in &faults.script {
            match *fault {
                Fault::WriteDoesNotStick { chip, cycle } => {
                    self.chips[chip.0].disturb.by_cycle.push((cycle, CycleFault::Lie));
                }
                Fault::LongCycle { chip, cycle, lasts_ns } => {
                    self.chips[chip.0].disturb.by_cycle.push((cycle, CycleFault::Lasts(lasts_ns)));
                }
                Fault::RestFlip { chip, offset, mask } => self.chips[chip.0].disturb.flip(offset, mask),
                Fault::StuckBits { chip, offset, mask, value } => {
                    self.chips[chip.0].disturb.stick(offset, mask, value);
                }
                _ => {}
            }
        }
        self.faults = Some(BusFaults { faults, bytes: 0 });
        self.load_line_faults();
        Ok(())
    }

    pub(crate) fn clear_faults(&mut self) {
        self.faults = None;
        for chip in &mut self.chips {
            chip.disturb.clear_faults();
        }
        self.clear_line_faults();
    }

    fn check_place(&self, fault: &Fault) -> Result<(), UnknownPlace> {
        let (chip, offset) = match *fault {
            Fault::WriteDoesNotStick { chip, .. } | Fault::LongCycle { chip, .. } => (chip, 0),
            Fault::RestFlip { chip, offset, .. } | Fault::StuckBits { chip, offset, .. } => (chip, offset),
            _ => return Ok(()),
        };
        match self.chips.get(chip.0) {
            None => Err(UnknownPlace(alloc::format!("{chip}, the rig has {}", self.chips.len()))),
            Some(c) if offset >= c.model.capacity => Err(UnknownPlace(alloc::format!(
                "offset 0x{offset:04X} of {chip}, which has {} bytes",
                c.model.capacity
            ))),
            Some(_) => Ok(()),
        }
    }

    /// The byte as it arrives (`None` if the chips miss it); counts bytes.
    pub(crate) fn faulty_byte(&mut self, byte: u8, may_be_missed: bool) -> Option<u8> {
        let Some(state) = &mut self.faults else { return Some(byte) };
        let number = state.bytes;
        state.bytes += 1;
        let faults = &state.faults;
        let missed = faults.script.iter().any(|f| matches!(f, Fault::Nack { byte } if *byte == number))
            || faults.nack.holds_at(faults.seed ^ 0x4E41, number);
        if missed && may_be_missed {
            self.hit(FaultKind::Nack);
            return None;
        }
        let scripted = faults.script.iter().find_map(|f| match f {
            Fault::Flip { byte, mask } if *byte == number => Some(*mask),
            _ => None,
        });
        let drawn = faults.flip.holds_at(faults.seed ^ 0x464C, number).then(|| 1 << (Rng::new(number).below(8)));
        match scripted.or(drawn) {
            Some(mask) => {
                self.hit(FaultKind::Flip);
                Some(byte ^ mask)
            }
            None => Some(byte),
        }
    }

    /// Until when a line is held low by a fault, if it is now.
    pub(crate) fn line_held_until(&self) -> Option<u64> {
        let script = &self.faults.as_ref()?.faults.script;
        let held = script.iter().filter_map(|fault| match *fault {
            Fault::SdaLow { from_ns, until_ns } | Fault::SclLow { from_ns, until_ns } => Some((from_ns, until_ns)),
            _ => None,
        });
        held.filter(|(from, until)| (*from..*until).contains(&self.now)).map(|(_, until)| until).max()
    }

    pub(crate) fn fault_script(&self) -> &[Fault] {
        self.faults.as_ref().map_or(&[], |state| &state.faults.script)
    }

    /// Whether a fault pulls this line low now.
    pub(crate) fn holds_line(&self, line: Line) -> bool {
        let Some(state) = &self.faults else { return false };
        state.faults.script.iter().any(|fault| match *fault {
            Fault::SdaLow { from_ns, until_ns } if line == Line::Sda => (from_ns..until_ns).contains(&self.now),
            Fault::SclLow { from_ns, until_ns } if line == Line::Scl => (from_ns..until_ns).contains(&self.now),
            _ => false,
        })
    }

    pub(crate) fn hit(&mut self, kind: FaultKind) {
        self.fault_hits.push(FaultHit { at_ns: self.now, kind });
    }
}
