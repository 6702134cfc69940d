use super::Rule;
use super::answers::Seat;
use super::transfers::Cuts;
use crate::board::{Board, Region};
use crate::swap::{Amend, Case, Change, Finding, Verdict};
use pagewise_part::card::{BlockBitsOnRead, Card, Pointer, Role};

pub(super) const RULE: Rule = Rule { id: "pointer", check };

/// Compares where the address pointer stands after the firmware's writes, on the old part and on the new: firmware that
/// reads on without an address gets the byte at the pointer, and parts differ at page ends.
fn check(case: &Case<'_>) -> Vec<Finding> {
    let (board, new) = (case.board, &case.new);
    // Firmware that does not work on the fitted part shows nothing to be held against another one.
    if !board.firmware.reads_on_after_write || !case.fitted_works {
        return Vec::new();
    }
    let moved = |card: &Card| {
        let mut written = board.regions.iter().filter(|region| region.writes_per_day > 0.0);
        written.find_map(|region| {
            let (old_at, new_at) = (reads_on_at(board, region, &case.old), reads_on_at(board, region, card));
            (old_at != new_at).then_some((region, old_at, new_at))
        })
    };
    let Some((region, old_at, new_at)) = moved(new) else {
        let unread = with_other_pointer(case).and_then(|card| moved(&card));
        return unread.map(|(region, old_at, _)| unread_pointer(case, region, old_at)).into_iter().collect();
    };
    let text = format!(
        "after writing `{}` the firmware reads on at {old_at:#06x} on the fitted part, at {new_at:#06x} on this one",
        region.name
    );
    let remedy = "send the address with every read".to_owned();
    // A page that was not read may be that of the fitted part.
    let page = case.old.page_bytes.value;
    let paged = Amend::Page(page);
    let mut with_page = Card::clone(new);
    paged.apply(&mut with_page);
    if new.page_bytes.is_assumed() && reads_on_at(board, region, &with_page) == old_at {
        let finding = Finding::new(RULE.id, Verdict::Reconfigure, &new.page_bytes, text, remedy)
            .change([Change::AddressWithEveryRead]);
        return vec![finding.unless(format!("its page is at least {page} bytes"), paged)];
    }
    let finding = Finding::new(RULE.id, Verdict::Reconfigure, &new.pointer_after_write, text, remedy)
        .change([Change::AddressWithEveryRead]);
    let granted = Amend::PointerAsOld(case.old.pointer_after_write.value);
    let mut amended = Card::clone(new);
    granted.apply(&mut amended);
    if reads_on_at(board, region, &amended) == old_at {
        return vec![finding.unless(AS_FITTED, granted)];
    }
    vec![finding]
}

const AS_FITTED: &str = "its pointer after a write stands as on the fitted part";

/// The candidate with the pointer that the table of assumptions does not have, where no document says which it is.
fn with_other_pointer(case: &Case<'_>) -> Option<Card> {
    if case.is_of_fitted() || !case.new.pointer_after_write.is_assumed() {
        return None;
    }
    let mut other = Card::clone(&case.new);
    other.pointer_after_write.value = match other.pointer_after_write.value {
        Pointer::WrappedInPage => Pointer::LastPlusOne,
        Pointer::LastPlusOne => Pointer::WrappedInPage,
    };
    Some(other)
}

fn unread_pointer(case: &Case<'_>, region: &Region, old_at: u32) -> Finding {
    let text = format!(
        "after writing `{}` the firmware reads on at {old_at:#06x} on the fitted part; where the pointer of this one stands \
         was not read",
        region.name
    );
    let remedy = "look for the address counter after a write in the data sheet, or send the address with every read";
    let fact = &case.new.pointer_after_write;
    let finding = Finding::new(RULE.id, Verdict::Reconfigure, fact, text, remedy.to_owned()).not_simulated();
    finding.unless(AS_FITTED, Amend::PointerAsOld(case.old.pointer_after_write.value))
}

/// Where firmware that has written a region whole reads on, on this part.
fn reads_on_at(board: &Board, region: &Region, card: &Card) -> u32 {
    let (page, capacity) = (card.page_bytes.value, card.capacity_bytes.value);
    let end = region.offset + region.length;
    let wraps = card.pointer_after_write.value == Pointer::WrappedInPage && page < capacity && end.is_multiple_of(page);
    let pointer = (if wraps { end - page } else { end }) % capacity;
    let has_blocks = card.device_bits().into_iter().any(|role| matches!(role, Role::Block(_)));
    if !has_blocks || card.read_block_bits.value == BlockBitsOnRead::Ignored {
        return pointer;
    }
    // The device address of the read names the block, and it is still that of the last write.
    let width = 8 * u32::from(card.word_address_bytes.value);
    let last = Cuts::of_writes(&board.firmware).around(region, end - 1);
    let block = Seat::on(board, card).block(super::block_select::sent_for(&board.firmware, last.start >> width));
    block.map_or(pointer, |block| (block << width) + pointer % (1 << width))
}
