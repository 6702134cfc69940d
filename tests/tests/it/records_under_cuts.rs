//! The record store under cuts of supply, on parts of different density and wiring: every bus event and nine points of
//! every write cycle of the work, all torn models, one cut and two in a row. An acknowledged value is never lost, what
//! is found is always the old or a new value, and no write touches a page of another record.
//!
//! The counts stand in the driver's README; `PAGEWISE_BLESS=1` writes them there.
//!
//! Exhaustive: the first cut. Sampled: the second one (every [`SECOND_CUT_EVERY`]th point of the recovery), and draws
//! of the models that draw (one). Write cycles take 0.2 ms here, so that few polls repeat the same thing.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::ops::Range;

use pagewise_driver::records::{RecordError, RecordLayout, RecordSpec, RecordStore};
use pagewise_driver::{Eeprom, Options};
use pagewise_part::card::{Card, Catalogue};
use pagewise_simulator::{
    ChipId, CutExplorer, CutProgram, CycleTime, PowerUp, Rig, RigBus, RigConfig, RigDelay, TornModel,
};
use pagewise_tests::readme::stands_in_driver_readme;
use pagewise_tests::seat::Seat;

const VALUE: u8 = 0x11;
const COUNTER: u8 = 0x22;
const SPECS: [RecordSpec; 2] = [RecordSpec::new(VALUE, 8, 3), RecordSpec::new(COUNTER, 8, 3)];
const SECOND_CUT_EVERY: usize = 83;
/// Four writes of each record: the fourth one replaces the contents of its first slot.
const STEPS: usize = 8;

type Store = RecordStore<'static, Eeprom<RigBus, RigDelay, 259>, 21>;

/// What a record may hold: what was acknowledged last, and what was begun since.
#[derive(Debug, Clone, Default)]
struct Promise {
    acknowledged: u64,
    begun: Vec<u64>,
}

impl Promise {
    fn allows(&self, value: u64) -> bool {
        value == self.acknowledged || self.begun.contains(&value)
    }

    fn keep(&mut self, value: u64) {
        *self = Self { acknowledged: value, begun: Vec::new() };
    }
}

#[derive(Debug, Clone, Default)]
struct Progress {
    value: Promise,
    counter: Promise,
    /// Last number written, so that no two writes are alike.
    last: u64,
    broken: Option<String>,
}

/// Two records on a card's part.
struct Board {
    seat: Seat,
    layout: RecordLayout<'static>,
}

impl Board {
    /// `None` where the part has no room.
    fn new(card: &Card) -> Option<Self> {
        let seat = Seat::new(card, 0, 0);
        let (page, capacity) = (seat.geometry.page_bytes(), seat.geometry.capacity_bytes());
        let start = if page == capacity { seat.writable.start } else { seat.writable.start.next_multiple_of(page) };
        let layout = RecordLayout::try_new(&seat.geometry, start, &SPECS).ok()?;
        (layout.end() <= seat.writable.end).then_some(Self { seat, layout })
    }

    fn build(&self) -> (Rig, ChipId) {
        let config = RigConfig::default().with_scl_hz(self.seat.scl_hz).with_supply_mv(self.seat.supply_mv);
        let rig = Rig::new(config);
        let chip = rig.attach_with(self.seat.card.chip_model(), self.seat.straps(), PowerUp::Random);
        rig.set_write_cycle(chip, CycleTime::Exact(200_000));
        (rig, chip)
    }

    fn store(&self, rig: &Rig) -> Store {
        RecordStore::new(Eeprom::new(rig.bus(), rig.delay(), self.seat.geometry, Options::new()), self.layout)
    }

    /// Bytes of one of the two records, which have the same size.
    fn bytes_of(&self, id: u8) -> Range<usize> {
        let (start, end) = (self.layout.start() as usize, self.layout.end() as usize);
        let middle = start.midpoint(end);
        if id == VALUE { start..middle } else { middle..end }
    }

    /// Writes a record and looks whether bytes beside it have changed.
    fn write(&self, id: u8, rig: &Rig, chip: ChipId, progress: &mut Progress) -> bool {
        let before = rig.memory(chip);
        let done = if id == VALUE { self.write_value(rig, progress) } else { self.count_up(rig, progress) };
        let (after, own) = (rig.memory(chip), self.bytes_of(id));
        if after[..own.start] != before[..own.start] || after[own.end..] != before[own.end..] {
            progress.broken = Some(format!("a write of record {id:#04x} has changed bytes beside it"));
        }
        done
    }

    fn write_value(&self, rig: &Rig, progress: &mut Progress) -> bool {
        progress.last += 1;
        let value = progress.last;
        progress.value.begun.push(value);
        let done = self.store(rig).write(VALUE, 1, &value.to_le_bytes()).is_ok();
        if done {
            progress.value.keep(value);
        }
        done
    }

    fn count_up(&self, rig: &Rig, progress: &mut Progress) -> bool {
        let highest = progress.counter.begun.iter().copied().fold(progress.counter.acknowledged, u64::max);
        progress.counter.begun.push(highest + 1);
        let Ok(value) = self.store(rig).increment(COUNTER) else { return false };
        if !progress.counter.begun.contains(&value) {
            progress.broken = Some(format!("the counter gives {value}: {:?}", progress.counter));
        }
        progress.counter.keep(value);
        true
    }

