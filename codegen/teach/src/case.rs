//! One's own case: the first failing transfer of a swap as the program that the page opens with.

use std::fmt::Write as _;

use pagewise_judge::board::{Board, Strap};
use pagewise_judge::swap::{Fitted, Replay};
use pagewise_part::card::Card;
use pagewise_simulator::{Event, EventKind};

use crate::page::{Opening, Part};

/// The first failing transfer of a candidate on a board, beside the fitted part; `None` where nothing fails.
#[must_use]
pub fn of_swap(board: &Board, old: &Card, new: &Card) -> Option<Opening> {
    let replay = Fitted::new(board, old).replay(new);
    let failing = replay.new.transaction.as_ref()?;
    let mut program = surroundings(&replay, failing.scl_hz);
    let _ = writeln!(program, "# {}", failing.incident.replace('\n', " "));
    program.push_str(&transfer(&replay, &failing.events));
    let part = |id: &str, card: &Card| Part { id: id.to_owned(), name: card.name.clone(), model: card.chip_model() };
    Some(Opening {
        program,
        part: "case new".to_owned(),
        beside: Some("case old".to_owned()),
        parts: vec![part("case new", &replay.new_card), part("case old", &replay.old_card)],
    })
}

fn surroundings(replay: &Replay, scl_hz: u32) -> String {
    let board = &replay.board;
    let level = |strap: Strap, driven: bool| match strap {
        Strap::Gnd => "low",
        Strap::Vcc => "high",
        Strap::Open => "open",
        Strap::Gpio => ["low", "high"][usize::from(driven)],
    };
    let driven = board.levels_for(&replay.new_card);
    let mut text = format!("# {}\nsupply {}mV\nSCL {scl_hz}Hz\n", board.name.replace('\n', " "), board.bus.supply_mv);
    for (pin, (strap, driven)) in board.straps.iter().zip(driven).enumerate() {
        let _ = writeln!(text, "A{pin} {}", level(*strap, driven));
    }
    // The firmware drives WP so that it may write.
    let _ = writeln!(text, "WP {}", level(board.wp, !replay.new_card.chip_model().write_protect.active_high));
    for address in board.bus.other_addresses.iter().take(16) {
        let _ = writeln!(text, "other {address:02X}");
    }
    text
}

/// What the firmware means with the bytes of a transfer: where its first data byte goes.
fn offset(board: &Board, control: u8, header: &[u8]) -> u32 {
    let firmware = &board.firmware;
    let block = u32::from(control >> 1 >> firmware.block_select_shift) & ((1 << firmware.block_select_bits) - 1);
    header.iter().fold(block, |value, byte| value << 8 | u32::from(*byte))
}

fn transfer(replay: &Replay, events: &[Event]) -> String {
    let header_len = usize::from(replay.board.firmware.word_address_bytes);
    let (mut line, mut wrote, mut control, mut read) = (String::new(), Vec::new(), None, 0);
    for event in events {
        match event.kind {
            EventKind::Start => line.push('S'),
            EventKind::RepeatedStart => line.push_str(" Sr"),
            EventKind::Stop => line.push_str(" P\n"),
            EventKind::Address { address, read, .. } => {
                control.get_or_insert(address << 1);
                let _ = write!(line, " {address:02X}{}", if read { 'R' } else { 'W' });
            }
            EventKind::Write { byte, .. } => {
                wrote.push(byte);
                let _ = write!(line, " {byte:02X}");
            }
            EventKind::Read { .. } => {
                let at =
                    offset(&replay.board, control.unwrap_or(0), wrote.get(..header_len).unwrap_or_default()) as usize;
                let wanted = replay.new.wanted.get(at + read);
                read += 1;
                let _ = match wanted {
                    Some(byte) => write!(line, " {byte:02X}"),
                    None => write!(line, " ??"),
                };
            }
            _ => {}
        }
    }
    if !line.ends_with('\n') {
        line.push_str(" P\n");
    }
    let header = wrote.get(..header_len.min(wrote.len())).unwrap_or_default();
    let at = offset(&replay.board, control.unwrap_or(0), header);
    let listed = |bytes: &[u8]| bytes.iter().map(|byte| format!(" {byte:02X}")).collect::<String>();
    let mut text = String::new();
    let data = wrote.get(header_len..).unwrap_or_default();
    if !data.is_empty() {
        let _ = writeln!(text, "means {at:04X}{}", listed(data));
    }
    if let Some(held) = replay.new.wanted.get(at as usize..at as usize + read).filter(|held| !held.is_empty()) {
        let _ = writeln!(text, "holds {at:04X}{}", listed(held));
    }
    text + &line
}
