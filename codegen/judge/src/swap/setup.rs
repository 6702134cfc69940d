//! A simulated board, ready for a run: the part with its straps, the neighbours, the memory that the run begins with,
//! and the bytes that it is meant to leave there.

use pagewise_simulator::{ChipId, CycleTime, Level, PowerUp, Rig, RigConfig, Straps};

use super::part::{Part, levels};
use crate::board::{Board, Region, Strap};

/// What every byte outside the regions holds before a run: no region is meant to hold this byte.
pub const BACKGROUND: u8 = 0xFE;

/// How long the supply is off before a board starts, so that every part has forgotten its pointer.
const SUPPLY_OFF_NS: u64 = 1_000_000;

/// Regions that are written at run time.
pub(super) fn written(board: &Board) -> impl Iterator<Item = &Region> {
    board.regions.iter().filter(|region| region.writes_per_day > 0.0)
}

/// The byte meant for an offset. The period is a prime, so that no shift by a power of two goes unnoticed, and no
/// byte is 0xFF (erased) or the background.
#[must_use]
pub fn meant_for(offset: u32) -> u8 {
    (offset.wrapping_mul(7).wrapping_add(offset / 251 * 31) % 251) as u8
}

/// The bytes meant for a region.
pub(super) fn meant_in(region: &Region) -> Vec<u8> {
    (region.offset..region.offset + region.length).map(meant_for).collect()
}

/// A rig with the part in the board, and the memory it begins with. The trace is off.
pub(super) fn set_up(board: &Board, part: &Part, seed: u64) -> (Rig, ChipId, Vec<u8>) {
    let bus = &board.bus;
    let rig = Rig::new(RigConfig { scl_hz: bus.scl_khz * 1000, supply_mv: bus.supply_mv, seed });
    rig.set_trace(false);
    let mut before = vec![BACKGROUND; part.model.capacity as usize];
    for region in board.regions.iter().filter(|region| region.writes_per_day == 0.0) {
        fill(&mut before, region);
    }
    let chip = rig.attach_with(part.model.clone(), straps(board, part), PowerUp::Image(before.clone()));
    rig.set_write_cycle(chip, CycleTime::Max);
    for address in &board.bus.other_addresses {
        rig.attach_other(*address, "neighbour");
    }
    if let Some(us) = board.firmware.first_access_us {
        // Not `power_cycle`, which waits until the part is ready: here the firmware must.
        rig.set_supply_mv(0);
        rig.advance_ns(SUPPLY_OFF_NS);
        rig.set_supply_mv(bus.supply_mv);
        rig.advance_ns(u64::from(us) * 1000);
    }
    (rig, chip, before)
}

/// The whole array as it should be after the run that began with `before`.
pub(super) fn wanted(board: &Board, mut before: Vec<u8>) -> Vec<u8> {
    written(board).for_each(|region| fill(&mut before, region));
    before
}

/// Puts the bytes meant for a region into a memory, as far as it reaches.
fn fill(memory: &mut [u8], region: &Region) {
    for offset in region.offset..region.offset + region.length {
        if let Some(byte) = memory.get_mut(offset as usize) {
            *byte = meant_for(offset);
        }
    }
}

fn straps(board: &Board, part: &Part) -> Straps {
    let levels = levels(board, &part.model.device_bits);
    let level = |pin: usize| match board.straps[pin] {
        Strap::Open => Level::Open,
        Strap::Gnd | Strap::Vcc | Strap::Gpio if levels[pin] => Level::High,
        _ => Level::Low,
    };
    let wp = match board.wp {
        Strap::Gnd => Level::Low,
        Strap::Vcc => Level::High,
        Strap::Open => Level::Open,
        Strap::Gpio => wp_level(part, true),
    };
    Straps { a: [level(0), level(1), level(2)], wp }
}

/// The level at which the firmware's pin has WP active, or not.
pub(super) fn wp_level(part: &Part, protect: bool) -> Level {
    if part.model.write_protect.active_high == protect { Level::High } else { Level::Low }
}
