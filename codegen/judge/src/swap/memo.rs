//! Runs already made for one board: parts that behave alike on it are run once.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

use super::Judges;
use super::part::Part;
use super::run::{self, Run};
use super::stray::Bench;
use crate::board::{Board, Firmware, Strap};
use pagewise_part::card::Card;

/// All that a run of one board depends on. The rest of the board is the same for every run of a memo.
#[derive(Debug, PartialEq, Eq, Hash)]
struct Key {
    part: Part,
    firmware: Firmware,
    straps: [Strap; 3],
    wp: Strap,
    scl_khz: u32,
    /// Whether the firmware is held to reading on where it does on the fitted part.
    held_to_pointers: bool,
}

/// The runs of one board, whose settings and straps may change. Bus but for the SCL rate, regions and the pointers
/// that the firmware expects must stay.
#[derive(Debug)]
pub(super) struct Memo {
    judges: Arc<Judges>,
    made: Mutex<HashMap<Key, Run>>,
    /// Whether the second firmware reads what the first one wrote into the fitted part.
    exchanged: Mutex<HashMap<(Firmware, Firmware), bool>>,
}

impl Memo {
    pub(super) fn new(judges: Arc<Judges>) -> Self {
        Self { judges, made: Mutex::default(), exchanged: Mutex::default() }
    }

    /// The part that a board sees of a card.
    pub(super) fn part(&self, board: &Board, card: &Card) -> Part {
        Part::seen_by(board, card, (self.judges.chips)(card))
    }

    /// The chip of a card, on a bench of its own.
    pub(super) fn bench<'c>(&self, card: &'c Card) -> Bench<'c> {
        Bench { card, model: (self.judges.chips)(card) }
    }

    /// What [`run::run`] comes to.
    pub(super) fn run(&self, board: &Board, card: &Card, expects: Option<&[Option<u32>]>) -> Run {
        let key = Key {
            part: self.part(board, card),
            firmware: board.firmware.clone(),
            straps: board.straps,
            wp: board.wp,
            scl_khz: board.bus.scl_khz,
            held_to_pointers: expects.is_some(),
        };
        // A run that panicked has stored nothing, so what is there is whole.
        let known = || self.made.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(run) = known().get(&key) {
            return run.clone().named(card);
        }
        // The lock is not held meanwhile. Two threads may make the same run; they get the same.
        let made = run::run(board, &key.part, expects);
        known().insert(key, made.clone());
        made.named(card)
    }

    /// The run with nothing expected of the pointer, if the part serves.
    pub(super) fn serves(&self, board: &Board, card: &Card) -> Option<Run> {
        let run = self.run(board, card, None);
        run.serves.then_some(run)
    }

    /// Whether one firmware reads what another wrote into the fitted part, as `run` finds out.
    pub(super) fn exchanged(&self, writer: &Firmware, reader: &Firmware, run: impl FnOnce() -> bool) -> bool {
        let key = (writer.clone(), reader.clone());
        let known = || self.exchanged.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(read) = known().get(&key) {
            return *read;
        }
        let read = run();
        known().insert(key, read);
        read
    }
}
