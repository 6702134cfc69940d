//! Lines that begin with a word.

use alloc::borrow::ToOwned;
use alloc::format;
use alloc::vec::Vec;

use pagewise_simulator::{CycleTime, OtherFamily, TornModel};

use super::{Allowed, Reader, Token, quantity};
use crate::board::{self, Stored};
use crate::program::{Action, Instruction, Place};

/// Words of the board, which stand before the first transfer; a lesson allows some of them.
const OF_THE_BOARD: [&str; 14] = [
    "a0", "a1", "a2", "cycle", "torn", "holds", "means", "worn", "other", "family", "lines", "noise", "contents",
    "seed",
];
/// Words of both: before the first transfer they say how the board is, later they change it.
const OF_BOTH: [&str; 3] = ["supply", "wp", "scl"];
const OF_THE_PROGRAM: [&str; 7] = ["wait", "poll", "recover", "cut", "reset", "repeat", "end"];

/// Waits are walked through in so many steps at most.
const WAIT_STEPS: u64 = 10;
/// Times that a loop may run; more are cut by the limit of steps in any case.
const MOST_TIMES: u32 = 1_000_000;

impl Reader<'_> {
    pub(super) fn word(&mut self, tokens: &[Token<'_>]) {
        let Some(first) = tokens.first() else { return };
        let word = first.text.to_lowercase();
        let rest: Vec<&str> = tokens[1..].iter().map(|token| token.text).collect();
        let place = whole(tokens);
        let started = !self.program.instructions.is_empty() || !self.repeats.is_empty();
        if OF_THE_BOARD.contains(&word.as_str()) {
            if started && !matches!(self.allowed, Allowed::Board) {
                let reason = format!("`{}` says how the board is, and the program has begun", first.text);
                return self.fault(place, reason, "put it above the first line of the program");
            }
            if self.is_given(&word, first) {
                return;
            }
            return self.board_word(&word, &rest, place);
        }
        if OF_BOTH.contains(&word.as_str()) {
            // The controller's own clock is the program's.
            if word != "scl" && self.is_given(&word, first) {
                return;
            }
            return self.both_word(&word, &rest, place, started);
        }
        if OF_THE_PROGRAM.contains(&word.as_str()) {
            return self.program_word(&word, &rest, place);
        }
        let known = OF_THE_PROGRAM.iter().chain(&OF_BOTH).chain(&OF_THE_BOARD).copied().collect::<Vec<_>>().join(", ");
        self.fault(
            first.place,
            format!("no line begins with `{}`", first.text),
            format!("begin with S or one of: {known}"),
        );
    }

    /// A lesson gives its board; what the student may change of it is listed.
    fn is_given(&mut self, word: &str, token: &Token<'_>) -> bool {
        let Allowed::Only(may) = self.allowed else { return false };
        if may.iter().any(|allowed| allowed.eq_ignore_ascii_case(word)) {
            return false;
        }
        let can = if may.is_empty() { "remove it".to_owned() } else { format!("you may set: {}", may.join(", ")) };
        self.fault(token.place, format!("`{}` is given by the lesson", token.text), can);
        true
    }

    fn board_word(&mut self, word: &str, rest: &[&str], place: Place) {
        let done = match (word, rest) {
            ("a0" | "a1" | "a2", [level]) => board::level(level).map(|level| {
                let pin = usize::from(word.as_bytes()[1] - b'0');
                self.board.straps.a[pin] = level;
            }),
            ("cycle", [time]) => cycle(time).map(|time| self.board.cycle = time),
            ("torn", [name]) => {
                TornModel::ALL.into_iter().find(|model| model.name() == *name).map(|model| self.board.torn = model)
            }
            ("holds", [offset, bytes @ ..]) => stored(offset, bytes).map(|stored| self.board.holds.push(stored)),
            ("means", [offset, bytes @ ..]) => stored(offset, bytes).map(|stored| self.board.means.push(stored)),
            ("worn", [offset, cycles]) => quantity::offset(offset)
                .zip(cycles.parse().ok().filter(|cycles: &u64| *cycles <= 1_000_000_000_000))
                .map(|worn| self.board.worn.push(worn)),
            ("other", [address]) => {
                let address = quantity::byte(address).filter(|address| *address < 0x80 && self.board.others.len() < 16);
                address.map(|address| self.board.others.push(address))
            }
            ("family", ["none"]) => {
                self.board.instead = None;
                Some(())
            }
            ("family", [address, family]) => quantity::byte(address)
                .filter(|address| *address < 0x80)
                .zip(other_family(family))
                .map(|instead| self.board.instead = Some(instead)),
            ("lines", [ohm, farad]) => {
                quantity::resistance(ohm).zip(quantity::capacitance(farad)).map(|lines| self.board.lines = Some(lines))
            }
            ("noise", [on @ ("on" | "off")]) => {
                self.board.noisy = *on == "on";
                Some(())
            }
            ("contents", [how @ ("erased" | "random")]) => {
                self.board.random = *how == "random";
                Some(())
            }
            ("seed", [number]) => number.parse().ok().map(|seed| self.board.seed = seed),
            _ => None,
        };
        if done.is_none() {
            self.fault(place, format!("`{word}` is not followed by what it needs"), shape(word));
        }
    }

    fn both_word(&mut self, word: &str, rest: &[&str], place: Place, started: bool) {
        let joined = rest.concat();
        let action = match word {
            "supply" if joined == "off" => Some(Action::Supply(0)),
            "supply" => quantity::supply(&joined).filter(|mv| *mv >= 500).map(Action::Supply),
            "scl" => quantity::rate(&joined).map(Action::SclRate),
            _ => match joined.as_str() {
                "low" => Some(Action::WriteProtect(Some(false))),
                "high" => Some(Action::WriteProtect(Some(true))),
                "open" => Some(Action::WriteProtect(None)),
                _ => None,
            },
        };
        match action {
            None => self.fault(place, format!("`{word}` is not followed by what it needs"), shape(word)),
            Some(Action::Supply(mv)) if !started && mv > 0 => self.board.supply_mv = mv,
            Some(Action::SclRate(hz)) if !started => self.board.scl_hz = hz,
            Some(Action::WriteProtect(_)) if !started => {
                self.board.straps.wp = board::level(&joined).unwrap_or(self.board.straps.wp);
            }
            Some(action) => {
                if action == Action::Supply(0) {
                    self.bus_lost();
                }
                self.act(action, place);
            }
        }
    }

    fn program_word(&mut self, word: &str, rest: &[&str], place: Place) {
        let joined = rest.concat();
        let done = match (word, rest) {
            ("wait", _) => quantity::time(&joined).map(|ns| {
                let steps = (ns / 1_000_000).clamp(1, WAIT_STEPS);
                for step in 0..steps {
                    self.act(Action::Wait(ns * (step + 1) / steps - ns * step / steps), place);
                }
            }),
            ("poll", [address, time @ ..]) => poll(address, &time.concat()).map(|action| {
                self.bus_end();
                self.act(action, place);
            }),
            ("recover", []) => {
                self.bus_lost();
                self.act(Action::Recover, place);
                Some(())
            }
            ("cut", []) => {
                self.bus_lost();
                self.act(Action::Cut, place);
                Some(())
            }
            ("reset", ["after", bits, "bits" | "bit"]) => bits.parse().ok().filter(|bits: &u8| *bits < 8).map(|bits| {
                self.bus_lost();
                self.act(Action::Reset(bits), place);
            }),
            ("repeat", [times]) => self.repeat(times, place),
            ("end", []) => {
                self.end_of_loop(place);
                Some(())
            }
            _ => None,
        };
        if done.is_none() {
            self.fault(place, format!("`{word}` is not followed by what it needs"), shape(word));
        }
    }

    fn repeat(&mut self, times: &str, place: Place) -> Option<()> {
        let times = match times {
            "forever" => None,
            times => Some(times.parse().ok().filter(|times| (1..=MOST_TIMES).contains(times))?),
        };
        self.bus_end();
        let slot = self.program.loops;
        self.program.loops += 1;
        self.repeats.push((self.program.instructions.len(), times, slot, place));
        Some(())
    }

    fn end_of_loop(&mut self, place: Place) {
        self.bus_end();
        match self.repeats.pop() {
            None => self.fault(place, "`end` has no `repeat`", "remove it"),
            Some((to, _, _, opened)) if to == self.program.instructions.len() => {
                self.fault(opened, "the loop does nothing", "write a line between `repeat` and `end`");
            }
            Some((to, times, slot, _)) => self.program.instructions.push(Instruction::Again { to, times, slot }),
        }
    }
}

