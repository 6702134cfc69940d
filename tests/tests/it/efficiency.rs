//! Time on the bus against the floor of `pagewise_tests::floor`: exact, since time is virtual. The tables stand in the
//! driver's README, which this test compares; `PAGEWISE_BLESS=1` writes them anew.

use std::collections::{BTreeMap, BTreeSet};

use pagewise_driver::{Eeprom, Options, Wait};
use pagewise_part::card::{Card, Catalogue, CyclePer};
use pagewise_simulator::{CycleTime, PowerUp, Rig, RigBus, RigConfig, RigDelay};
use pagewise_tests::floor::{self, BYTE, CONDITION, Floor};
use pagewise_tests::readme::stands_in_driver_readme;
use pagewise_tests::seat::Seat;

type Driver = Eeprom<RigBus, RigDelay, 259>;

const KHZ: [u32; 3] = [100, 400, 1000];
const LENGTHS: [&str; 4] = ["1 byte", "1 page", "256 bytes", "whole part"];
/// A part of each size class for the table.
const SHOWN: [&str; 5] = ["24fc01", "24lc16b", "24lc32a", "24fc64", "24fc1025"];

/// How long the write cycles of a run are.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Length {
    /// The shortest time that any card states, for the same unit.
    Shortest,
    Typical,
    Longest,
}

const CYCLES: [Length; 3] = [Length::Shortest, Length::Typical, Length::Longest];

fn cycle_ns(cards: &[Card], card: &Card, length: Length) -> u64 {
    let per = card.write_cycle_per.value;
    let stated = cards.iter().filter(|card| card.write_cycle_max_us.value > 0 && card.write_cycle_per.value == per);
    let us = match length {
        Length::Shortest => stated.map(|card| card.write_cycle_typ_us.value).min().unwrap_or(0),
        Length::Typical => card.write_cycle_typ_us.value,
        Length::Longest => card.write_cycle_max_us.value,
    };
    u64::from(us.min(card.write_cycle_max_us.value)) * 1000
}

/// A part at one rate and one duration of its write cycle.
struct Run<'a> {
    card: &'a Card,
    seat: Seat,
    hz: u32,
    cycle_ns: u64,
}

impl<'a> Run<'a> {
    /// `None` if the part cannot do this rate at its highest supply.
    fn new(card: &'a Card, khz: u32, cycle_ns: u64) -> Option<Self> {
        let mut seat = Seat::new(card, 0, 0);
        seat.supply_mv = card.max_mv.value;
        let possible = card.scl_khz_at(seat.supply_mv) >= khz && card.min_scl_khz <= khz;
        possible.then_some(Self { card, seat, hz: khz * 1000, cycle_ns })
    }

    fn length(&self, what: &str) -> u32 {
        let room = self.seat.writable.end - self.seat.writable.start;
        let length = match what {
            "1 byte" => 1,
            "1 page" => self.card.page_bytes.value,
            "256 bytes" => 256,
            _ => room,
        };
        length.min(room)
    }

    fn time(&self, options: Options, job: impl FnOnce(&mut Driver)) -> u64 {
        let rig = Rig::new(RigConfig::default().with_scl_hz(self.hz).with_supply_mv(self.seat.supply_mv));
        rig.set_trace(false);
        let chip = rig.attach_with(self.card.chip_model(), self.seat.straps(), PowerUp::Random);
        rig.set_write_cycle(chip, CycleTime::Exact(self.cycle_ns));
        let mut driver = Driver::new(rig.bus(), rig.delay(), self.seat.geometry, options);
        let start = rig.now_ns();
        job(&mut driver);
        rig.now_ns() - start
    }

    /// Time of a write, and its floor, in nanoseconds.
    fn write(&self, length: u32, options: Options) -> (u64, u64) {
        let (offset, data) = (self.seat.writable.start, vec![0x5A; length as usize]);
        let used = self.time(options, |driver| driver.write(offset, &data).unwrap());
        (used, Floor::write(self.card, offset, length).ns(self.card, self.hz, self.cycle_ns))
    }

    fn read(&self, length: u32) -> (u64, u64) {
        let (offset, mut data) = (self.seat.writable.start, vec![0; length as usize]);
        let used = self.time(Options::new(), |driver| driver.read(offset, &mut data).unwrap());
        (used, Floor::read(self.card, offset, length).ns(self.card, self.hz, self.cycle_ns))
    }

    /// What polling can cost at most beyond the floor: for each page one refused try and one pause; for each page at
    /// another device address than the one before, and after the last one, a poll that is answered.
    fn allowed_ns(&self, length: u32, options: &Options) -> u64 {
        let (offset, header) = (self.seat.writable.start, u64::from(self.card.word_address_bytes.value));
        let pages = Floor::write(self.card, offset, length).cycles;
        let try_ns = (CONDITION + BYTE + CONDITION) * self.period_ns() + u64::from(options.poll_interval_us) * 1000;
        let poll = 2 * CONDITION + BYTE * (1 + header.max(1));
        let address = |page: u64| (page * u64::from(self.card.page_bytes.value)).checked_shr(8 * header as u32);
        let first = u64::from(offset / self.card.page_bytes.value);
        let changes = (first + 1..first + pages).filter(|page| address(*page) != address(page - 1)).count() as u64;
        pages * try_ns + (changes + u64::from(pages > 0)) * poll * self.period_ns()
    }

