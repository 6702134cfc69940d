//! Whether the addresses that a card describes reach its array, each byte once.

use crate::card::role::{self, Role};
use pagewise_base::form::Document;

/// Word-address bytes, where the capacity leaves no choice: above 2048 bytes one byte does not reach the array with all three
/// low bits of the device address as block-select bits, and up to 65,536 bytes a third one would carry no address at all.
pub(super) fn word_bytes(capacity: u32, code: &[Role; 4]) -> Option<u8> {
    let blocks_in_code = code.iter().any(|role| matches!(role, Role::Block(_)));
    (!blocks_in_code && (2049..=65_536).contains(&capacity)).then_some(2)
}

/// Block-select bits that must ride in the lower three bits of the device address.
pub(super) fn blocks_needed(capacity: u32, bytes: u8, code: &[Role; 4], banked: bool) -> u8 {
    let in_code = code.iter().filter(|role| matches!(role, Role::Block(_))).count() as u32;
    capacity.trailing_zeros().saturating_sub(8 * u32::from(bytes) + in_code + u32::from(banked)) as u8
}

pub(super) fn check(form: &Document<'_>, capacity: u32, bytes: u8, code: &[Role; 4], low: &[Role; 3], banked: bool) {
    let all: Vec<Role> = code.iter().chain(low).copied().collect();
    let mut blocks: Vec<u8> =
        all.iter().filter_map(|role| if let Role::Block(bit) = role { Some(*bit) } else { None }).collect();
    blocks.sort_unstable();
    for (bit, place) in blocks.iter().enumerate() {
        if usize::from(*place) != bit {
            let shown = role::row(&all);
            form.fault(
                "address_bits",
                format!("block-select bits of `{shown}` collide or leave a gap: they must be B0 upwards, each once"),
                "give every block-select bit its own place, and address pins another",
            );
            return;
        }
    }
    for pin in 0..3u8 {
        if all.iter().filter(|role| role.pin() == Some(pin)).count() > 1 {
            form.fault("address_bits", format!("pin A{pin} is compared twice"), "compare each pin once");
        }
    }
    let address_bits = 8 * u32::from(bytes) + blocks.len() as u32 + u32::from(banked);
    let reached = 1u64 << address_bits.min(40);
    let own_bits = capacity.trailing_zeros();
    let repeated = 8 * u32::from(bytes);
    if !blocks.is_empty() && own_bits <= repeated && own_bits >= blocks.len() as u32 {
        let first = own_bits - blocks.len() as u32;
        let reason = format!(
            "{} block-select bits and {bytes} word-address bytes exceed the capacity ({capacity} bytes): B0 would be \
             A{first}, which the word-address bytes carry too",
            blocks.len()
        );
        let remedy = "a bit that is sent in two places cannot be said: the driver sends a block-select bit above the word \
                      address only; correct the capacity, word_address_bytes or the block-select bits";
        form.fault("capacity_bits", reason, remedy);
        return;
    }
    let useless_blocks = !blocks.is_empty() && u64::from(capacity) < reached;
    if u64::from(capacity) > reached || useless_blocks {
        let verb = if useless_blocks { "exceed" } else { "do not reach" };
        form.fault(
            "capacity_bits",
            format!(
                "{capacity} bytes: {bytes} word-address bytes and {} block-select bits {verb} the capacity \
                 (they address {reached} bytes)",
                blocks.len()
            ),
            "correct the capacity, word_address_bytes or the block-select bits",
        );
    }
}