fn whole(tokens: &[Token<'_>]) -> Place {
    let (Some(first), Some(last)) = (tokens.first(), tokens.last()) else { return Place::default() };
    Place { len: last.place.column + last.place.len - first.place.column, ..first.place }
}

fn cycle(text: &str) -> Option<CycleTime> {
    match text {
        "max" => Some(CycleTime::Max),
        "typical" => Some(CycleTime::Typical),
        "drawn" => Some(CycleTime::Drawn),
        time => quantity::time(time).filter(|ns| *ns <= 1_000_000_000).map(CycleTime::Exact),
    }
}

fn other_family(digits: &str) -> Option<OtherFamily> {
    match digits {
        "25" => Some(OtherFamily::Spi25),
        "23" => Some(OtherFamily::Sram23),
        "93" => Some(OtherFamily::ThreeWire93),
        _ => None,
    }
}

fn poll(address: &str, time: &str) -> Option<Action> {
    let bare = address.trim_end_matches('+');
    let read = match bare.as_bytes().last()? {
        b'W' => 0,
        b'R' => 1,
        _ => return None,
    };
    let address = quantity::byte(bare.get(..bare.len() - 1)?).filter(|address| *address < 0x80)?;
    let at_most_ns = quantity::time(time).filter(|ns| *ns <= 1_000_000_000)?;
    Some(Action::Poll { control: address << 1 | read, at_most_ns })
}

/// An offset and the bytes at it.
pub(crate) fn stored(offset: &str, tokens: &[&str]) -> Option<Stored> {
    let mut bytes = Vec::new();
    for token in tokens {
        for byte in quantity::bytes(token)? {
            bytes.push(byte?);
        }
    }
    let offset = quantity::offset(offset)?;
    (!bytes.is_empty() && bytes.len() <= 65_536).then_some(Stored { offset, bytes })
}

/// How a word is used.
fn shape(word: &str) -> &'static str {
    match word {
        "a0" | "a1" | "a2" | "wp" => "write `low`, `high` or `open` behind it",
        "cycle" => "write `max`, `typical`, `drawn` or a time such as `4ms`",
        "torn" => "write one of: old, new, prefix, subset, erased, unstable",
        "holds" | "means" => "write an offset and bytes, such as `0010 80..8F`",
        "worn" => "write an offset and a number of write cycles, such as `0100 999999`",
        "other" => "write a device address from 00 to 7F",
        "family" => "write a device address and 23, 25 or 93; or `none`",
        "lines" => "write pull-up and capacitance, such as `10kohm 91pF`",
        "noise" => "write `on` or `off`",
        "contents" => "write `erased` or `random`",
        "seed" => "write a number",
        "supply" => "write volts from 0.5V to 6.5V, or `off`",
        "scl" => "write a rate from 1kHz to 5MHz",
        "wait" => "write a time, such as `5ms` or `20us`",
        "poll" => "write a device address and the longest time, such as `50W 10ms`",
        "reset" => "write `reset after 3 bits`, with 0 to 7",
        "repeat" => "write a number up to 1000000, or `forever`",
        _ => "write it alone on its line",
    }
}
