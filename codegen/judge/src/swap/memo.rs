//! Runs already made for one board: parts that behave alike on it are run once.

use std::collections::HashMap;
use std::hash::Hash;
use std::sync::{Arc, Mutex, PoisonError};

use foldhash::fast::RandomState;

use super::Judges;
use super::part::Part;
use super::run::{self, Run};
use crate::board::{Board, Firmware, Strap};
use pagewise_part::card::Card;
use pagewise_simulator::ChipModel;

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

/// Keys are long, and nobody outside chooses them: hashed fast.
type Known<K, V> = Mutex<HashMap<K, V, RandomState>>;

/// The runs of one board, whose settings and straps may change. Bus but for the SCL rate, regions and the pointers
/// that the firmware expects must stay.
#[derive(Debug)]
pub(super) struct Memo {
    judges: Arc<Judges>,
    made: Known<Key, Run>,
    /// Whether the second firmware reads what the first one wrote into the fitted part.
    exchanged: Known<(Firmware, Firmware), bool>,
    /// Of which of these bytes the fitted part's WP keeps stray writes out.
    kept_out: Known<Vec<u32>, Vec<u32>>,
}

impl Memo {
    pub(super) fn new(judges: Arc<Judges>) -> Self {
        Self { judges, made: Mutex::default(), exchanged: Mutex::default(), kept_out: Mutex::default() }
    }

    /// The part that a board sees of a card.
    pub(super) fn part(&self, board: &Board, card: &Card) -> Part {
        Part::seen_by(board, card, self.chip(card))
    }

    /// The chip of a card.
    pub(super) fn chip(&self, card: &Card) -> ChipModel {
        (self.judges.chips)(card)
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
        once(&self.made, key, |key| run::run(board, &key.part, expects)).named(card)
    }

    /// The run with nothing expected of the pointer, if the part serves.
    pub(super) fn serves(&self, board: &Board, card: &Card) -> Option<Run> {
        let run = self.run(board, card, None);
        run.serves.then_some(run)
    }

    /// Whether one firmware reads what another wrote into the fitted part, as `run` finds out.
    pub(super) fn exchanged(&self, writer: &Firmware, reader: &Firmware, run: impl FnOnce() -> bool) -> bool {
        once(&self.exchanged, (writer.clone(), reader.clone()), |_| run())
    }

    /// The bytes of which the fitted part's WP keeps stray writes out, as `run` finds out.
    pub(super) fn kept_out(&self, probes: Vec<u32>, run: impl FnOnce(&[u32]) -> Vec<u32>) -> Vec<u32> {
        once(&self.kept_out, probes, |probes| run(probes))
    }
}

/// What is known of a key, found out where it is not. The lock is not held meanwhile: two threads may find out the same.
fn once<K: Eq + Hash, V: Clone>(known: &Known<K, V>, key: K, find: impl FnOnce(&K) -> V) -> V {
    // A run that panicked has stored nothing, so what is there is whole.
    let known = || known.lock().unwrap_or_else(PoisonError::into_inner);
    if let Some(value) = known().get(&key) {
        return value.clone();
    }
    let value = find(&key);
    known().insert(key, value.clone());
    value
}
