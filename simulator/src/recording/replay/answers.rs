//! What the recording itself says about the chips: contents of memory, whether the pointer is set, when cycles end.

use std::collections::HashSet;
use std::vec::Vec;

use crate::chip::{Chip, Phase};
use crate::event::ChipId;
use crate::recording::decode::BusByte;
use crate::recording::replay::found::{CycleSeen, Known, RecordingReplay};
use crate::world::World;

/// What is known of one chip.
#[derive(Debug, Clone, Default)]
struct Answer {
    /// A word address has been sent since power-up, so that the pointer is known.
    pointer_set: bool,
    /// Bytes whose contents are known: region and offset.
    known: HashSet<(Option<usize>, u32)>,
    /// Its write cycle that is not over yet: position in the list of all.
    open: Option<usize>,
}

pub(crate) struct Answers {
    chips: Vec<Answer>,
}

impl Answers {
    pub(crate) fn new(chips: &[Chip]) -> Self {
        Self { chips: std::vec![Answer::default(); chips.len()] }
    }

    /// The supply went or came: the pointer is the chip's own business again.
    pub(crate) fn supply(&mut self, on: bool) {
        self.chips.iter_mut().for_each(|answer| answer.pointer_set &= on);
    }

    /// A START or STOP cut a byte short (W5, R5). A chip that drives notices even where no bit is whole.
    pub(crate) fn cut(&mut self, world: &mut World, bits: u8) {
        let now = world.now;
        for (answer, chip) in self.chips.iter_mut().zip(&mut world.chips) {
            let drives = matches!(chip.phase, Phase::Read | Phase::ReadRegion(_) | Phase::Garbage);
            if drives || bits > 0 {
                chip.cut_byte(now, bits);
                answer.pointer_set &= !drives;
            }
        }
        world.hear_notes();
    }

    /// A write cycle that has just begun lasts until the recording says otherwise; what it writes is known from then on.
    pub(crate) fn hold_new_cycles(&mut self, world: &mut World, stop_ns: u64, found: &mut RecordingReplay) {
        let now = world.now;
        for (i, chip) in world.chips.iter_mut().enumerate() {
            let Some(cycle) = chip.cycle.as_mut().filter(|cycle| cycle.starts_ns == now) else { continue };
            cycle.ends_ns = u64::MAX;
            let region = match cycle.target {
                crate::chip::registers::Target::Region(region) => Some(region),
                _ => None,
            };
            let answer = &mut self.chips[i];
            answer.known.extend(chip.programming.bytes().map(|(offset, _)| (region, offset)));
            answer.open = Some(found.cycles.len());
            found.cycles.push(CycleSeen { chip: ChipId(i), stop_ns, refused_ns: None, answered_ns: None });
        }
    }

    /// The recorded answer to a device address says whether a cycle is over.
    pub(crate) fn bound_cycles(&mut self, world: &mut World, base: u64, byte: BusByte, found: &mut RecordingReplay) {
        let at_ns = byte.rises_ns[7];
        for (answer, chip) in self.chips.iter_mut().zip(&mut world.chips) {
            let (Some(cycle), Some(open)) = (chip.cycle, answer.open) else { continue };
            if chip.meant_by(byte.value).is_none() || !chip.refuses(cycle, byte.value) {
                continue;
            }
            let seen = &mut found.cycles[open];
            if byte.acked {
                seen.answered_ns = Some(at_ns);
                chip.cycle.as_mut().into_iter().for_each(|cycle| cycle.ends_ns = base + at_ns);
                answer.open = None;
            } else {
                seen.refused_ns = Some(at_ns);
            }
        }
    }

    /// Cycles that nobody asked about end as the part's own would, at the longest.
    pub(crate) fn end_cycles(world: &mut World) {
        for chip in &mut world.chips {
            let longest = chip.model.write_cycle.max_ns;
            if let Some(cycle) = chip.cycle.as_mut().filter(|cycle| cycle.ends_ns == u64::MAX) {
                cycle.ends_ns = cycle.starts_ns.saturating_add(longest);
            }
        }
    }

    /// A byte is complete: a word address may have come.
    pub(crate) fn after_byte(&mut self, world: &World) {
        for (answer, chip) in self.chips.iter_mut().zip(&world.chips) {
            answer.pointer_set |= matches!(chip.phase, Phase::Data | Phase::Dummy);
            if chip.is_fram() && chip.phase == Phase::Data && chip.latch.received > 0 {
                let written = chip.pointer.checked_sub(1).unwrap_or(chip.model.capacity - 1);
                answer.known.insert((None, written));
            }
        }
    }

    /// Whether a chip drives now although nothing has set its pointer.
    pub(crate) fn unset(&self, world: &World) -> bool {
        let mut drivers = world.responders.iter().filter(|i| world.chips[**i].phase == Phase::Read);
        drivers.any(|i| !self.chips[*i].pointer_set)
    }

    /// Takes a byte over that is read before it was written, if one chip alone drives it.
    pub(crate) fn adopt(&mut self, world: &mut World, byte: u8, found: &mut RecordingReplay) {
        let [only] = *world.responders else { return };
        let chip = &mut world.chips[only];
        let (region, offset) = match chip.phase {
            Phase::Read => (None, chip.pointer),
            Phase::ReadRegion(first) => match chip.region_pointer(first) {
                Some((region, offset)) => (Some(region), offset),
                None => return,
            },
            _ => return,
        };
        if !self.chips[only].known.insert((region, offset)) {
            return;
        }
        put(chip, region, offset, byte);
        found.known.push(Known { chip: ChipId(only), region, offset, byte });
    }
}

/// Puts a byte where a recording shows it.
pub(crate) fn put(chip: &mut Chip, region: Option<usize>, offset: u32, byte: u8) {
    match region {
        None => chip.array.set(offset, byte),
        Some(region) if (offset as usize) < chip.regions.data(region).len() => {
            chip.regions.set_byte(region, offset, byte);
        }
        Some(_) => {}
    }
}
