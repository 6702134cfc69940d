//! One's own case: a failing transfer of a swap, of a recording or of a real program, as the program that the page opens
//! with, on the candidate and on the fitted part.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use pagewise_judge::board::{Board, Strap};
use pagewise_judge::swap::{Fitted, Replay};
use pagewise_part::card::Card;
use pagewise_player::program::Action;
use pagewise_player::view::first_difference;
use pagewise_player::{Bench, Program, Run};
use pagewise_simulator::{ChipModel, Event, EventKind, Hazard, Level, Straps, TornModel};

use crate::page::{Opening, Part};

/// What a case may take of the text that the page plays, in characters and in tokens.
const MOST_TEXT: usize = 40_000;
const MOST_TOKENS: usize = 15_000;
/// Bytes that are told as held, or as meant.
const MOST_BYTES: usize = 4_096;

/// What surrounds the chip, and what it holds at first.
#[derive(Debug, Clone, Copy)]
pub struct Surroundings<'a> {
    /// Name of the board.
    pub name: &'a str,
    /// Supply in millivolts.
    pub supply_mv: u32,
    /// SCL rate in hertz.
    pub scl_hz: u32,
    /// Levels of the pins.
    pub straps: Straps,
    /// 7-bit addresses of other devices.
    pub others: &'a [u8],
    /// What the chip holds at first; `None`: something of which nothing is known.
    pub contents: Option<&'a [u8]>,
}

impl Surroundings<'_> {
    fn text(&self) -> String {
        let level = |level: Level| match level {
            Level::Low => "low",
            Level::High => "high",
            Level::Open => "open",
        };
        let mut text = remark(self.name);
        let _ = writeln!(text, "supply {}mV\nSCL {}Hz", self.supply_mv, self.scl_hz);
        for (pin, strap) in self.straps.a.iter().enumerate() {
            let _ = writeln!(text, "A{pin} {}", level(*strap));
        }
        let _ = writeln!(text, "WP {}", level(self.straps.wp));
        for address in self.others.iter().take(16) {
            let _ = writeln!(text, "other {address:02X}");
        }
        match self.contents {
            None => text.push_str("contents random\n"),
            Some(bytes) => {
                let held = (0..).zip(bytes.iter().copied()).filter(|(_, byte)| *byte != 0xFF);
                text.push_str(&listed("holds", held));
            }
        }
        text
    }
}

/// Levels of the pins of a part on a board. The firmware drives WP so that it may write.
#[must_use]
pub fn straps(board: &Board, card: &Card) -> Straps {
    let level = |strap: Strap, driven: bool| match strap {
        Strap::Gnd => Level::Low,
        Strap::Vcc => Level::High,
        Strap::Open => Level::Open,
        Strap::Gpio => Level::from_bit(driven),
    };
    let driven = board.levels_for(card);
    let a = [0, 1, 2].map(|pin| level(board.straps[pin], driven[pin]));
    Straps { a, wp: level(board.wp, !card.chip_model().write_protect.active_high) }
}

fn part(id: &str, name: &str, model: ChipModel) -> Part {
    Part { id: id.to_owned(), name: name.to_owned(), model }
}

/// What is said in front of a program, on one line whatever stands in it.
fn remark(text: &str) -> String {
    format!("# {}\n", text.split_whitespace().collect::<Vec<_>>().join(" "))
}

/// A line for each stretch of bytes that lie side by side.
fn listed(word: &str, bytes: impl Iterator<Item = (u32, u8)>) -> String {
    let (mut text, mut next) = (String::new(), None);
    for (at, byte) in bytes.take(MOST_BYTES) {
        if next != Some(at) {
            let end = if text.is_empty() { "" } else { "\n" };
            let _ = write!(text, "{end}{word} {at:04X}");
        }
        let _ = write!(text, " {byte:02X}");
        next = Some(at + 1);
    }
    if !text.is_empty() {
        text.push('\n');
    }
    text
}

