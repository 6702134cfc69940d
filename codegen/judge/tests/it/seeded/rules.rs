//! Errors in the rules: a rule that reads a card or a board otherwise than it is (an operator off by one reads a number
//! off by one), that finds nothing, that asks for too much or too little, that grants an assumption without saying so.
//! Whether a value is published or assumed no run can show, so the opposite, an assumption taken for a fact, is not
//! among them.

use std::sync::Arc;

use pagewise_judge::board::{Board, Strap, Wait, WriteShape};
use pagewise_judge::swap::{Case, Finding, Verdict, rule};
use pagewise_part::card::{BlockBitsOnRead, Busy, Card, CyclePer, Open, Pointer, Role, Span};

use super::{Judges, Seeded};

/// Rules whose findings a run can show.
const SIMULATED: [&str; 16] = [
    "capacity",
    "supply",
    "scl-rate",
    "straps",
    "device-address",
    "address-conflict",
    "address-width",
    "block-select",
    "page",
    "write-shape",
    "write-cycle",
    "write-protect",
    "lost-protection",
    "sequential-read",
    "pointer",
    "power-up",
];

/// Every one of them.
pub(super) fn errors() -> Vec<Seeded> {
    let mut errors = Vec::new();
    for id in SIMULATED {
        errors.push(found_wrongly(format!("{id} finds nothing"), move |all| all.retain(|it| it.rule != id)));
    }
    // What is at most reconfigure can be taken for worse, what is worse for better.
    for id in SIMULATED {
        let error = move |finding: &mut Finding| {
            let other = if finding.verdict > Verdict::Reconfigure { Verdict::Reconfigure } else { Verdict::Rework };
            finding.verdict = other;
        };
        errors.push(found_wrongly(format!("{id} asks for something else"), each(id, error)));
    }
    for id in ["supply", "scl-rate", "straps", "write-cycle", "write-protect", "sequential-read"] {
        let granted = move |all: &mut Vec<Finding>| all.retain(|it| it.rule != id || it.proviso.is_none());
        errors.push(found_wrongly(format!("{id} grants without saying so"), granted));
    }
    errors.extend(CARD.iter().map(|(name, spoil)| card_misread(name, *spoil)));
    errors.extend(BOARD.iter().map(|(name, spoil)| board_misread(name, *spoil)));
    errors
}

fn each(
    id: &'static str,
    change: impl Fn(&mut Finding) + Send + Sync + 'static,
) -> impl Fn(&mut Vec<Finding>) + Send + Sync {
    move |all: &mut Vec<Finding>| all.iter_mut().filter(|it| it.rule == id).for_each(&change)
}

fn found_wrongly(name: String, spoil: impl Fn(&mut Vec<Finding>) + Send + Sync + 'static) -> Seeded {
    let rules = move |case: &Case<'_>| {
        let mut findings = rule::all(case);
        spoil(&mut findings);
        findings
    };
    Seeded { name, judges: Judges { rules: Box::new(rules), ..Judges::default() } }
}

fn card_misread(name: &str, spoil: fn(&mut Card)) -> Seeded {
    let rules = move |case: &Case<'_>| {
        let mut case = case.clone();
        spoil(std::sync::Arc::make_mut(&mut case.new));
        spoil(Arc::make_mut(&mut case.old));
        rule::all(&case)
    };
    Seeded { name: name.to_owned(), judges: Judges { rules: Box::new(rules), ..Judges::default() } }
}

fn board_misread(name: &str, spoil: fn(&mut Board)) -> Seeded {
    let rules = move |case: &Case<'_>| {
        let mut board = case.board.clone();
        spoil(&mut board);
        rule::all(&Case { board: &board, ..case.clone() })
    };
    Seeded { name: name.to_owned(), judges: Judges { rules: Box::new(rules), ..Judges::default() } }
}

