use pagewise_simulator::Hazard;

use super::Rule;
use super::answers::{Seat, place};
use super::transfers::Cuts;
use crate::board::{Firmware, Region};
use crate::swap::{Case, Change, Finding, Verdict};
use pagewise_part::card::Role;

pub(super) const RULE: Rule = Rule { id: "block-select", check };

/// Compares where the firmware puts block-select bits with where the part looks for them, over the transfers that it makes: block
/// bits that the part ignores make blocks fall on each other; bits elsewhere reach other blocks or nobody.
fn check(case: &Case<'_>) -> Vec<Finding> {
    let (board, new) = (case.board, &case.new);
    let firmware = &board.firmware;
    let seat = Seat::on(board, new);
    // Other rules speak for these.
    let reached = u64::from(board.used_bytes()) <= seat.reach() && seat.block(firmware.device_address).is_some();
    if firmware.word_address_bytes != new.word_address_bytes.value || !reached {
        return Vec::new();
    }
    let width = 8 * u32::from(new.word_address_bytes.value);
    let blocks = board.regions.iter().flat_map(|region| {
        let last = (region.offset + region.length - 1) >> width;
        (region.offset >> width..=last).filter(move |block| sends(firmware, region, *block, width))
    });
    let mut sent = blocks.map(|block| (block, sent_for(firmware, block)));
    let Some((block, address)) = sent.find(|(block, sent)| seat.block(*sent) != Some(*block)) else {
        return Vec::new();
    };
    let found = match seat.block(address) {
        Some(other) => format!("the part takes it for block {other}"),
        None => "the part does not answer it".to_owned(),
    };
    let text = format!("for block {block} the firmware sends {address:#04x}; {found} ({})", seat.row());
    let roles = new.device_bits();
    let bits = roles.iter().filter(|role| matches!(role, Role::Block(_))).count() as u8;
    let shift = roles.iter().rev().position(|role| *role == Role::Block(0)).unwrap_or(0) as u8;
    let place = place(board, new);
    let at = place.map_or_else(String::new, |place| format!(", device address {:#04x}", place.address));
    let where_ = if bits == 0 { String::new() } else { format!(", the lowest in bit {shift} of the device address") };
    let remedy = format!("use {bits} block-select bit(s){where_}{at}");
    let finding = Finding::new(RULE.id, Verdict::Reconfigure, &new.address_bits, text, remedy);
    let changes = place.into_iter().flat_map(|place| place.changes(board)).chain([Change::BlockSelect(bits, shift)]);
    vec![finding.hazard(Hazard::BlockAlias).change(changes)]
}

/// Whether the firmware sends an address for a block at all: a transfer that begins before it goes on into it without.
fn sends(firmware: &Firmware, region: &Region, block: u32, width: u32) -> bool {
    let (from, to) = (block << width, (block + 1) << width);
    let written = region.writes_per_day > 0.0 && Cuts::of_writes(firmware).starts_in(region, from, to);
    written || Cuts::of_reads(firmware).starts_in(region, from, to)
}

/// The device address that the firmware sends for a block; it drops block bits that it has no place for.
pub(super) fn sent_for(firmware: &Firmware, block: u32) -> u8 {
    let known = block % (1 << firmware.block_select_bits);
    firmware.device_address + ((known as u8) << firmware.block_select_shift)
}
