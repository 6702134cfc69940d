//! Waiting that learns (feature `learning` of the driver), against the floor of `pagewise_tests::floor`: exact, since time is
//! virtual. The table stands in the driver's README.

use std::collections::BTreeMap;
use std::ops::Range;

use pagewise_driver::{Eeprom, Error, Options};
use pagewise_part::card::{Card, Catalogue};
use pagewise_simulator::{CycleTime, PowerUp, Rig, RigBus, RigConfig, RigDelay};
use pagewise_tests::floor::{BYTE, CONDITION, Floor};
use pagewise_tests::readme::stands_in_driver_readme;
use pagewise_tests::seat::Seat;

type Driver = Eeprom<RigBus, RigDelay, 259>;

const KHZ: [u32; 3] = [100, 400, 1000];
/// Pages from which the driver learns, and pages that are measured after them.
const LEARNED: Range<u32> = 0..16;
const MEASURED: Range<u32> = 16..80;

/// A refused poll: START, device address, STOP.
const POLL: u64 = CONDITION + BYTE + CONDITION;

/// A part on a bus, and a driver for it.
struct Bench<'a> {
    card: &'a Card,
    seat: Seat,
    rig: Rig,
    driver: Driver,
    chip: pagewise_simulator::ChipId,
    hz: u32,
}

impl<'a> Bench<'a> {
    /// `None` if the part cannot do this rate at its highest supply, or has too few pages.
    fn new(card: &'a Card, khz: u32, options: Options) -> Option<Self> {
        let mut seat = Seat::new(card, 0, 0);
        seat.supply_mv = card.max_mv.value;
        let pages = (seat.writable.end - seat.writable.start) / card.page_bytes.value;
        let possible = card.scl_khz_at(seat.supply_mv) >= khz && card.min_scl_khz <= khz;
        if !possible || pages < MEASURED.end || card.write_cycle_max_us.value == 0 {
            return None;
        }
        let rig = Rig::new(RigConfig::default().with_scl_hz(khz * 1000).with_supply_mv(seat.supply_mv));
        rig.set_trace(false);
        let chip = rig.attach_with(card.chip_model(), seat.straps(), PowerUp::Erased);
        let driver = Driver::new(rig.bus(), rig.delay(), seat.geometry, options);
        Some(Self { card, seat, rig, driver, chip, hz: khz * 1000 })
    }

    fn period_ns(&self) -> u64 {
        1_000_000_000_u64.div_ceil(u64::from(self.hz))
    }

    /// Time beyond the floor, per page, in nanoseconds. Polls that are answered are left out: one at each page at another
    /// device address than the one before or at word address zero, and after the last page the word address of its poll.
    fn beyond_ns(&mut self, pages: Range<u32>, cycle_ns: u64) -> u64 {
        let page = self.card.page_bytes.value;
        let (offset, length) = (self.seat.writable.start + pages.start * page, pages.len() as u32 * page);
        let start = self.rig.now_ns();
        self.driver.write(offset, &vec![0x5A; length as usize]).unwrap();
        let used = self.rig.now_ns() - start;
        let header = u64::from(self.card.word_address_bytes.value);
        let poll = 2 * CONDITION + BYTE * (1 + header.max(1));
        let mask = (1u64 << (8 * header)) - 1;
        let next = (1..pages.len() as u64).map(|index| u64::from(offset) + index * u64::from(page));
        let polled = next.filter(|at| at & mask == 0).count() as u64;
        let answered = (polled * poll + BYTE * header.max(1)) * self.period_ns();
        let floor = Floor::write(self.card, offset, length).ns(self.card, self.hz, cycle_ns);
        used.saturating_sub(floor + answered) / pages.len() as u64
    }
}

/// Of one rate: the means without learning and with it, in nanoseconds, and the worst of each.
#[derive(Default)]
struct Row {
    sums: [u64; 2],
    count: u64,
    worst: [(u64, String); 2],
}

fn learning() -> Options {
    Options::new().with_learning(true)
}

/// Cards with a write cycle of their own, a few of each kind of address.
fn cards(catalogue: &Catalogue) -> Vec<&Card> {
    let mut seen = std::collections::BTreeSet::new();
    let key =
        |card: &Card| (card.word_address_bytes.value, card.write_cycle_typ_us.value, card.busy_answer.value as u8);
    catalogue.cards().iter().filter(|card| seen.insert(key(card))).collect()
}

