//! Runs already made for one board: parts that behave alike on it are run once.

use std::collections::HashMap;
use std::sync::{Mutex, PoisonError};

use super::evidence::Run;
use super::part::{NAME, Part};
use super::trial;
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
    task: Task,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
enum Task {
    /// A run with all that went wrong; whether the firmware also reads on after writes, as on the fitted part.
    Explained { reads_on: bool },
    /// Only whether the part serves.
    Serves,
}

/// The runs of one board, whose settings and straps may change. Bus but for the SCL rate, regions and the pointers
/// that the firmware expects must stay.
#[derive(Debug, Default)]
pub(super) struct Memo(Mutex<HashMap<Key, Option<Run>>>);

impl Memo {
    /// As [`trial::run`].
    pub(super) fn run(&self, board: &Board, card: &Card, reads_on_at: Option<&[u32]>) -> Run {
        let task = Task::Explained { reads_on: reads_on_at.is_some() };
        let run = self.look_up(board, card, task, |part| Some(trial::run(board, part, reads_on_at)));
        named(run.expect("an explained run always tells something"), card)
    }

    /// As [`trial::serves`].
    pub(super) fn serves(&self, board: &Board, card: &Card) -> Option<Run> {
        self.look_up(board, card, Task::Serves, |part| trial::serves(board, part))
    }

    fn look_up(&self, board: &Board, card: &Card, task: Task, run: impl FnOnce(&Part) -> Option<Run>) -> Option<Run> {
        let key = Key {
            part: Part::seen_by(board, card),
            firmware: board.firmware.clone(),
            straps: board.straps,
            wp: board.wp,
            scl_khz: board.bus.scl_khz,
            task,
        };
        // A run that panicked has stored nothing, so what is there is whole.
        let known = || self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(run) = known().get(&key) {
            return run.clone();
        }
        // The lock is not held meanwhile. Two threads may make the same run; they get the same.
        let made = run(&key.part);
        known().insert(key, made.clone());
        made
    }
}

/// Puts the part's name where the run has the stand-in.
pub(super) fn named(run: Run, card: &Card) -> Run {
    Run { first_loss: run.first_loss.map(|text| text.replace(NAME, &card.name)), ..run }
}