/// The first failing transfer of a candidate on a board, beside the fitted part; `None` where nothing fails.
#[must_use]
pub fn of_swap(board: &Board, old: &Card, new: &Card) -> Option<Opening> {
    let replay = Fitted::new(board, old).replay(new);
    let failing = replay.new.transaction.as_ref()?;
    let surroundings = Surroundings {
        name: &replay.board.name,
        supply_mv: replay.board.bus.supply_mv,
        scl_hz: failing.scl_hz,
        straps: straps(&replay.board, &replay.new_card),
        others: &replay.board.bus.other_addresses,
        contents: Some(&[]),
    };
    let program = surroundings.text() + &remark(&failing.incident) + &transfer(&replay, &failing.events);
    let (new, old) = (&replay.new_card, &replay.old_card);
    let parts = vec![part("case new", &new.name, new.chip_model()), part("case old", &old.name, old.chip_model())];
    Some(Opening::of_case(program, parts, 0))
}

/// The first failing transfer of a course of transfers, with those before it. Each transfer is its text in the notation of
/// programs, waits in front of it included, and what was read as `??`. `failing` is the one that failed, counted from 0,
/// where that is known; else the two parts are compared. `None` where neither says so, or the transfer does not fit into a
/// page.
#[must_use]
pub fn of_transfers(
    surroundings: &Surroundings<'_>,
    transfers: &[String],
    failing: Option<usize>,
    (old_name, old): (&str, ChipModel),
    (new_name, new): (&str, ChipModel),
) -> Option<Opening> {
    let models = [&new, &old];
    let (from, until) = window(transfers, failing)?;
    let mut head = surroundings.text();
    if from > 0 {
        head.push_str(&left_out(from));
    }
    let at = match failing {
        Some(at) => at,
        None => from + first_failing(&head, &transfers[from..until], models)?,
    };
    let mut body = transfers[from..=at].to_vec();
    let [on_new, on_old] = both(models, &format!("{head}{}", body.concat()))?;
    let last = body.last_mut()?;
    *last = granted(last, &on_old);
    head.push_str(&listed("means", stored(&on_old, &on_new)));
    let program = format!("{head}{}", body.concat());
    let before = head.lines().count() + body[..at - from].concat().lines().count();
    let [on_new, _] = both(models, &program)?;
    let step = on_new.log().iter().position(|outcome| outcome.place.line > before).unwrap_or(0);
    let parts = vec![part("case new", new_name, new), part("case old", old_name, old)];
    Some(Opening::of_case(program, parts, step))
}

/// A cut of the supply from which a program does not come back.
#[derive(Debug, Clone, Copy)]
pub struct SupplyCut<'a> {
    /// What the torn write cycle leaves behind.
    pub torn: TornModel,
    /// Seed of what is drawn then.
    pub seed: u64,
    /// The last transfer as far as it came.
    pub torn_off: &'a str,
    /// When, as in front of a line of a trace.
    pub at: &'a str,
    /// What was wrong afterwards.
    pub text: &'a str,
}

/// A course of transfers that the supply was cut in: in the last of them, or after it. `None` where that one does not fit
/// into a page. The two parts are the one that was cut, and the one beside it.
#[must_use]
pub fn of_cut(
    surroundings: &Surroundings<'_>,
    transfers: &[String],
    cut: &SupplyCut<'_>,
    [new, old]: [(&str, ChipModel); 2],
) -> Option<Opening> {
    let (from, until) = window(transfers, transfers.len().checked_sub(1))?;
    let mut head = surroundings.text();
    let _ = writeln!(head, "torn {}\nseed {}", cut.torn.name(), cut.seed);
    if from > 0 {
        head.push_str(&left_out(from));
    }
    head.push_str(&remark(cut.text));
    let before = transfers[from..until - 1].concat();
    let after_cut = format!("{before}{}{} cut\n", cut.torn_off, cut.at);
    let models = [&new.1, &old.1];
    let [whole, _] = both(models, &format!("{head}{before}{}", transfers[until - 1]))?;
    let [torn, _] = both(models, &format!("{head}{after_cut}"))?;
    head.push_str(&listed("means", stored(&whole, &torn)));
    let program = format!("{head}{after_cut}");
    let [on_new, _] = both(models, &program)?;
    let step = on_new.log().iter().position(|outcome| outcome.action == Action::Cut)?;
    let parts = vec![part("case new", new.0, new.1), part("case old", old.0, old.1)];
    Some(Opening::of_case(program, parts, step))
}

