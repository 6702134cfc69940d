//! The notation of programs: that of the simulator's traces, and a line for everything else.
//!
//! ```text
//! # the board, before the program
//! supply 3.3V          SCL 400kHz           A0 low           WP high          (each on a line of its own)
//! cycle max            # or typical, drawn, 4ms: how long write cycles take
//! torn erased          # or old, new, prefix, subset, unstable: what a cut leaves behind
//! holds 0000 01..10    # the chip holds these bytes at 0x0000, and must keep them
//! means 0010 80..AF    # what is meant to be stored
//! worn 0100 999999     # the cells at 0x0100 have seen so many write cycles
//! other 53             # another device at 0x53
//! family 50 23         # no EEPROM at 0x50: a 23-series part; `family none`: the right one
//! lines 10kohm 91pF    # edge by edge, with these pull-ups and this capacitance
//! noise on             # bits get lost above the speed grade
//! contents random      # or erased
//! seed 7
//!
//! # the program
//! S 50W+ 00+ 10+ 80+ 81+ P      # START, device address with W or R, bytes, STOP; the marks + and - may be left out
//! S 50W 00 10 80..8F FFx16 P    # bytes that count upwards, one byte sixteen times
//! S 50W 00 10 Sr 50R ??x3 P     # read three bytes; 80 in place of ?? is what the program takes for granted
//! wait 5ms
//! poll 50W 10ms        # ask for the acknowledge until it comes, 10 ms at most
//! repeat 20            # or: repeat forever
//! end
//! WP high              # also in the middle of a transfer
//! supply off           # supply 3.3V brings it back; `cut` does both
//! reset after 3 bits   # the controller is reset in the middle of a read
//! recover              # nine clocks with SDA released, START, STOP
//! SCL 100kHz
//! ```
//!
//! A mark behind a byte that is sent is what the program takes for granted; behind a byte that is read it is the
//! controller's own acknowledge bit (`-` for the last byte of a read, if none is given). A byte that the chip refuses ends
//! the transfer: what follows up to `P` is not sent. The time in front of a line of a trace (`103.125 us  S …`) is waited for.

mod bus;
mod quantity;
pub(crate) mod words;

use alloc::borrow::ToOwned;
use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;

use crate::board::Board;
use crate::program::{Action, Fault, Instruction, Place, Program};

/// Actions that a text may spell out.
const MOST_ACTIONS: usize = 20_000;
/// Lines of a text.
const MOST_LINES: usize = 5_000;
/// Faults that are told.
const MOST_FAULTS: usize = 50;

/// Which words of the board a text may use.
enum Allowed<'a> {
    /// All, in front of the program.
    All,
    /// All, anywhere: the text is a lesson's board, and the actions in it are what has happened to it.
    Board,
    /// Of a lesson, whose board is given: these.
    Only(&'a [String]),
}

impl Program {
    /// Reads a text: the board first, then the program. See [`crate::notation`].
    ///
    /// # Errors
    /// Everything that is wrong with it.
    pub fn parse(text: &str) -> Result<(Board, Self), Vec<Fault>> {
        parse(text, Board::default(), &Allowed::All)
    }

    /// Reads the board of a lesson; actions in it are what has happened before the program starts.
    ///
    /// # Errors
    /// Everything that is wrong with it.
    pub fn parse_board(text: &str) -> Result<(Board, Self), Vec<Fault>> {
        parse(text, Board::default(), &Allowed::Board)
    }

    /// Reads the program of a lesson, whose board is given; only the board's words that are named may be set anew.
    ///
    /// # Errors
    /// Everything that is wrong with it.
    pub fn parse_on(board: Board, text: &str, may_set: &[String]) -> Result<(Board, Self), Vec<Fault>> {
        parse(text, board, &Allowed::Only(may_set))
    }
}

