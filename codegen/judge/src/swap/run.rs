//! One run of a board's firmware on one simulated chip: whether the part serves, and why not for whoever asks.

use std::borrow::Cow;
use std::fmt;
use std::sync::{Arc, OnceLock};

use pagewise_simulator::Loss;
use schemars::{JsonSchema, Schema, SchemaGenerator};
use serde::{Serialize, Serializer};

use super::course::Extent;
use super::part::{NAME, Part};
use super::setup::{set_up, wanted};
use super::stage::{Aftermath, Stage};
pub use super::stage::{Told, Transaction};
use crate::board::Board;
use pagewise_part::card::Card;

/// Seed of what a run draws.
const SEED: u64 = 7;

/// What a run comes to.
#[derive(Debug, Clone, Default, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Run {
    /// Everything stored and read back, nothing else touched, nothing reported.
    pub serves: bool,
    /// Nothing was run: outside what the part's sheet promises, no simulation says how it fails.
    pub spared: bool,
    #[serde(flatten)]
    shows: Shows,
    /// Where the part's pointer stood after each region was written, as reads showed it; `None` where the part did not
    /// answer. Empty where the firmware sends an address with every read, and where the part does not serve.
    #[serde(skip)]
    pub pointers: Vec<Option<u32>>,
}

/// A run with all that it leaves behind.
#[derive(Debug, Clone)]
pub struct Played {
    /// What it comes to.
    pub run: Run,
    /// The whole array as it should be afterwards.
    pub wanted: Vec<u8>,
    /// The whole array as it is.
    pub found: Vec<u8>,
    /// Why they differ, for the first bytes that do.
    pub losses: Vec<Loss>,
    /// The first failing transaction.
    pub transaction: Option<Transaction>,
}

/// What the whole run shows. A failing one broke off at its first failure, and is made again to its end where somebody asks:
/// most are never looked at.
#[derive(Clone)]
enum Shows {
    Said(Told),
    /// With the part's name for the stand-in that the run has.
    Seen(Arc<Seen>, String),
}

/// A failing run that can be made again.
struct Seen {
    board: Board,
    part: Part,
    expects: Option<Vec<Option<u32>>>,
    seed: u64,
    told: OnceLock<Told>,
}

impl Seen {
    fn of(stage: Stage<'_>) -> Self {
        let Stage { board, part, expects, seed } = stage;
        let expects = expects.map(<[_]>::to_vec);
        Self { board: board.clone(), part: part.clone(), expects, seed, told: OnceLock::new() }
    }

    fn aftermath(&self) -> Aftermath {
        let (board, part, expects) = (&self.board, &self.part, self.expects.as_deref());
        Stage { board, part, expects, seed: self.seed }.aftermath()
    }
}

impl Default for Shows {
    fn default() -> Self {
        Self::Said(Told::default())
    }
}

impl Shows {
    fn seen(stage: Stage<'_>) -> Self {
        Self::Seen(Arc::new(Seen::of(stage)), NAME.to_owned())
    }

    fn told(&self) -> Told {
        match self {
            Self::Said(told) => told.clone(),
            Self::Seen(seen, name) => seen.told.get_or_init(|| seen.aftermath().told).clone().named(name),
        }
    }
}

impl fmt::Debug for Shows {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.told().fmt(f)
    }
}

impl PartialEq for Shows {
    fn eq(&self, other: &Self) -> bool {
        self.told() == other.told()
    }
}

impl Eq for Shows {}

impl Serialize for Shows {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        self.told().serialize(serializer)
    }
}

impl JsonSchema for Shows {
    fn schema_name() -> Cow<'static, str> {
        Told::schema_name()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        Told::json_schema(generator)
    }
}

impl Run {
    /// How it ended: `serves`, `fails`, or `not run`.
    #[must_use]
    pub const fn outcome(&self) -> &'static str {
        match (self.serves, self.spared) {
            (true, _) => "serves",
            (false, true) => "not run",
            (false, false) => "fails",
        }
    }

    /// What the whole run shows. Where the part does not serve, makes the run again, once.
    #[must_use]
    pub fn told(&self) -> Told {
        self.shows.told()
    }

    /// The same run, held to something that it does not show.
    pub(super) fn refuted(self, why: &str) -> Self {
        let shows = Shows::Said(Told { first_loss: Some(why.to_owned()), ..self.told() });
        Self { serves: false, shows, ..self }
    }

    fn spared(why: &str) -> Self {
        let told = Told { first_loss: Some(why.to_owned()), ..Told::default() };
        Self { spared: true, shows: Shows::Said(told), ..Self::default() }
    }

    fn of(stage: Stage<'_>) -> Self {
        if let Some(why) = stage.part.unpromised {
            return Self::spared(why);
        }
        let ran = stage.run(Extent::UntilFailure);
        let serves = ran.serves(stage.expects);
        let shows = if serves { Shows::Said(ran.done()) } else { Shows::seen(stage) };
        let pointers = if serves { ran.course.pointers } else { Vec::new() };
        Self { serves, spared: false, shows, pointers }
    }

    /// Puts the part's name where the run has the stand-in.
    pub(super) fn named(self, card: &Card) -> Self {
        let shows = match self.shows {
            Shows::Seen(seen, _) => Shows::Seen(seen, card.name.clone()),
            shows => shows,
        };
        Self { shows, ..self }
    }
}

impl Played {
    /// The same with the part's name where the run has the stand-in.
    pub(super) fn named(self, card: &Card) -> Self {
        let transaction = self.transaction.map(|it| it.named(&card.name));
        Self { run: self.run.named(card), transaction, ..self }
    }
}

/// Runs the board's firmware on one part: writes every region that is written at run time, reads every region.
/// `expects` is where the firmware takes the pointer to stand after each of those writes, if it reads on from there.
#[must_use]
pub fn run(board: &Board, part: &Part, expects: Option<&[Option<u32>]>) -> Run {
    let stage = Stage { board, part, expects, seed: SEED };
    let first = Run::of(stage);
    // Firmware that never sets the whole pointer may find it by luck where it should stand; not twice.
    let lucky = board.firmware.word_address_bytes != part.model.word_address_bytes;
    if first.serves && lucky {
        let second = Run::of(Stage { seed: SEED + 1, ..stage });
        if !second.serves {
            return second;
        }
    }
    first
}

/// The same with all that the run leaves behind.
#[must_use]
pub fn play(board: &Board, part: &Part, expects: Option<&[Option<u32>]>) -> Played {
    let run = run(board, part, expects);
    if let Shows::Seen(seen, _) = &run.shows {
        let Aftermath { wanted, found, losses, transaction, .. } = seen.aftermath();
        return Played { run, wanted, found, losses, transaction };
    }
    let (.., before) = set_up(board, part, SEED);
    let wanted = wanted(board, before.clone());
    let found = if run.serves { wanted.clone() } else { before };
    Played { run, wanted, found, losses: Vec::new(), transaction: None }
}
