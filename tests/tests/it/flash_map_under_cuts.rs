//! A key-value map made for NOR flash (the `sequential-storage` crate) on `FlashLike`, under cuts of supply at bus
//! events and at nine points of every write cycle, one and two in a row, under every torn model; and what it costs in
//! wear, beside the record store. The table stands in the driver's README; `PAGEWISE_BLESS=1` writes it anew.
//!
//! The map takes words of at most 32 bytes, so on a part with larger pages words share a page, which a cut may take
//! along. The table samples the first cut (every [`FIRST_CUT_EVERY`]th point) and the second one; a test that is not
//! run by default cuts once everywhere. One draw of the models that draw. Write cycles take 0.2 ms.

use std::collections::BTreeMap;

use pagewise_driver::records::{RecordLayout, RecordSpec, RecordStore};
use pagewise_driver::{AsyncEeprom, Eeprom, FlashLike, Options};
use pagewise_part::card::{Card, Catalogue};
use pagewise_simulator::{
    AsyncRigBus, ChipId, CutExplorer, CutProgram, CycleTime, EventKind, Note, PowerUp, Rig, RigConfig, RigDelay,
    TornModel, block_on,
};
use pagewise_tests::readme::stands_in_driver_readme;
use pagewise_tests::seat::Seat;
use sequential_storage::cache::Cache;
use sequential_storage::map::{MapConfig, MapStorage};

/// Values stored; enough that the map has to erase a unit more than once on every part.
const STEPS: usize = 14;
const FIRST_CUT_EVERY: usize = 61;
const SECOND_CUT_EVERY: usize = 997;
const UNITS: u32 = 3;

type Flash<const WRITE: usize, const ERASE: usize> = FlashLike<AsyncEeprom<AsyncRigBus, RigDelay, 259>, WRITE, ERASE>;

#[derive(Debug, Clone, Default)]
struct Progress {
    /// What each key holds by what was acknowledged, and what was begun since.
    acknowledged: [Option<u32>; 2],
    begun: [Vec<u32>; 2],
    last: u32,
    broken: Option<String>,
}

struct Program<const WRITE: usize, const ERASE: usize> {
    seat: Seat,
    start: u32,
}

impl<const WRITE: usize, const ERASE: usize> Program<WRITE, ERASE> {
    /// `None` where the part has no room.
    fn new(card: &Card) -> Option<Self> {
        let seat = Seat::new(card, 0, 0);
        let start = seat.writable.start.next_multiple_of(ERASE as u32);
        (start + UNITS * ERASE as u32 <= seat.writable.end).then_some(Self { seat, start })
    }

    fn rig(&self) -> (Rig, ChipId) {
        let config = RigConfig::default().with_scl_hz(self.seat.scl_hz).with_supply_mv(self.seat.supply_mv);
        let rig = Rig::new(config);
        let chip = rig.attach_with(self.seat.card.chip_model(), self.seat.straps(), PowerUp::Erased);
        rig.set_write_cycle(chip, CycleTime::Exact(200_000));
        (rig, chip)
    }

    fn map(&self, rig: &Rig) -> MapStorage<u8, Flash<WRITE, ERASE>, impl sequential_storage::cache::CacheImpl<u8>> {
        let eeprom = AsyncEeprom::new(rig.async_bus(), rig.delay(), self.seat.geometry, Options::new());
        let range = self.start..self.start + UNITS * ERASE as u32;
        MapStorage::new(FlashLike::new(eeprom), MapConfig::new(range), Cache::new_uncached())
    }

    fn store(&self, key: u8, rig: &Rig, progress: &mut Progress) -> bool {
        progress.last += 1;
        let (value, index) = (progress.last, usize::from(key));
        progress.begun[index].push(value);
        let done = block_on(self.map(rig).store_item(&mut [0; 128], &key, &value)).is_ok();
        if done {
            progress.acknowledged[index] = Some(value);
            progress.begun[index].clear();
        }
        done
    }

    fn judge(&self, rig: &Rig, progress: &mut Progress) {
        for key in 0..2u8 {
            let found = block_on(self.map(rig).fetch_item::<u32>(&mut [0; 128], &key));
            if rig.supply_mv() == 0 {
                return;
            }
            let (index, found) = (usize::from(key), found.map_err(|error| format!("{error:?}")));
            let allowed = |value: &Option<u32>| {
                *value == progress.acknowledged[index] || value.is_some_and(|v| progress.begun[index].contains(&v))
            };
            if !found.as_ref().is_ok_and(allowed) {
                progress.broken.get_or_insert(format!("key {key}: {found:?}, {progress:?}"));
            }
        }
    }

    /// Page writes for all values, counted on the part.
    fn page_writes(&self) -> usize {
        let (rig, _) = self.rig();
        let mut progress = Progress::default();
        self.work(&rig, &mut progress);
        assert!(progress.acknowledged.iter().all(Option::is_some), "{}", self.seat.card.id);
        cycles(&rig)
    }

