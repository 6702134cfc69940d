//! What a program is: actions with their place in the text, and loops around them.

use alloc::string::String;
use alloc::vec::Vec;
use core::fmt;

use serde::Serialize;

/// Where something stands in a text.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Place {
    /// Line, from 1.
    pub line: usize,
    /// Column of its first character, from 1.
    pub column: usize,
    /// Characters.
    pub len: usize,
}

/// What is wrong with a text, and what to do.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Fault {
    /// Where.
    pub place: Place,
    /// What is wrong.
    pub reason: String,
    /// What to do.
    pub remedy: String,
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}, column {}: {}; {}", self.place.line, self.place.column, self.reason, self.remedy)
    }
}

/// One thing that the controller, or the board, does.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Action {
    /// START; inside a transfer a repeated one.
    Start {
        /// It is a repeated one.
        again: bool,
    },
    /// The byte after a START.
    Address {
        /// Device address with R/W in its lowest bit.
        control: u8,
        /// The answer that the program takes for granted.
        expects: Option<bool>,
    },
    /// A byte to the chip.
    Send {
        /// Its value.
        byte: u8,
        /// The answer that the program takes for granted.
        expects: Option<bool>,
    },
    /// A byte from the chip.
    Receive {
        /// What the program takes it to be.
        expects: Option<u8>,
        /// The controller's acknowledge bit.
        ack: bool,
    },
    /// STOP.
    Stop,
    /// Time passes.
    Wait(u64),
    /// Time passes up to here.
    Until(u64),
    /// Asks the device address again and again until it is answered.
    Poll {
        /// Device address with R/W in its lowest bit.
        control: u8,
        /// It is given up after this time.
        at_most_ns: u64,
    },
    /// The controller is reset after so many bits of the next byte.
    Reset(u8),
    /// Nine clocks with SDA released, START, STOP.
    Recover,
    /// The supply has a new value, in millivolts.
    Supply(u32),
    /// The supply goes and comes back.
    Cut,
    /// WP is moved; `None` leaves it open.
    WriteProtect(Option<bool>),
    /// The controller changes the SCL rate, in hertz.
    SclRate(u32),
    /// The program is over; write cycles come to their end.
    End,
}

/// An instruction: an action, or the end of a loop.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(crate) enum Instruction {
    /// Does something.
    Do(Action, usize),
    /// Goes back to `to` until it was passed `times` times; `None` for ever. `slot` is the loop's counter.
    Again { to: usize, times: Option<u32>, slot: usize },
}

/// A program.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Program {
    pub(crate) instructions: Vec<Instruction>,
    pub(crate) places: Vec<Place>,
    pub(crate) loops: usize,
    pub(crate) lines: Vec<String>,
}

impl Program {
    /// What goes before, then this program: what happens to a lesson's board stands in no line of the student's program.
    #[must_use]
    pub fn after(self, before: &Self) -> Self {
        let end = |it: &&Instruction| !matches!(it, Instruction::Do(Action::End, _));
        let mut instructions: Vec<Instruction> = before.instructions.iter().filter(end).copied().collect();
        let (shift, loops) = (instructions.len(), before.loops);
        for instruction in &mut instructions {
            if let Instruction::Do(_, place) = instruction {
                *place = self.places.len();
            }
        }
        instructions.extend(self.instructions.iter().map(|instruction| match *instruction {
            Instruction::Again { to, times, slot } => Instruction::Again { to: to + shift, times, slot: slot + loops },
            done @ Instruction::Do(..) => done,
        }));
        let mut places = self.places;
        places.push(Place::default());
        Self { instructions, places, loops: loops + self.loops, lines: self.lines }
    }

    /// The line of the text, from 1; empty beyond its end.
    #[must_use]
    pub fn line(&self, number: usize) -> &str {
        number.checked_sub(1).and_then(|at| self.lines.get(at)).map_or("", String::as_str)
    }

    /// The characters at a place.
    #[must_use]
    pub fn words(&self, place: Place) -> String {
        self.line(place.line).chars().skip(place.column.saturating_sub(1)).take(place.len).collect()
    }

    /// The actions in the order of the text.
    pub fn actions(&self) -> impl Iterator<Item = (Action, Place)> + '_ {
        self.instructions.iter().filter_map(|instruction| match instruction {
            Instruction::Do(action, place) => Some((*action, self.places[*place])),
            Instruction::Again { .. } => None,
        })
    }
}
