//! What the part shows of itself.

use serde_json::{Value, json};

use crate::crossing::PAGES;
use crate::pointers::Tally;
use crate::property::{Certainty, Moment, Moments, Property};
use crate::report::{Chip, Claim, combine, us};
use crate::waits::Waits;

type Say<'a> = &'a dyn Fn(&Moments) -> Vec<Moment>;

/// Bytes that have to speak for a page or a wrap.
const ENOUGH: u64 = 4;
/// No write cycle of an EEPROM that was met is shorter.
const SHORT_CYCLE_NS: u64 = 1_000_000;

pub(crate) fn properties(chips: &[Chip<'_>], into: &mut Vec<Property>, say: Say<'_>) {
    let each = |claim: &dyn Fn(&Chip<'_>) -> Option<Claim>| -> Vec<(u8, Option<Claim>)> {
        chips.iter().map(|chip| (chip.address, claim(chip))).collect()
    };
    into.push(combine("write_cycle_us", each(&cycle), "no write was followed by another access to its address", say));
    let none = "no write across a page end was read back";
    into.push(combine("part_page_bytes", each(&page), none, say));
    let none = "nothing was read without a word address behind a write that ended a page, where that tells";
    into.push(combine("pointer_after_write", each(&pointer), none, say));
    let none = "no sequential read went beyond what the word address reaches";
    into.push(combine("read_across_block", each(&across), none, say));
    into.push(combine("data_refused", each(&refused), "every data byte was acknowledged", say));
    into.push(memory(chips, say));
}

/// Bounds of the write cycles: the part was busy at the last refusal, and no longer at the first answer to a write.
fn cycle(chip: &Chip<'_>) -> Option<Claim> {
    let waits: Vec<&Waits> = chip.views().map(|(_, view)| &view.waits).collect();
    let sure = chip.width.as_ref().map_or(Certainty::Guess, |width| width.sure);
    let busy = waits.iter().filter_map(|waits| waits.refused_until.most).max();
    let longest = waits.iter().filter_map(|waits| waits.longest).max();
    if let Some((refused, at, over, over_at)) =
        longest.filter(|longest| busy.is_some_and(|(busy, _)| longest.0 >= busy))
    {
        let mut moments = Moments::one(at);
        moments.add(over_at);
        let value = json!({ "at_least": us(refused), "at_most": us(over) });
        let why = "the longest that was watched took between these; that is not a promise of a maximum";
        return Some(Claim { value, sure, moments, why: why.to_owned() });
    }
    if let Some((busy, at)) = busy {
        let why = "one took at least this long; what followed does not bound it from above".to_owned();
        return Some(Claim { value: json!({ "at_least": us(busy) }), sure, moments: Moments::one(at), why });
    }
    let (over, at) = waits.iter().filter_map(|waits| waits.over_by.least).min()?;
    // Without a refusal nothing shows that a cycle ran at all: the write may not have been stored.
    let sure = if over < SHORT_CYCLE_NS { Certainty::Guess } else { sure.min(Certainty::Likely) };
    let why = "no access was refused; one write was over this long after its STOP".to_owned();
    Some(Claim { value: json!({ "at_most": us(over) }), sure, moments: Moments::one(at), why })
}

/// The part's own page, from writes that crossed its end.
fn page(chip: &Chip<'_>) -> Option<Claim> {
    let (page, bytes, moments) = chip
        .views()
        .filter_map(|(_, view)| {
            view.crossings.page().map(|(page, bytes)| (page, bytes, view.crossings.moments.clone()))
        })
        .max_by_key(|(_, bytes, _)| *bytes)?;
    let shown = bytes >= ENOUGH && chip.width.as_ref().is_some_and(|width| width.sure == Certainty::Shown);
    let sure = if shown { Certainty::Shown } else { Certainty::Guess };
    let (value, why) = if page == 0 {
        (Value::from("none"), format!("{bytes} bytes written across every page end were read where they were meant"))
    } else {
        (Value::from(page), format!("{bytes} bytes written across page ends were read where only this page puts them"))
    };
    Some(Claim { value, sure, moments, why })
}

/// Where the pointer stands after a write that ended a page.
fn pointer(chip: &Chip<'_>) -> Option<Claim> {
    let known = chip.width.as_ref().map_or(Certainty::Guess, |width| width.sure);
    let told = || chip.views().map(|(_, view)| &view.pointers);
    let of = |index: usize, which: &dyn Fn(&Tally) -> u64| -> u64 { told().map(|it| which(&it.told[index])).sum() };
    let sure = |bytes: u64| if bytes >= ENOUGH { known } else { Certainty::Guess };
    let mut moments = Moments::default();
    told().flat_map(|it| &it.moments.0).for_each(|at| moments.add(*at));
    let alone = |index: &usize, other: &dyn Fn(&Tally) -> u64| of(*index, &|it| it.neither) + of(*index, other) == 0;
    // Whatever the page is: what stands at its start does not stand behind the write.
    let wrapped =
        (0..PAGES.len()).filter(|index| alone(index, &|it| it.behind)).map(|index| of(index, &|it| it.wrapped));
    if let Some(bytes) = wrapped.max().filter(|bytes| *bytes > 0) {
        let why = format!("{bytes} bytes read behind a write are those at the start of its page");
        return Some(Claim { value: "wrapped-in-page".into(), sure: sure(bytes), moments, why });
    }
    // That it went on says something only at the end of the part's own page.
    let page = page(chip)?;
    let index = PAGES.iter().position(|size| page.value.as_u64() == Some(u64::from(*size)))?;
    let bytes = of(index, &|it| it.behind);
    let why =
        format!("{bytes} bytes read behind a write that ended a page of {} are those behind the page", page.value);
    let sure = sure(bytes).min(page.sure);
    (bytes > 0 && alone(&index, &|it| it.wrapped)).then(|| Claim { value: "last-plus-one".into(), sure, moments, why })
}

/// Whether a sequential read leaves the block that its word address reaches.
fn across(chip: &Chip<'_>) -> Option<Claim> {
    let blocks = || chip.views().map(|(_, view)| &view.blocks);
    let elsewhere: u64 = blocks().map(|blocks| blocks.elsewhere).sum();
    let same: u64 = blocks().map(|blocks| blocks.same).sum();
    if blocks().all(|blocks| blocks.beyond == 0) {
        return None;
    }
    let size = 1_u64 << (8 * u32::from(chip.header()));
    let known = chip.width.as_ref().map_or(Certainty::Guess, |width| width.sure);
    let mut moments = Moments::default();
    if elsewhere > 0 {
        blocks().flat_map(|blocks| &blocks.elsewhere_at.0).for_each(|at| moments.add(*at));
        let why = format!("{elsewhere} bytes beyond {size} differ from those at the start: the read went on");
        let sure = if elsewhere >= ENOUGH { known } else { Certainty::Guess };
        return Some(Claim { value: "goes on".into(), sure, moments, why });
    }
    blocks().flat_map(|blocks| &blocks.same_at.0).for_each(|at| moments.add(*at));
    let why = format!("{same} bytes beyond {size}, neither 00 nor FF, are those at the start");
    let sure = if same >= 2 * ENOUGH { known } else { Certainty::Guess };
    (same > 0).then(|| Claim { value: "wraps".into(), sure, moments, why })
}

fn refused(chip: &Chip<'_>) -> Option<Claim> {
    let mut moments = Moments::default();
    chip.devices.iter().flat_map(|device| &device.data_refused.0).for_each(|at| moments.add(*at));
    let why = "data bytes were not acknowledged, as a part does that protects them".to_owned();
    (!moments.0.is_empty()).then_some(Claim { value: Value::Bool(true), sure: Certainty::Shown, moments, why })
}

/// What memory is known to hold at the end of the last recording.
fn memory(chips: &[Chip<'_>], say: Say<'_>) -> Property {
    let (mut list, mut moments) = (Vec::new(), Moments::default());
    let mut sure = Certainty::Shown;
    for chip in chips {
        for (device, view) in chip.views() {
            for (address, offset, bytes) in view.memory.runs() {
                let hex: Vec<String> = bytes.iter().map(|byte| format!("{byte:02X}")).collect();
                let device = format!("0x{address:02X}");
                list.push(json!({ "device": device, "offset": offset, "bytes": hex.join(" ") }));
                sure = sure.min(chip.width.as_ref().map_or(Certainty::Guess, |width| width.sure));
            }
            device.answered_at.0.last().into_iter().for_each(|at| moments.add(*at));
        }
    }
    if list.is_empty() {
        return Property::not_seen("known_memory", "nothing was read from a known word address");
    }
    let why = "read last, or written byte by byte, in the last recording";
    Property::seen("known_memory", list, sure, say(&moments), why)
}
