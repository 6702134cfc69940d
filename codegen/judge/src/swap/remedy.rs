//! The settings and straps with which a part would serve: what "reconfigure" and "rework" come down to.

use crate::board::{Board, Firmware, Strap, Wait, WriteShape};
use pagewise_part::card::{Busy, Card};

/// The board's firmware with its settings changed to suit the part: address, page, wait, SCL rate, cuts.
#[must_use]
pub fn reconfigured(board: &Board, new: &Card) -> Board {
    let mut changed = board.clone();
    let Ok(suits) = new.parameters(board.levels_for(new)) else { return changed };
    let old = &board.firmware;
    let needed_us = new.longest_write_us_at(board.bus.supply_mv);
    let rate = new.scl_khz_at(board.bus.supply_mv);
    if rate > 0 {
        changed.bus.scl_khz = board.bus.scl_khz.min(rate).max(new.min_scl_khz);
    }
    let wait = match old.wait {
        Wait::Fixed { us } => Wait::Fixed { us: us.max(needed_us) },
        Wait::PollByRead { limit_us } if new.busy_answer.value == Busy::AnyAccess || suits.word_address_bytes == 0 => {
            Wait::PollByRead { limit_us: limit_us.max(needed_us) }
        }
        Wait::Poll { limit_us } | Wait::PollByRead { limit_us } => Wait::Poll { limit_us: limit_us.max(needed_us) },
    };
    let cut = old.read_cut_bytes.unwrap_or(u32::MAX).min(suits.sequential_read_bytes);
    changed.firmware = Firmware {
        device_address: suits.device_address,
        word_address_bytes: suits.word_address_bytes,
        block_select_bits: suits.block_select_bits,
        block_select_shift: suits.block_select_shift,
        page_bytes: suits.page_bytes,
        wait,
        max_transfer_bytes: old.max_transfer_bytes.map(|limit| limit.max(u32::from(suits.word_address_bytes) + 1)),
        write_shape: match old.write_shape {
            WriteShape::TwoRestarted => WriteShape::OneBuffer,
            shape => shape,
        },
        read_cut_bytes: (cut < suits.capacity_bytes).then_some(cut),
        reads_on_after_write: false,
        first_access_us: old.first_access_us.map(|us| us.max(new.power_up_us.value)),
    };
    changed
}

/// The board with its straps changed so that the part answers alone and can be written, if any straps do that.
#[must_use]
pub fn reworked(board: &Board, new: &Card) -> Option<Board> {
    let wp = if new.wp_active_high.value { Strap::Gnd } else { Strap::Vcc };
    let mut best: Option<(u32, Board)> = None;
    for choice in 0..8u8 {
        let mut changed = board.clone();
        for pin in 0..3u8 {
            let high = choice >> pin & 1 == 1;
            changed.straps[usize::from(pin)] = if high { Strap::Vcc } else { Strap::Gnd };
        }
        if board.wp != Strap::Gpio {
            changed.wp = wp;
        }
        let levels = changed.pin_levels();
        let tied = new.required_straps.iter().all(|(pin, high)| levels[usize::from(*pin)] == *high);
        let alone = conflicts(new, &changed).is_empty();
        let moved = (0..3).filter(|pin| changed.straps[*pin] != board.straps[*pin]).count() as u32;
        if tied && alone && best.as_ref().is_none_or(|(least, _)| moved < *least) {
            best = Some((moved, changed));
        }
    }
    best.map(|(_, changed)| reconfigured(&changed, new))
}

/// Addresses of the part that another device on the bus answers too.
#[must_use]
pub fn conflicts(new: &Card, board: &Board) -> Vec<u8> {
    let answers = new.answers(board.levels_for(new));
    board.bus.other_addresses.iter().copied().filter(|address| answers.contains(address)).collect()
}