    fn period_ns(&self) -> u64 {
        1_000_000_000_u64.div_ceil(u64::from(self.hz))
    }
}

/// Hundredths of a percent above the floor, rounded up.
fn above((used, floor): (u64, u64)) -> u64 {
    (used - floor).saturating_mul(10_000).div_ceil(floor)
}

fn percent(above: u64) -> String {
    format!("{}.{:02} %", above / 100, above % 100)
}

/// How many times as long as the floor, in tenths, rounded down.
fn times((used, floor): (u64, u64)) -> String {
    format!("{}.{}", used / floor, used * 10 / floor % 10)
}

/// The usual firmware: waits the longest write cycle that the data sheet names after each page.
fn fixed() -> Options {
    Options::new().with_wait(Wait::Fixed).with_margin_percent(0)
}

/// Cards that differ in something that takes time.
fn distinct(cards: &[Card]) -> Vec<&Card> {
    let mut seen = BTreeSet::new();
    let mut key = |card: &Card| {
        let (geometry, per) =
            (Seat::new(card, 0, 0).geometry.parameters(), card.write_cycle_per.value == CyclePer::Page);
        let rates = KHZ.map(|khz| card.scl_khz_at(card.max_mv.value) >= khz && card.min_scl_khz <= khz);
        seen.insert(format!(
            "{geometry:?} {per} {} {rates:?} {:?}",
            card.write_cycle_typ_us.value, card.busy_answer.value
        ))
    };
    cards.iter().filter(|card| key(card)).collect()
}

/// The published arithmetic counts nine clocks per byte and leaves START, STOP and bus-free times out.
#[test]
fn the_floor_agrees_with_the_arithmetic_of_the_trade() {
    let standards: toml::Table = include_str!("../../data/standards.toml").parse().unwrap();
    let arithmetic = standards["time_arithmetic"].as_table().unwrap();
    let integer = |table: &toml::Value, key: &str| table[key].as_integer().unwrap() as u64;
    for case in arithmetic["case"].as_array().unwrap() {
        let clocks = floor::write_clocks(integer(case, "address_bytes"), integer(case, "data_bytes"));
        assert_eq!(clocks, integer(case, "bits"), "{case}");
        for (key, hz) in [("us_at_100k", 100_000.0), ("us_at_400k", 400_000.0), ("us_at_1m", 1_000_000.0)] {
            let us = case.get(key).map_or(clocks as f64 * 1e6 / hz, |us| us.as_float().unwrap());
            assert!((clocks as f64 * 1e6 / hz - us).abs() < 1e-9, "{case}");
        }
    }
    let poll_us = arithmetic["ack_poll"][0]["us_at_400k"].as_float().unwrap();
    assert!((BYTE as f64 * 2.5 - poll_us).abs() < 1e-9);
    let catalogue = Catalogue::embedded().unwrap();
    let card = catalogue.cards().iter().find(|card| card.id == "24lc256").unwrap();
    assert_eq!((card.capacity_bytes.value, card.page_bytes.value, card.word_address_bytes.value), (32 * 1024, 64, 2));
    let seconds = |index: usize| arithmetic["program_time"][index]["s"].as_float().unwrap();
    // 32 KiB by pages, at 400 kHz and 5 ms: START and STOP come on top, and the final answer; address and START that ask
    // go out while the cycle runs.
    let floor = Floor::write(card, 0, 32 * 1024);
    assert_eq!(floor.cycles, integer(&arithmetic["program_time"][0], "pages"));
    let hidden = floor.cycles * floor::UNANSWERED;
    let beside = floor.cycles * 2 * CONDITION + (CONDITION + BYTE + CONDITION);
    let bytes_only = Floor { clocks: floor.clocks + hidden - beside, ..floor };
    assert!((bytes_only.ns(card, 400_000, 5_000_000) as f64 / 1e9 - seconds(0)).abs() < 1e-9);
    let by_bytes = Floor { clocks: 32 * 1024 * floor::write_clocks(2, 1), cycles: 32 * 1024, bytes: 32 * 1024 };
    assert!((by_bytes.ns(card, 400_000, 5_000_000) as f64 / 1e9 - seconds(1)).abs() < 1e-9);
    let read = Floor::read(card, 0, 32 * 1024);
    assert_eq!(read.clocks - 3 * CONDITION, BYTE * integer(&arithmetic["program_time"][2], "bytes_on_wire"));
    assert!(((read.clocks - 3 * CONDITION) as f64 * 2.5e-6 - seconds(2)).abs() < 1e-9);
}

