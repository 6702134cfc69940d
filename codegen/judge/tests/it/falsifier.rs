//! The falsifier: no fact that a card can hold may change towards worse, or stop being stated, without the verdict saying so.
//!
//! Boards and candidates with a usable verdict are taken, one fact of the candidate's card is changed ([`mutate`]), and
//! the changed file is read and judged again. Then the loader refuses it, or the verdict is worse, gains a condition or asks
//! for more, or the fact did not matter: runs show it to the last bit, or a look-up that shares nothing with the rules
//! ([`oracle`]). What remains is a survivor, and there must be none. [`canary`] blinds the rules, once for each wrong verdict
//! that was ever given, and the falsifier must find each.
//!
//! `PAGEWISE_CASES=27 cargo test -p pagewise-judge --test it falsifier -- --nocapture` makes 100,000 changes and prints what
//! became of them.

mod canary;
mod edit;
mod limits;
mod mutate;
mod oracle;
mod revision;
mod unread;

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::sync::Arc;

use pagewise_judge::board::{Board, Wait};
use pagewise_judge::fleet::invent;
use pagewise_judge::swap::{Climate, Fitted, Judgement, Judges, Run, Told, Verdict};
use pagewise_part::card::{Card, Catalogue, load};
use rayon::prelude::*;
use toml::Table;

use super::search::{scaled, seed};
use mutate::{About, Draw, Kind, Mutation, Worst};

/// What became of a change.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Fate {
    Refused,
    Worse,
    Condition,
    MoreToDo,
    SameRun,
    NotUsed,
    OpenBefore,
    Survivor,
}