fn left_out(transfers: usize) -> String {
    remark(&format!("{transfers} transfers before these are left out, and what they stored"))
}

/// The transfers that fit into a page: up to the failing one, or from the first on.
fn window(transfers: &[String], failing: Option<usize>) -> Option<(usize, usize)> {
    let (mut text, mut tokens) = (0, 0);
    let mut fits = |transfer: &String| {
        text += transfer.len();
        tokens += transfer.split_whitespace().count();
        text <= MOST_TEXT && tokens <= MOST_TOKENS
    };
    match failing {
        Some(at) => {
            let count = transfers.get(..=at)?.iter().rev().take_while(|transfer| fits(transfer)).count();
            (count > 0).then_some((at + 1 - count, at + 1))
        }
        None => Some((0, transfers.iter().take_while(|transfer| fits(transfer)).count())),
    }
}

fn both(models: [&ChipModel; 2], text: &str) -> Option<[Run; 2]> {
    let (board, program) = Program::parse(text).ok()?;
    Some(models.map(|model| Run::new(&Bench { model: model.clone(), board: board.clone() }, &program)))
}

/// The transfer in which a detector speaks on the new part alone; where none does, in which the two first differ.
fn first_failing(head: &str, transfers: &[String], models: [&ChipModel; 2]) -> Option<usize> {
    let [new, old] = both(models, &format!("{head}{}", transfers.concat()))?;
    let known: BTreeSet<Hazard> = old.log().iter().flat_map(|it| &it.incidents).map(|told| told.hazard).collect();
    let told = new.log().iter().position(|it| it.incidents.iter().any(|told| !known.contains(&told.hazard)));
    let differs = first_difference(&new, &old).map(|step| step - 1);
    // A chip that is still busy differs long before anything goes wrong.
    let step = told.or(differs)?;
    let between =
        matches!(new.log()[step].action, Action::Wait(_) | Action::Until(_) | Action::Poll { .. } | Action::End);
    let line = match new.log()[step].place.line {
        0 => usize::MAX,
        line => line,
    };
    let mut last = head.lines().count();
    let found = transfers.iter().position(|transfer| {
        last += transfer.lines().count();
        last >= line
    });
    // What shows in a wait in front of a transfer happened in the one before.
    Some(found.map_or(transfers.len() - 1, |at| at.saturating_sub(usize::from(between))))
}

/// What the program stored on the old part, and what else is otherwise on the new one.
fn stored<'r>(old: &'r Run, new: &'r Run) -> impl Iterator<Item = (u32, u8)> + 'r {
    let (before, after) = (old.memory_at(0), old.memory_at(usize::MAX));
    let there = new.memory_at(usize::MAX);
    let of_interest = move |at: usize, byte: u8| before[at] != byte || there.get(at).is_some_and(|is| *is != byte);
    (0..).zip(after).filter(move |(at, byte)| of_interest(*at as usize, *byte))
}

/// The transfer with what the old part returned in place of `??`: that is what the firmware takes for granted.
fn granted(transfer: &str, old: &Run) -> String {
    let count = transfer.matches("??").count();
    let reads = &old.reads()[old.reads().len().saturating_sub(count)..];
    reads.iter().fold(transfer.to_owned(), |text, (byte, _)| text.replacen("??", &format!("{byte:02X}"), 1))
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