#[test]
fn after_sixteen_pages_a_write_costs_half_a_poll_more_than_the_floor_on_average() {
    let catalogue = Catalogue::embedded().unwrap();
    let mut table: BTreeMap<u32, Row> = BTreeMap::new();
    for card in cards(&catalogue) {
        let (typical, most) = (card.write_cycle_typ_us.value, card.write_cycle_max_us.value);
        // Also cycles that are a whole number of nothing.
        for cycle_ns in [typical * 1000, most * 1000, typical * 731, typical * 977].map(u64::from) {
            for khz in KHZ {
                let Some(mut plain) = Bench::new(card, khz, Options::new()) else { continue };
                let mut learns = Bench::new(card, khz, learning()).unwrap();
                let poll_ns = POLL * plain.period_ns();
                let means = [&mut plain, &mut learns].map(|bench| {
                    bench.rig.set_write_cycle(bench.chip, CycleTime::Exact(cycle_ns));
                    bench.beyond_ns(LEARNED, cycle_ns);
                    bench.beyond_ns(MEASURED, cycle_ns)
                });
                // With the pause that follows it; at 100 kHz that is nearly the poll alone.
                let half_ns = if khz == 100 { poll_ns / 2 } else { (poll_ns + 20_000) / 2 };
                assert!(means[1] <= half_ns, "{}: {khz} kHz, {cycle_ns} ns: {means:?}, at most {half_ns}", card.id);
                let row = table.entry(khz).or_default();
                row.count += 1;
                for (index, mean) in means.into_iter().enumerate() {
                    row.sums[index] += mean;
                    if mean > row.worst[index].0 {
                        row.worst[index] = (mean, card.id.clone());
                    }
                }
            }
        }
    }
    let mut text = String::from(
        "\n| SCL | A refused poll | Polling: mean | worst part | Learning: mean | worst part |\n|---|---|---|---|---|---|\n",
    );
    for khz in KHZ {
        let Row { sums, count, worst } = &table[&khz];
        let us = |ns: u64| format!("{}.{} us", ns / 1000, ns / 100 % 10);
        let [plain, learns] = [0, 1].map(|index| (us(sums[index] / count), us(worst[index].0), &worst[index].1));
        let poll = us(POLL * 1_000_000 / u64::from(khz));
        text += &format!(
            "| {khz} kHz | {poll} | {} | {} ({}) | {} | {} ({}) |\n",
            plain.0, plain.1, plain.2, learns.0, learns.1, learns.2
        );
    }
    text.push('\n');
    println!("{text}");
    stands_in_driver_readme("times beyond the floor with learning", "learning.rs", &text);
}

#[test]
fn it_never_gives_up_earlier_than_without() {
    let catalogue = Catalogue::embedded().unwrap();
    let card = catalogue.find("24lc256").unwrap();
    let limit_ns = u64::from(card.write_cycle_max_us.value) * 1250;
    for slower in [limit_ns - 1, limit_ns, limit_ns * 11 / 10, limit_ns * 3 / 2] {
        let outcomes = [Options::new(), learning()].map(|options| {
            let mut bench = Bench::new(card, 100, options).unwrap();
            bench.rig.set_write_cycle(bench.chip, CycleTime::Exact(3_000_000));
            bench.beyond_ns(LEARNED, 3_000_000);
            bench.rig.set_write_cycle(bench.chip, CycleTime::Exact(slower));
            let result = bench.driver.write(0x1000, &[1, 2, 3]);
            assert!(matches!(result, Ok(()) | Err(Error::WriteCycleOverrun { .. })), "{result:?}");
            result.is_ok()
        });
        assert!(outcomes[1] >= outcomes[0], "{slower} ns: {outcomes:?}");
        assert!(slower > limit_ns || outcomes == [true; 2], "{slower} ns: {outcomes:?}");
    }
    // And it gives up.
    let mut bench = Bench::new(card, 100, learning()).unwrap();
    bench.beyond_ns(LEARNED, 0);
    bench.rig.set_write_cycle(bench.chip, CycleTime::Exact(60_000_000));
    let error = bench.driver.write(0x1000, &[1]).unwrap_err();
    let Error::WriteCycleOverrun { waited_us, .. } = error else { panic!("{error}") };
    assert!(waited_us >= card.write_cycle_max_us.value * 5 / 4, "{waited_us}");
}

#[test]
fn cycles_of_very_different_lengths_are_polled_for() {
    let catalogue = Catalogue::embedded().unwrap();
    let card = catalogue.find("24lc256").unwrap();
    let mut bench = Bench::new(card, 100, learning()).unwrap();
    let mut beyond = 0;
    for page in 0..64 {
        let cycle_ns = if page % 2 == 0 { 600_000 } else { 4_800_000 };
        bench.rig.set_write_cycle(bench.chip, CycleTime::Exact(cycle_ns));
        beyond += bench.beyond_ns(page..page + 1, cycle_ns);
    }
    assert!(beyond / 64 <= 130_000, "{} ns beyond the floor on average, a poll and its pause take 130 us", beyond / 64);
}