impl Fate {
    const ALL: [(Self, &'static str); 8] = [
        (Self::Refused, "refused"),
        (Self::Worse, "worse"),
        (Self::Condition, "condition"),
        (Self::MoreToDo, "said to do"),
        (Self::SameRun, "same run"),
        (Self::NotUsed, "not used"),
        (Self::OpenBefore, "open before"),
        (Self::Survivor, "survivors"),
    ];
}

/// Cards as files and as read.
pub struct Cards {
    pub catalogue: Catalogue,
    texts: BTreeMap<String, Table>,
    worst: Worst,
}

impl Cards {
    pub fn read() -> Self {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../parts");
        let files = fs::read_dir(folder).unwrap().map(|entry| fs::read_to_string(entry.unwrap().path()).unwrap());
        let tables = files.map(|text| text.parse::<Table>().unwrap());
        let texts = tables.map(|table| (table["id"].as_str().unwrap().to_owned(), table)).collect();
        let catalogue = Catalogue::embedded().unwrap();
        let stated = |get: fn(&Card) -> Option<u64>| catalogue.eeproms().filter_map(get).collect::<Vec<u64>>();
        let cycles =
            stated(|card| (!card.write_cycle_max_us.is_assumed()).then_some(u64::from(card.write_cycle_max_us.value)));
        // A counter is as wide as the word address, or wider.
        let wrap = |bytes: u8| {
            let cards = catalogue.eeproms().filter(|card| card.word_address_bytes.value == bytes);
            // A read over the whole of a small array says nothing of larger ones.
            let inside = |card: &&Card| card.read_wrap_bytes.value < card.capacity_bytes.value;
            let stated = cards.filter(|card| !card.read_wrap_bytes.is_assumed()).filter(inside);
            stated.map(|card| i64::from(card.read_wrap_bytes.value)).min().unwrap_or(1 << (8 * bytes))
        };
        let wraps = [0, 1, 2, 3].map(wrap);
        let ratings = stated(|card| (!card.endurance_cycles.is_assumed()).then_some(card.endurance_cycles.value));
        let least = |get: fn(&Card) -> Option<u64>| stated(get).into_iter().min().unwrap() as u32;
        let worst = Worst {
            lowest_max_mv: least(|card| (!card.max_mv.is_assumed()).then_some(u64::from(card.max_mv.value))),
            highest_min_mv: u32::MAX
                - least(|card| {
                    (!card.read_min_mv.is_assumed()).then_some(u64::from(u32::MAX - card.read_min_mv.value))
                }),
            write_cycle_ms: *cycles.iter().max().unwrap() as f64 / 1000.0,
            read_wrap_bytes: wraps,
            endurance_cycles: *ratings.iter().min().unwrap(),
        };
        Self { catalogue, texts, worst }
    }
}

/// A board and what its candidates came to.
struct Place<'b> {
    fitted: Fitted<'b>,
    old: &'b Card,
    board: &'b Board,
    usable: Vec<(&'b str, Judgement)>,
}

fn loaded(table: &Table) -> Option<Card> {
    load::card("changed.toml", &toml::to_string(table).ok()?).ok()
}

/// The same runs but for how long they took. Settings follow the part, so of the run with changed settings it counts that it
/// serves; where none serves, of the run as it is what it fails by.
fn same_runs(before: &Judgement, after: &Judgement) -> bool {
    let serves = |run: &Run| {
        let Told { writes, bytes, errors, .. } = run.told();
        (run.serves, writes, bytes, errors)
    };
    let shown = |it: &Judgement| {
        let (new, changed) = (&it.evidence.new, it.evidence.changed.as_ref().map(|run| run.serves));
        let hazards = (changed != Some(true)).then(|| new.told().hazards);
        (it.verdict, hazards, new.serves.then(|| serves(new)), changed)
    };
    shown(before) == shown(after)
}

fn judged(place: &Place<'_>, mutation: &Mutation, original: &Card, before: &Judgement) -> Fate {
    let Some(card) = loaded(&mutation.card) else { return Fate::Refused };
    let after = place.fitted.judge(&card);
    if after.verdict > before.verdict || after.worst_case > before.worst_case {
        return Fate::Worse;
    }
    if after.provided_that.iter().any(|condition| !before.provided_that.contains(condition)) {
        return Fate::Condition;
    }
    let asked = |it: &Judgement| -> Vec<([String; 3], bool)> {
        let stated = it.findings.iter().filter(|it| it.verdict > Verdict::DropIn);
        stated.map(|it| ([it.rule.to_owned(), it.compared.clone(), it.remedy.clone()], it.proviso.is_some())).collect()
    };
    let known = asked(before);
    if asked(&after).iter().any(|more| !known.contains(more)) {
        return Fate::MoreToDo;
    }
    // Where wear counts by page, a smaller page wears less, and that is all that may get better.
    let left = asked(&after);
    let gone: Vec<_> = known.iter().filter(|finding| !left.contains(finding)).collect();
    let as_it_is = |it: &Judgement| (it.evidence.new.serves, it.evidence.new.told().hazards);
    let wears_less = mutation.kind == Kind::Page && !gone.is_empty() && gone.iter().all(|it| it.0[0] == "endurance");
    if wears_less && as_it_is(before) == as_it_is(&after) {
        return Fate::NotUsed;
    }
    // What is not read any more stands as it did, and excuses nothing.
    let stated = !matches!(mutation.about, About::Everything);
    let as_well = before.evidence.new.serves <= after.evidence.new.serves;
    if stated && as_well && is_beside(mutation.kind, place.board, place.old, original, &card) {
        return Fate::NotUsed;
    }
    // Firmware that the part does not serve as it is may fail there in another way; with new settings it serves as before.
    let fails_otherwise = !before.evidence.new.serves && after.evidence.changed.as_ref().is_some_and(|run| run.serves);
    let stated = matches!(mutation.about, About::Chip);
    if mutation.kind == Kind::AddressRole && stated && fails_otherwise && before.verdict == after.verdict {
        return Fate::NotUsed;
    }
    if after.verdict < before.verdict {
        return Fate::Survivor;
    }
    let used = match &mutation.about {
        About::Everything => None,
        About::Chip => return if same_runs(before, &after) { Fate::SameRun } else { open_before(before, mutation) },
        About::ChipUnread(worst) => {
            let mut cards = worst.iter().filter_map(loaded);
            let same = cards.all(|card| same_runs(before, &place.fitted.judge(&card)));
            return if same { Fate::SameRun } else { open_before(before, mutation) };
        }
        about => Some(oracle::is_used(about, place.board, place.old, &mutation.card)),
    };
    if used == Some(false) { Fate::NotUsed } else { open_before(before, mutation) }
}

/// An independent look-up: the board never comes to where the changed fact would show. Where something else goes wrong, runs
/// may differ in how.
fn is_beside(kind: Kind, board: &Board, old: &Card, original: &Card, changed: &Card) -> bool {
    let (supply, sent) = (board.bus.supply_mv, board.firmware.device_address);
    let answers = |card: &Card| card.in_footprint(board.footprint).answers(board.levels_for(card));
    match kind {
        // No write, as the firmware cuts them, goes over an end of the new page.
        Kind::Page => {
            let written = board.regions.iter().filter(|region| region.writes_per_day > 0.0);
            let page = changed.page_bytes.value;
            let mut pieces = written.flat_map(|region| board.firmware.write_pieces(region));
            pieces.all(|piece| piece.offset / page == (piece.offset + piece.length - 1) / page)
        }
        Kind::Grade => {
            let range = Climate::of(board, old).range();
            let fastest = |card: &Card| card.clone().at_temperatures(range).scl_khz_at(supply);
            fastest(original) == fastest(changed)
        }
        // A role that happens to suit the board is not a change towards worse.
        Kind::AddressRole => {
            let (before, after) = (answers(original), answers(changed));
            before == after || !before.contains(&sent) && after.contains(&sent)
        }
        _ => false,
    }
}

/// Whether the verdict rested on a condition about this very fact before.
fn open_before(before: &Judgement, mutation: &Mutation) -> Fate {
    let told = |words: &[&str]| before.provided_that.iter().any(|it| words.iter().any(|word| it.contains(word)));
    let open = match mutation.kind {
        Kind::Package => told(&["it is made in", "its order code is"]),
        Kind::Pin => told(&["it is made in", "its pins in"]),
        Kind::AddressRole => told(&["it is made in", "its device address", "address pin"]),
        Kind::Supply => told(&["it works at"]),
        Kind::Grade => told(&["it takes"]),
        Kind::Temperature => told(&["it works from", "its order code is of a grade"]),
        Kind::WriteCycle => told(&["the write cycle is"]),
        Kind::WpRange => told(&["WP"]),
        Kind::Endurance => told(&["write cycles"]),
        Kind::Pointer => told(&["pointer"]),
        Kind::ReadWrap => told(&["read"]),
        // New settings are asked for anyway: then it stands among them as what to look for.
        Kind::Region => before
            .findings
            .iter()
            .filter_map(|finding| finding.proviso.as_ref())
            .any(|proviso| proviso.text.ends_with("lies where the fitted part has it")),
        Kind::Page | Kind::Width | Kind::BlockBits => false,
    };
    if open { Fate::OpenBefore } else { Fate::Survivor }
}

/// Boards of an invented fleet; some at exactly 4.5 V, some that read on after a write, some that use a region.
fn boards(cards: &Cards, count: usize) -> Vec<Board> {
    let files = invent::fleet(&cards.catalogue, count, seed());
    let mut boards: Vec<Board> =
        files.iter().map(|file| pagewise_judge::board::parse(&file.name, &file.text).unwrap()).collect();
    for (place, board) in boards.iter_mut().enumerate() {
        let fitted = cards.catalogue.find(&board.fitted).unwrap();
        match place % 5 {
            0 if (fitted.read_min_mv.value..=fitted.max_mv.value).contains(&4500) => board.bus.supply_mv = 4500,
            1 => {
                board.firmware.wait = Wait::Fixed { us: 20_000 };
                board.firmware.reads_on_after_write = true;
            }
            2 => board.uses = fitted.regions.iter().take(1).map(|region| region.kind).collect(),
            _ => {}
        }
    }
    boards
}

/// What became of how many changes of each kind, and the first survivors.
#[derive(Default)]
pub struct Tally {
    counts: BTreeMap<Kind, BTreeMap<Fate, usize>>,
    pub survivors: Vec<String>,
}

impl Tally {
    fn add(&mut self, kind: Kind, fate: Fate) {
        *self.counts.entry(kind).or_default().entry(fate).or_default() += 1;
    }

