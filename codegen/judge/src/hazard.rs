//! Every hazard, failing for real: a naive program that loses data on a simulated part, and the same job done safely.
//!
//! The demonstrations live in the library, so that the program `pagewise hazards` and the tests run the same code.
//!
//! ```
//! let wrap = pagewise_judge::hazard::find("page-wrap").expect("it is in the list");
//! let outcome = wrap.run();
//! assert!(outcome.naive.bytes_lost > 0);
//! assert_eq!(outcome.safe.bytes_lost, 0);
//! ```

mod address_conflict;
mod address_width;
mod block_alias;
mod bus_timing;
mod busy_access;
mod capacity_alias;
mod floating_pin;
mod misplaced_write;
mod overclock;
mod overvoltage;
pub mod page_wrap;
mod picture;
mod read_rollover;
mod restart_abort;
mod stage;
mod stuck_bus;
mod torn_write;
mod undervoltage;
mod wear_out;
mod write_protect;
mod wrong_family;

pub use picture::{Row, rows};
use schemars::JsonSchema;
use serde::Serialize;

use pagewise_base::words;
use pagewise_simulator::Hazard;

/// A hazard that can be run.
#[derive(Debug, Clone, Copy)]
pub struct Demonstration {
    /// What it is called: the hazard's name, with an ending where one hazard has two faces.
    pub name: &'static str,
    /// The hazard, as its detector names it.
    pub hazard: Hazard,
    /// One line.
    pub title: &'static str,
    /// What the program does and what the part makes of it.
    pub story: &'static str,
    /// How it comes about when a part is swapped.
    pub in_a_swap: &'static str,
    /// What to do instead.
    pub safe_way: &'static str,
    /// Rules of the simulated chip that it shows.
    pub rules: &'static [&'static str],
    /// The cause comes from outside (a supply cut, a reset): the safe run meets it too, and loses nothing.
    pub from_outside: bool,
    source: &'static str,
    naive: fn() -> Side,
    safe: fn() -> Side,
}

/// One run.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Side {
    /// The part that it ran on.
    pub part: String,
    /// What the program came to know: "every call succeeded", or errors.
    pub said: String,
    /// Hazards that the detectors named, each once.
    pub hazards: Vec<Hazard>,
    /// What the detectors said.
    pub incidents: Vec<String>,
    /// Bytes of the part that are not what they should be, and bytes that were read wrong or not at all.
    pub bytes_lost: u32,
    /// Where lost bytes went, from the ledger.
    pub explanation: Vec<String>,
    /// The rows of 16 bytes around the damage.
    pub picture: Vec<Row>,
    /// Transfers as the bus saw them, a line each; `+` acknowledged, `-` not.
    pub transfers: String,
}

/// Both runs.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Outcome {
    /// The naive program.
    pub naive: Side,
    /// The safe one.
    pub safe: Side,
}

impl Demonstration {
    /// Runs the naive program and the safe one, each on a fresh board.
    #[must_use]
    pub fn run(&self) -> Outcome {
        Outcome { naive: (self.naive)(), safe: (self.safe)() }
    }

    /// The naive program as it was compiled.
    #[must_use]
    pub fn listing(&self) -> &'static str {
        let from = self.source.find("\nfn program").map_or(0, |at| at + 1);
        let rest = &self.source[from..];
        rest.find("\n}\n").map_or(rest, |end| &rest[..end + 2])
    }
}

/// Every demonstration, in the order of the design.
static ALL: [Demonstration; 20] = [
    page_wrap::DEMONSTRATION,
    address_width::one_to_two::DEMONSTRATION,
    address_width::two_to_one::DEMONSTRATION,
    block_alias::DEMONSTRATION,
    capacity_alias::DEMONSTRATION,
    read_rollover::DEMONSTRATION,
    busy_access::DEMONSTRATION,
    restart_abort::DEMONSTRATION,
    write_protect::DEMONSTRATION,
    torn_write::DEMONSTRATION,
    wear_out::DEMONSTRATION,
    address_conflict::DEMONSTRATION,
    floating_pin::DEMONSTRATION,
    overclock::DEMONSTRATION,
    undervoltage::DEMONSTRATION,
    overvoltage::DEMONSTRATION,
    bus_timing::DEMONSTRATION,
    wrong_family::DEMONSTRATION,
    misplaced_write::DEMONSTRATION,
    stuck_bus::DEMONSTRATION,
];

/// Every demonstration.
#[must_use]
pub fn all() -> &'static [Demonstration] {
    &ALL
}

/// The demonstration of this name.
#[must_use]
pub fn find(name: &str) -> Option<&'static Demonstration> {
    ALL.iter().find(|demonstration| demonstration.name == name)
}

/// Names that resemble `name`, nearest first; at most three.
#[must_use]
pub fn near(name: &str) -> Vec<&'static str> {
    words::near(name, ALL.iter().map(|demonstration| demonstration.name), 4, 3)
}