/// Reads a text on top of a board.
fn parse(text: &str, board: Board, allowed: &Allowed<'_>) -> Result<(Board, Program), Vec<Fault>> {
    let mut reader = Reader {
        board,
        allowed,
        program: Program { instructions: Vec::new(), places: Vec::new(), loops: 0, lines: Vec::new() },
        faults: Vec::new(),
        bus: bus::Transfer::default(),
        repeats: Vec::new(),
        full: false,
    };
    for (at, line) in text.lines().take(MOST_LINES).enumerate() {
        reader.program.lines.push(line.to_owned());
        reader.line(at + 1, line);
    }
    if text.lines().count() > MOST_LINES {
        let place = Place { line: MOST_LINES, column: 1, len: 1 };
        reader.fault(place, format!("the text has more than {MOST_LINES} lines"), "use `repeat`");
    }
    reader.finish()
}

/// A token and where it stands.
#[derive(Clone, Copy)]
struct Token<'t> {
    text: &'t str,
    place: Place,
}

struct Reader<'a> {
    board: Board,
    allowed: &'a Allowed<'a>,
    program: Program,
    faults: Vec<Fault>,
    bus: bus::Transfer,
    /// Loops that are open: where their body begins, how often, their counter, their place.
    repeats: Vec<(usize, Option<u32>, usize, Place)>,
    full: bool,
}

impl Reader<'_> {
    fn fault(&mut self, place: Place, reason: impl Into<String>, remedy: impl Into<String>) {
        if self.faults.len() < MOST_FAULTS {
            self.faults.push(Fault { place, reason: reason.into(), remedy: remedy.into() });
        }
    }

    fn act(&mut self, action: Action, place: Place) {
        if self.program.instructions.len() >= MOST_ACTIONS {
            if !core::mem::replace(&mut self.full, true) {
                self.fault(place, format!("the program has more than {MOST_ACTIONS} actions"), "use `repeat`");
            }
            return;
        }
        let number = match self.program.places.last() {
            Some(last) if *last == place => self.program.places.len() - 1,
            _ => {
                self.program.places.push(place);
                self.program.places.len() - 1
            }
        };
        self.program.instructions.push(Instruction::Do(action, number));
    }

    fn line(&mut self, number: usize, line: &str) {
        let tokens = tokens(number, line);
        let tokens = self.time(&tokens);
        let Some(first) = tokens.first() else { return };
        if matches!(first.text, "S" | "Sr" | "P") || (self.bus.is_open() && bus::looks_like(first.text)) {
            for token in tokens {
                self.bus_token(*token);
            }
        } else {
            self.word(tokens);
        }
    }

    /// The time in front of a line of a trace.
    fn time<'t, 's>(&mut self, tokens: &'s [Token<'t>]) -> &'s [Token<'t>] {
        if let [time, unit, rest @ ..] = tokens
            && unit.text == "us"
            && let Some(ns) = quantity::time(&format!("{}us", time.text))
        {
            self.act(Action::Until(ns), time.place);
            return rest;
        }
        tokens
    }

    fn finish(mut self) -> Result<(Board, Program), Vec<Fault>> {
        self.bus_end();
        for (_, _, _, place) in core::mem::take(&mut self.repeats) {
            self.fault(place, "`repeat` has no `end`", "write `end` behind the last line of the loop");
        }
        self.program.places.push(Place::default());
        let last = self.program.places.len() - 1;
        self.program.instructions.push(Instruction::Do(Action::End, last));
        if self.faults.is_empty() { Ok((self.board, self.program)) } else { Err(self.faults) }
    }
}

fn tokens(number: usize, line: &str) -> Vec<Token<'_>> {
    let code = line.split('#').next().unwrap_or_default();
    let mut tokens = Vec::new();
    let mut column = 1;
    for piece in code.split_inclusive(char::is_whitespace) {
        let text = piece.trim_end();
        let len = text.chars().count();
        if len > 0 {
            tokens.push(Token { text, place: Place { line: number, column, len } });
        }
        column += piece.chars().count();
    }
    tokens
}