#[test]
fn sequential_reads_of_256_bytes_and_more_are_within_one_percent_of_the_floor() {
    let catalogue = Catalogue::embedded().unwrap();
    let mut longest = 0;
    for card in distinct(catalogue.cards()) {
        for run in KHZ.iter().filter_map(|khz| Run::new(card, *khz, 0)) {
            for length in [256, 257, 1000, 4096, u32::MAX].map(|length| length.min(run.length("whole part"))) {
                let (used, floor) = run.read(length);
                assert!(used >= floor, "{}: {length} bytes in {used} ns, floor {floor} ns", card.id);
                assert!(length < 256 || above((used, floor)) <= 100, "{}: {length} bytes, {used}/{floor}", card.id);
                longest = longest.max(length);
            }
        }
    }
    assert_eq!(longest, 256 * 1024);
}

#[test]
fn a_write_costs_at_most_one_refused_try_and_one_pause_per_page_more_than_the_floor() {
    let catalogue = Catalogue::embedded().unwrap();
    let cards = catalogue.cards();
    let mut worst = BTreeMap::<(u32, Length, usize), (u64, String)>::new();
    let mut worst_fixed = BTreeMap::<(u32, Length), (u64, u64)>::new();
    for card in distinct(cards).into_iter().filter(|card| card.write_cycle_max_us.value > 0) {
        for (khz, cycle) in KHZ.into_iter().flat_map(|khz| CYCLES.map(|cycle| (khz, cycle))) {
            let Some(run) = Run::new(card, khz, cycle_ns(cards, card, cycle)) else { continue };
            for (index, length) in LENGTHS.map(|what| run.length(what)).into_iter().enumerate() {
                let (used, floor) = run.write(length, Options::new());
                assert!(used >= floor, "{}: {length} bytes in {used} ns, floor {floor} ns", card.id);
                let allowed = run.allowed_ns(length, &Options::new());
                assert!(used - floor <= allowed, "{}: {length} bytes, {} ns of {allowed} ns", card.id, used - floor);
                // At 100 kHz a try alone takes 0.11 ms, which is more than 3 % of a page with a short write cycle.
                let within = khz >= 400 && (index >= 2 || cycle != Length::Shortest);
                let percent = percent(above((used, floor)));
                assert!(!within || above((used, floor)) <= 300, "{}: {length} bytes at {khz} kHz, {percent}", card.id);
                let entry = worst.entry((khz, cycle, index)).or_default();
                *entry = entry.clone().max((above((used, floor)), card.id.clone()));
            }
            let (used, floor) = run.write(run.length("whole part"), fixed());
            let entry = worst_fixed.entry((khz, cycle)).or_insert((1, 1));
            if u128::from(used) * u128::from(entry.1) > u128::from(entry.0) * u128::from(floor) {
                *entry = (used, floor);
            }
        }
    }
    let mut table = String::from("\n| SCL | Write cycle | ");
    table += &LENGTHS.join(" | ");
    table += " | whole part, fixed wait |\n|---|---|---|---|---|---|---|\n";
    for (khz, cycle) in KHZ.into_iter().flat_map(|khz| CYCLES.map(|cycle| (khz, cycle))) {
        let cells = (0..LENGTHS.len()).map(|index| {
            let (above, card) = &worst[&(khz, cycle, index)];
            format!("{} ({card})", percent(*above))
        });
        let cycle_name = format!("{cycle:?}").to_lowercase();
        let row = cells.collect::<Vec<_>>().join(" | ");
        table += &format!("| {khz} kHz | {cycle_name} | {row} | {} times |\n", times(worst_fixed[&(khz, cycle)]));
    }
    table.push('\n');
    println!("{table}");
    stands_in_driver_readme("write times of the worst part", "efficiency.rs", &table);
}

#[test]
fn some_parts_with_their_reads_and_writes() {
    let catalogue = Catalogue::embedded().unwrap();
    let cards = catalogue.cards();
    let mut table = String::from("\n| Part | SCL | Read 1 byte | Read 256 bytes | Read whole part | ");
    table += &LENGTHS.map(|what| format!("Write {what}")).join(" | ");
    table += " | Write whole part, fixed wait |\n|---|---|---|---|---|---|---|---|---|---|\n";
    for id in SHOWN {
        let card = cards.iter().find(|card| card.id == id).unwrap_or_else(|| panic!("no card {id}"));
        for run in KHZ.iter().filter_map(|khz| Run::new(card, *khz, cycle_ns(cards, card, Length::Typical))) {
            let reads = ["1 byte", "256 bytes", "whole part"].map(|what| percent(above(run.read(run.length(what)))));
            let writes = LENGTHS.map(|what| percent(above(run.write(run.length(what), Options::new()))));
            let fixed = times(run.write(run.length("whole part"), fixed()));
            let (khz, reads, writes) = (run.hz / 1000, reads.join(" | "), writes.join(" | "));
            table += &format!("| {} | {khz} kHz | {reads} | {writes} | {fixed} times |\n", card.name);
        }
    }
    table.push('\n');
    println!("{table}");
    stands_in_driver_readme("times of some parts", "efficiency.rs", &table);
}