    /// Reads both records and holds them against what was promised. A cut ends it without a judgement.
    fn judge(&self, rig: &Rig, progress: &mut Progress) {
        let mut payload = [0; 8];
        let value = match self.store(rig).read(VALUE, &mut payload) {
            Ok(_) => u64::from_le_bytes(payload),
            Err(RecordError::NotFound) => 0,
            Err(_) => return,
        };
        if !progress.value.allows(value) {
            progress.broken = Some(format!("the value is {value}: {:?}", progress.value));
        }
        if let Ok(count) = self.store(rig).count(COUNTER)
            && !progress.counter.allows(count)
        {
            progress.broken = Some(format!("the counter is {count}: {:?}", progress.counter));
        }
    }
}

/// A board with the part that every rig made from it has.
struct Program {
    board: Board,
    chip: ChipId,
    /// Erase the value before it is written anew, which no store should.
    careless: bool,
}

impl CutProgram for Program {
    type Progress = Progress;

    fn setup(&self) -> Rig {
        self.board.build().0
    }

    fn steps(&self) -> usize {
        STEPS
    }

    fn step(&self, index: usize, rig: &Rig, progress: &mut Progress) -> bool {
        if self.careless && self.board.store(rig).erase(VALUE).is_err() {
            return false;
        }
        self.board.write([VALUE, COUNTER][index % 2], rig, self.chip, progress)
    }

    fn recover(&self, rig: &Rig, progress: &mut Progress) {
        self.board.judge(rig, progress);
        if self.board.write(VALUE, rig, self.chip, progress) {
            self.board.write(COUNTER, rig, self.chip, progress);
        }
    }

    fn check(&self, rig: &Rig, progress: &Progress) -> Result<(), String> {
        let mut progress = progress.clone();
        self.board.judge(rig, &mut progress);
        match progress.broken {
            Some(reason) => Err(reason),
            None if !progress.value.begun.is_empty() || !progress.counter.begun.is_empty() => {
                Err("the recovery did not write".to_owned())
            }
            None => Ok(()),
        }
    }
}

/// One board for each combination of capacity, wiring and reach of a torn write that has room for the records.
fn programs() -> Vec<(String, Program)> {
    let mut found = BTreeMap::new();
    for card in Catalogue::embedded().unwrap().cards() {
        let Some(board) = Board::new(card) else { continue };
        let geometry = &board.seat.geometry;
        let capacity = geometry.capacity_bytes();
        if geometry.page_bytes() == capacity || geometry.write_cycle_us() == 0 {
            continue;
        }
        let scope = format!("{:?}", card.chip_model().torn_scope);
        let key = (capacity, geometry.word_address_bytes(), geometry.parameters().block_select_bits, scope);
        let chip = board.build().1;
        found.entry(key).or_insert((card.id.clone(), Program { board, chip, careless: false }));
    }
    found.into_values().collect()
}

#[test]
fn p3_no_acknowledged_record_is_lost_wherever_one_or_two_cuts_fall() {
    let explorer = CutExplorer { draws: 1, second_cut_every: SECOND_CUT_EVERY, ..CutExplorer::default() };
    let programs = programs();
    let mut per_model = BTreeMap::<TornModel, u64>::new();
    for (card, program) in &programs {
        let report = explorer.run(program);
        assert!(report.failures == 0 && report.first_failure.is_none(), "{card}: {report}");
        assert_eq!(report.per_model.len(), TornModel::ALL.len(), "{card}");
        for (model, cases) in report.per_model {
            *per_model.entry(model).or_default() += cases;
        }
    }
    let mut table = format!("\n{} cards.\n\n| Cut pages hold | Cases | Lost |\n|---|---|---|\n", programs.len());
    for (model, cases) in &per_model {
        writeln!(table, "| {} | {cases} | 0 |", left_behind(*model)).unwrap();
    }
    writeln!(table, "| all of these | {} | 0 |\n", per_model.values().sum::<u64>()).unwrap();
    println!("{table}");
    assert!(programs.len() >= 12, "{} cards only", programs.len());
    stands_in_driver_readme("records under cuts", "records_under_cuts.rs", &table);
}

/// What a cut in a write cycle leaves, in words.
const fn left_behind(model: TornModel) -> &'static str {
    match model {
        TornModel::Old => "the old bytes, or none was in its write cycle",
        TornModel::New => "the new bytes",
        TornModel::Prefix => "the first bytes new, the rest old",
        TornModel::Subset => "each byte old or new",
        TornModel::ErasedThenProgrammed => "bits on their way through erasing and programming",
        TornModel::Unstable => "bits that read differently each time",
    }
}

#[test]
fn a_store_that_erases_before_it_writes_is_caught() {
    let explorer = CutExplorer { draws: 1, first_cut_every: 10, ..CutExplorer::default() };
    let (_, program) = programs().swap_remove(0);
    let report = explorer.run(&Program { careless: true, ..program });
    assert!(report.first_failure.is_some(), "{report}");
}