/// A value, or a setting, that is read otherwise.
type Misread<T> = (&'static str, fn(&mut T));

const CARD: [Misread<Card>; 31] = [
    ("twice the capacity", |card| card.capacity_bytes.value *= 2),
    ("one byte less", |card| card.capacity_bytes.value -= 1),
    ("twice the page", |card| card.page_bytes.value *= 2),
    ("half the page", |card| card.page_bytes.value = (card.page_bytes.value / 2).max(1)),
    ("one word-address byte more", |card| card.word_address_bytes.value += 1),
    ("code with bit 3 inverted", |card| card.device_code.value[3] = Role::Fixed(true)),
    ("A0 ignored", |card| card.address_bits.value[2] = Role::Ignored),
    ("A2 ignored", |card| card.address_bits.value[0] = Role::Ignored),
    ("address bits in reverse order", |card| card.address_bits.value.reverse()),
    ("open pins high", |card| card.open_strap.value = Open::High),
    ("open pins undefined", |card| card.open_strap.value = Open::Random),
    ("a write cycle of 1 us more", |card| card.write_cycle_max_us.value += 1),
    ("the typical write cycle", |card| card.write_cycle_max_us.value = card.write_cycle_typ_us.value),
    ("a write cycle per byte", |card| card.write_cycle_per.value = CyclePer::Byte),
    ("no shorter write cycles by supply", |card| card.grades.value.clear()),
    ("busy to writes only", |card| card.busy_answer.value = Busy::WritesOnly),
    ("busy to everything", |card| card.busy_answer.value = Busy::AnyAccess),
    ("the pointer wrapped", |card| card.pointer_after_write.value = Pointer::WrappedInPage),
    ("the pointer behind the last byte", |card| card.pointer_after_write.value = Pointer::LastPlusOne),
    ("reads over the whole array", |card| card.read_wrap_bytes.value = card.capacity_bytes.value),
    ("half the read block", |card| card.read_wrap_bytes.value /= 2),
    ("block bits of a read ignored", |card| card.read_block_bits.value = BlockBitsOnRead::Ignored),
    ("a lowest supply 1 mV higher", |card| {
        card.read_min_mv.value += 1;
        card.write_min_mv.value += 1;
    }),
    ("writes at the supply of reads", |card| card.write_min_mv.value = card.read_min_mv.value),
    ("SCL 1 kHz slower", |card| card.speed.value.iter_mut().for_each(|grade| grade.scl_khz -= 1)),
    ("twice the SCL rate", |card| card.speed.value.iter_mut().for_each(|grade| grade.scl_khz *= 2)),
    ("ready 1 us later", |card| card.power_up_us.value += 1),
    ("WP protects everything", |card| card.protect_range.value = Span::All),
    ("WP protects the lower half", |card| card.protect_range.value = Span::LowerHalf),
    ("no WP pin", |card| card.wp_pin = false),
    ("WP acts the other way", |card| card.wp_active_high.value = !card.wp_active_high.value),
];

const BOARD: [Misread<Board>; 31] = [
    ("the next device address", |board| board.firmware.device_address ^= 1),
    ("block bits one place higher", |board| board.firmware.block_select_shift += 1),
    ("one block bit less", |board| {
        board.firmware.block_select_bits = board.firmware.block_select_bits.saturating_sub(1);
    }),
    ("one word-address byte less", |board| {
        board.firmware.word_address_bytes = board.firmware.word_address_bytes.saturating_sub(1);
    }),
    ("cuts at twice the page", |board| board.firmware.page_bytes *= 2),
    ("cuts at half the page", |board| board.firmware.page_bytes = (board.firmware.page_bytes / 2).max(1)),
    ("no longest transfer", |board| board.firmware.max_transfer_bytes = None),
    ("longest transfer of one byte more", |board| {
        board.firmware.max_transfer_bytes = board.firmware.max_transfer_bytes.map(|most| most + 1);
    }),
    ("no cut of reads", |board| board.firmware.read_cut_bytes = None),
    ("reads cut at 128 bytes", |board| board.firmware.read_cut_bytes = Some(128)),
    ("waits 1 us less", |board| board.firmware.wait = waits(board.firmware.wait, |us| us.saturating_sub(1))),
    ("waits twice as long", |board| board.firmware.wait = waits(board.firmware.wait, |us| us * 2)),
    ("polls by write", |board| {
        if let Wait::PollByRead { limit_us } = board.firmware.wait {
            board.firmware.wait = Wait::Poll { limit_us };
        }
    }),
    ("header and data in one", |board| board.firmware.write_shape = WriteShape::OneBuffer),
    ("no reading on", |board| board.firmware.reads_on_after_write = false),
    ("first access 1 us earlier", |board| {
        board.firmware.first_access_us = board.firmware.first_access_us.map(|us| us.saturating_sub(1));
    }),
    ("no first access", |board| board.firmware.first_access_us = None),
    ("A0 and A1 exchanged", |board| board.straps.swap(0, 1)),
    ("A0 at ground", |board| board.straps[0] = Strap::Gnd),
    ("WP at ground", |board| board.wp = Strap::Gnd),
    ("WP driven by the firmware", |board| board.wp = Strap::Gpio),
    ("a neighbour at 0x50", |board| board.bus.other_addresses.push(0x50)),
    ("the first region only", |board| board.regions.truncate(1)),
    ("regions of one byte more", |board| board.regions.iter_mut().for_each(|region| region.length += 1)),
    ("regions one byte later", |board| board.regions.iter_mut().for_each(|region| region.offset += 1)),
    ("regions of one byte less", |board| {
        board.regions.iter_mut().for_each(|region| region.length = (region.length - 1).max(1));
    }),
    ("a supply 1 mV lower", |board| board.bus.supply_mv -= 1),
    ("a supply 1 mV higher", |board| board.bus.supply_mv += 1),
    ("SCL 1 kHz faster", |board| board.bus.scl_khz += 1),
    ("WP at the supply", |board| board.wp = Strap::Vcc),
    ("nothing written", |board| board.regions.iter_mut().for_each(|region| region.writes_per_day = 0.0)),
];

fn waits(wait: Wait, change: fn(u32) -> u32) -> Wait {
    match wait {
        Wait::Poll { limit_us } => Wait::Poll { limit_us: change(limit_us) },
        Wait::PollByRead { limit_us } => Wait::PollByRead { limit_us: change(limit_us) },
        Wait::Fixed { us } => Wait::Fixed { us: change(us) },
    }
}
