//! A program on a bench, played to its end.

use alloc::collections::BTreeMap;
use alloc::vec::Vec;
use core::cell::RefCell;

use pagewise_simulator::Loss;

use crate::board::{Bench, Stored};
use crate::outcome::{End, Outcome};
use crate::player::Player;
use crate::program::{Action, Program};

/// Lost bytes that are explained.
const EXPLAINED: usize = 4_096;

/// A program played to its end.
pub struct Run {
    bench: Bench,
    program: Program,
    log: Vec<Outcome>,
    end: End,
    lost: Vec<u32>,
    losses: Vec<Loss>,
    reads: Vec<(u8, Option<u8>)>,
    cursor: RefCell<Player>,
}

impl Run {
    /// Plays it whole.
    ///
    /// # Panics
    /// If the model contradicts itself; see `ChipModel::check`.
    #[must_use]
    pub fn new(bench: &Bench, program: &Program) -> Self {
        let mut player = Player::new(bench, program);
        let mut log = Vec::new();
        while !player.too_long()
            && let Some(outcome) = player.step(program)
        {
            log.push(outcome);
        }
        let over = matches!(log.last(), Some(Outcome { action: Action::End, .. }));
        let end = if over { End::Finished } else { End::TooLong };
        let memory = player.rig.memory_as_read(player.chip);
        let there = |at: u32| memory.get(at as usize).copied();
        let lost =
            meant(&bench.board.holds, &bench.board.means).into_iter().filter(|&(at, byte)| there(at) != Some(byte));
        Self {
            lost: lost.map(|(at, _)| at).collect(),
            losses: player.rig.explain_at_most(EXPLAINED),
            reads: core::mem::take(&mut player.reads),
            bench: bench.clone(),
            program: program.clone(),
            log,
            end,
            cursor: RefCell::new(Player::new(bench, program)),
        }
    }

    /// What each step did.
    #[must_use]
    pub fn log(&self) -> &[Outcome] {
        &self.log
    }

    /// How it ended.
    #[must_use]
    pub const fn end(&self) -> End {
        self.end
    }

    /// The bench that it was played on.
    #[must_use]
    pub const fn bench(&self) -> &Bench {
        &self.bench
    }

    /// What was played.
    #[must_use]
    pub const fn program(&self) -> &Program {
        &self.program
    }

    /// Offsets that do not hold what they should at the end.
    #[must_use]
    pub fn lost(&self) -> &[u32] {
        &self.lost
    }

    /// Where lost bytes went, from the simulator's ledger.
    #[must_use]
    pub fn losses(&self) -> &[Loss] {
        &self.losses
    }

    /// Bytes that reads returned, each with what the program takes it to be.
    #[must_use]
    pub fn reads(&self) -> &[(u8, Option<u8>)] {
        &self.reads
    }

    /// Reads that came otherwise than the program takes for granted.
    #[must_use]
    pub fn wrong_reads(&self) -> usize {
        self.reads.iter().filter(|(got, expects)| expects.is_some_and(|expects| expects != *got)).count()
    }

    /// The bench after so many steps, handed to `look`.
    pub(crate) fn at<T>(&self, steps: usize, look: impl FnOnce(&Player) -> T) -> T {
        let player = &mut *self.cursor.borrow_mut();
        let steps = steps.min(self.log.len());
        if player.steps > steps {
            *player = Player::new(&self.bench, &self.program);
        }
        while player.steps < steps && player.step(&self.program).is_some() {}
        look(player)
    }

    /// Memory after so many steps, as it reads.
    #[must_use]
    pub fn memory_at(&self, steps: usize) -> Vec<u8> {
        self.at(steps, |player| player.rig.memory_as_read(player.chip))
    }
}

/// What should be stored at the end, byte by byte; later entries stand above earlier ones.
pub(crate) fn meant(holds: &[Stored], means: &[Stored]) -> BTreeMap<u32, u8> {
    let all = holds.iter().chain(means);
    all.flat_map(|stored| (stored.offset..).zip(stored.bytes.iter().copied())).collect()
}