    fn and(mut self, other: Self) -> Self {
        for (kind, fates) in other.counts {
            for (fate, count) in fates {
                *self.counts.entry(kind).or_default().entry(fate).or_default() += count;
            }
        }
        self.survivors.extend(other.survivors);
        self
    }

    fn of(&self, kind: Kind, fate: Fate) -> usize {
        self.counts.get(&kind).and_then(|fates| fates.get(&fate)).copied().unwrap_or(0)
    }

    /// Of each kind the first survivors.
    fn first(&self) -> Vec<&String> {
        let of = |kind: Kind| self.survivors.iter().filter(move |it| it.starts_with(&format!("{kind:?}:"))).take(4);
        Kind::ALL.into_iter().flat_map(of).collect()
    }

    fn total(&self) -> usize {
        self.counts.values().flat_map(BTreeMap::values).sum()
    }

    fn print(&self) {
        let heads: Vec<String> = Fate::ALL.iter().map(|(_, word)| format!("{word:>12}")).collect();
        println!("{:<14}{:>8}{}", "fact", "changes", heads.concat());
        for kind in Kind::ALL {
            let counts = Fate::ALL.map(|(fate, _)| self.of(kind, fate));
            let cells: Vec<String> = counts.iter().map(|count| format!("{count:>12}")).collect();
            println!("{:<14}{:>8}{}", format!("{kind:?}"), counts.iter().sum::<usize>(), cells.concat());
        }
        println!("{:<14}{:>8}", "all", self.total());
    }
}

/// Makes `changes` to cards for each board, of these kinds in turn.
pub fn falsify(cards: &Cards, boards: &[Board], kinds: &[Kind], changes: usize, judges: &Arc<Judges>) -> Tally {
    let one = |(number, board): (usize, &Board)| {
        let old = cards.catalogue.find(&board.fitted).expect("its card");
        let fitted = Fitted::judged_by(board, old, Arc::clone(judges));
        let others = cards.texts.keys().filter(|id| **id != old.id);
        let all = others.map(|id| (id.as_str(), fitted.judge(cards.catalogue.find(id).expect("its card"))));
        let usable = all.filter(|(_, judgement)| judgement.verdict <= Verdict::Reconfigure).collect();
        let place = Place { fitted, old, board, usable };
        let mut draw = Draw(seed() ^ (number as u64) << 32);
        let mut tally = Tally::default();
        if place.usable.is_empty() {
            return tally;
        }
        for change in 0..changes {
            let kind = kinds[change % kinds.len()];
            // Not every card holds every kind of fact.
            for _ in 0..60 {
                let (id, before) = &place.usable[draw.below(place.usable.len())];
                let Some(mutation) = mutate::draw(kind, &cards.texts[*id], board, old, cards.worst, &mut draw) else {
                    continue;
                };
                let original = cards.catalogue.find(id).expect("its card");
                let fate = judged(&place, &mutation, original, before);
                tally.add(kind, fate);
                if fate == Fate::Survivor {
                    let (from, then) = (&old.id, before.headline());
                    tally
                        .survivors
                        .push(format!("{kind:?}: {}: {from} to {id}, {then}: {}", board.file, mutation.what));
                }
                break;
            }
        }
        tally
    };
    boards.par_iter().enumerate().map(one).reduce(Tally::default, Tally::and)
}

#[test]
fn no_fact_gets_worse_or_unread_without_a_word() {
    let cards = Cards::read();
    println!("seed {:#x}", seed());
    let boards = boards(&cards, scaled(40).min(600) as usize);
    let changes = scaled(4000) as usize / boards.len();
    let tally = falsify(&cards, &boards, &Kind::ALL, changes, &Arc::default());
    tally.print();
    assert!(tally.survivors.is_empty(), "{} survivors: {:#?}", tally.survivors.len(), tally.first());
    for kind in Kind::ALL {
        let noticed = tally.of(kind, Fate::Worse) + tally.of(kind, Fate::Condition) + tally.of(kind, Fate::MoreToDo);
        assert!(noticed + tally.of(kind, Fate::Refused) > 0, "no change of {kind:?} was ever noticed");
    }
}