    /// The same values in the record store.
    fn page_writes_of_records(&self) -> usize {
        let (rig, _) = self.rig();
        let specs = [0, 1].map(|id| RecordSpec::new(id, 4, 3));
        let start = self.seat.writable.start.next_multiple_of(self.seat.geometry.page_bytes());
        let layout = RecordLayout::try_new(&self.seat.geometry, start, &specs).unwrap();
        let driver = Eeprom::<_, _, 259>::new(rig.bus(), rig.delay(), self.seat.geometry, Options::new());
        let mut store = RecordStore::<_, 17>::new(driver, layout);
        for step in 0..STEPS {
            store.write((step % 2) as u8, 1, &(step as u32).to_le_bytes()).unwrap();
        }
        cycles(&rig)
    }
}

fn cycles(rig: &Rig) -> usize {
    let starts = |kind: &EventKind| matches!(kind, EventKind::Chip { note: Note::CycleStart { .. }, .. });
    rig.trace().iter().filter(|event| starts(&event.kind)).count()
}

impl<const WRITE: usize, const ERASE: usize> CutProgram for Program<WRITE, ERASE> {
    type Progress = Progress;

    fn setup(&self) -> Rig {
        self.rig().0
    }

    fn steps(&self) -> usize {
        STEPS
    }

    fn step(&self, index: usize, rig: &Rig, progress: &mut Progress) -> bool {
        self.store((index % 2) as u8, rig, progress)
    }

    fn recover(&self, rig: &Rig, progress: &mut Progress) {
        self.judge(rig, progress);
        self.store(0, rig, progress);
    }

    fn check(&self, rig: &Rig, progress: &Progress) -> Result<(), String> {
        let mut progress = progress.clone();
        self.judge(rig, &mut progress);
        progress.broken.map_or(Ok(()), Err)
    }
}

/// A line of the table, and how many values were lost under each model.
struct Line {
    text: String,
    page_is_word: bool,
    lost: BTreeMap<TornModel, u64>,
}

fn explore<const WRITE: usize, const ERASE: usize>(card: &Card, every: usize, twice: usize) -> Option<Line> {
    let program = Program::<WRITE, ERASE>::new(card)?;
    let (page, scope) = (program.seat.geometry.page_bytes(), card.chip_model().torn_scope);
    let (mut lost, mut cases) = (BTreeMap::new(), 0);
    for model in TornModel::ALL {
        let explorer = CutExplorer {
            models: vec![model],
            draws: 1,
            first_cut_every: every,
            second_cut_every: twice,
            ..CutExplorer::default()
        };
        let report = explorer.run(&program);
        cases += report.cases();
        if report.failures > 0 {
            lost.insert(model, report.failures);
        }
    }
    let per_value = |writes: usize| {
        let tenths = (writes * 10).div_ceil(STEPS);
        format!("{}.{}", tenths / 10, tenths % 10)
    };
    let losses = match lost.iter().map(|(model, count)| format!("{} {count}", model.name())).collect::<Vec<_>>() {
        none if none.is_empty() => "none".to_owned(),
        some => some.join(", "),
    };
    let text = format!(
        "| {} | {page} | {WRITE} | {scope:?} | {cases} | {losses} | {} | {} |\n",
        card.name,
        per_value(program.page_writes()),
        per_value(program.page_writes_of_records())
    );
    Some(Line { text, page_is_word: page as usize == WRITE, lost })
}

/// One part for each page, reach of a torn write and wiring that has room for the map.
fn lines(every: usize, twice: usize) -> Vec<Line> {
    let catalogue = Catalogue::embedded().unwrap();
    let mut chosen = BTreeMap::new();
    for card in catalogue.cards().iter().filter(|card| card.write_cycle_max_us.value > 0) {
        let (page, scope) = (card.page_bytes.value, format!("{:?}", card.chip_model().torn_scope));
        if page >= 8 && card.word_address_bytes.value > 0 {
            let key = (page, scope, card.word_address_bytes.value, card.block_select_bits() > 0);
            chosen.entry(key).or_insert(card);
        }
    }
    let one = |card: &Card| match card.page_bytes.value {
        8 => explore::<8, 64>(card, every, twice),
        16 => explore::<16, 128>(card, every, twice),
        _ => explore::<32, 256>(card, every, twice),
    };
    let lines: Vec<Line> = chosen.into_values().filter_map(one).collect();
    assert!(lines.len() >= 12, "{} cards only", lines.len());
    for line in lines.iter().filter(|line| line.page_is_word) {
        let lost = line.lost.keys().find(|model| **model != TornModel::Unstable);
        assert!(lost.is_none(), "where a word is a page, only an unstable page may cost a value: {}", line.text);
    }
    lines
}

#[test]
fn a_map_for_nor_flash_under_cuts_and_what_it_costs() {
    let lines = lines(FIRST_CUT_EVERY, SECOND_CUT_EVERY);
    let mut table =
        String::from("\n| Part | Page | Word | A cut endangers | Cuts | Cuts that lost a value, by torn model | ");
    table += "Page writes per value | The record store's |\n|---|---|---|---|---|---|---|---|\n";
    table.extend(lines.iter().map(|line| line.text.as_str()));
    table.push('\n');
    println!("{table}");
    stands_in_driver_readme("a NOR-flash map under cuts", "flash_map_under_cuts.rs", &table);
}

#[test]
#[ignore = "takes many minutes: one cut at every point"]
fn a_map_for_nor_flash_cut_once_everywhere() {
    lines(1, 0).iter().for_each(|line| print!("{}", line.text));
}
