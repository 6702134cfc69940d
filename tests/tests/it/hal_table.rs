//! Every bus-layer preset with every card: the job is done or a clear error comes back, never wrong bytes in silence,
//! never an endless wait. What came of it stands as a table in the driver's README, which this test compares;
//! `PAGEWISE_BLESS=1` writes it anew.

use std::collections::BTreeMap;

use pagewise_driver::{Eeprom, Error, Options, Wait};
use pagewise_part::card::{Card, Catalogue};
use pagewise_simulator::{BusError, ChipId, NackKind, PowerUp, Preset, Quirks, Rig, RigBus, RigConfig, RigDelay};
use pagewise_tests::readme::stands_in_driver_readme;
use pagewise_tests::seat::Seat;

type Driver = Eeprom<RigBus, RigDelay, 259>;

/// What came of the job.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Outcome {
    Done,
    Failed(&'static str),
    /// Success was reported, but bytes are wrong.
    Wrong,
}

/// The options that a HAL of these habits needs, and their text.
fn settings(quirks: &Quirks) -> (Options, String) {
    let (mut options, mut text) = (Options::new(), Vec::new());
    match quirks.nack {
        NackKind::Bus => {
            options = options.with_wait(Wait::Fixed);
            text.push("`with_wait(Wait::Fixed)`".to_owned());
        }
        NackKind::Other => {
            options = options.with_other_is_nack(true);
            text.push("`with_other_is_nack(true)`".to_owned());
        }
        _ if quirks.busy_every > 0 => {
            options = options.with_other_is_nack(true);
            text.push("`with_other_is_nack(true)`".to_owned());
        }
        _ => {}
    }
    let limit = quirks.max_transfer.or(quirks.read_length_is_u16.then_some(65_535));
    if let Some(bytes) = limit {
        options = options.with_max_transfer_bytes(bytes);
        text.push(format!("`with_max_transfer_bytes({bytes})`"));
    }
    (options, if text.is_empty() { "nothing".to_owned() } else { text.join(", ") })
}

/// A part with unknown contents and a job: bytes over three pages and more, from the middle of a page on.
struct Bench {
    seat: Seat,
    rig: Rig,
    chip: ChipId,
    before: Vec<u8>,
    offset: usize,
    bytes: Vec<u8>,
}

impl Bench {
    fn new(card: &Card) -> Self {
        let seat = Seat::new(card, 0, 0);
        let rig = Rig::new(RigConfig::default().with_scl_hz(seat.scl_hz).with_supply_mv(seat.supply_mv));
        rig.set_trace(false);
        let chip = rig.attach_with(seat.card.chip_model(), seat.straps(), PowerUp::Random);
        let before = rig.memory(chip);
        let page = seat.geometry.page_bytes().min(256) as usize;
        let (start, end) = (seat.writable.start as usize, seat.writable.end as usize);
        let offset = (start + page / 2 + 1).min(end - 1);
        let bytes = before[offset..end.min(offset + 3 * page + 5)].iter().map(|byte| !byte).collect();
        Self { seat, rig, chip, before, offset, bytes }
    }

    /// Writes, and reads the whole part back.
    fn job(&self, driver: &mut Driver, verified: bool) -> Result<Vec<u8>, Error<BusError>> {
        let offset = self.offset as u32;
        if verified {
            driver.write_verified(offset, &self.bytes)?
        } else {
            driver.write(offset, &self.bytes)?
        }
        // What an empty read would leave behind is nowhere right.
        let mut found: Vec<u8> = self.wanted().iter().map(|byte| !byte).collect();
        found.truncate(driver.capacity() as usize);
        driver.read(0, &mut found)?;
        Ok(found)
    }

    fn wanted(&self) -> Vec<u8> {
        let mut wanted = self.before.clone();
        wanted[self.offset..][..self.bytes.len()].copy_from_slice(&self.bytes);
        wanted
    }

    /// Every access may wait twice for as many polls as write cycle and margin allow, and move its bits.
    fn bound_ns(&self, options: &Options, quirks: &Quirks) -> u64 {
        let geometry = &self.seat.geometry;
        let data_max = options.max_transfer_bytes.min(259) - usize::from(geometry.word_address_bytes());
        let unit = data_max.min(geometry.page_bytes() as usize);
        let reads = self.before.len() / data_max.min(geometry.sequential_read_bytes() as usize);
        let accesses = (2 * (self.bytes.len() / unit) + reads + 4) as u64;
        let bit_ns = 1_000_000_000 / u64::from(self.seat.scl_hz);
        let polls = u64::from(geometry.write_cycle_us()) * 5 / 4 / u64::from(options.poll_interval_us) + 2;
        let poll_ns = u64::from(options.poll_interval_us) * 1000 + 50 * bit_ns + u64::from(quirks.early_return_ns);
        2 * accesses * (polls * poll_ns + 100 * bit_ns) + 9 * bit_ns * (self.before.len() + 3 * self.bytes.len()) as u64
    }
}

fn kind(error: &Error<BusError>) -> &'static str {
    match error {
        Error::NotAnswering { .. } => "`NotAnswering`",
        Error::WriteProtected { .. } => "`WriteProtected`",
        Error::WriteCycleOverrun { .. } => "`WriteCycleOverrun`",
        Error::Verify { .. } => "`Verify`",
        Error::Bus { .. } => "`Bus`",
        Error::BufferTooSmall { .. } => "`BufferTooSmall`",
        other => panic!("{other:?} is not an answer to this job"),
    }
}

/// With the settings: what was promised must hold, byte for byte and in time.
fn set(card: &Card, preset: &Preset) -> Result<Outcome, String> {
    let bench = Bench::new(card);
    let (options, _) = settings(&preset.quirks);
    let bus = bench.rig.bus_with(preset.quirks);
    let mut driver = Driver::new(bus, bench.rig.delay(), bench.seat.geometry, options);
    let start = bench.rig.now_ns();
    let result = bench.job(&mut driver, false);
    let took = bench.rig.now_ns() - start;
    let bound = bench.bound_ns(&options, &preset.quirks);
    if took > bound {
        return Err(format!("took {took} ns, at most {bound} ns are allowed"));
    }
    let (memory, wanted) = (bench.rig.memory(bench.chip), bench.wanted());
    match result {
        Ok(found) if found == wanted[..found.len()] && memory == wanted => match bench.rig.finish().first() {
            Some(incident) => Err(format!("{}: {}", incident.hazard, incident.text)),
            None => Ok(Outcome::Done),
        },
        Ok(_) => Err("success, but bytes are wrong".to_owned()),
        Err(error) => {
            let (first, end) = (bench.offset, bench.offset + bench.bytes.len());
            let safe = first + error.safe_bytes().min(bench.bytes.len());
            let beside = memory[..first] == bench.before[..first] && memory[end..] == bench.before[end..];
            let kept = memory[first..safe] == wanted[first..safe];
            if beside && kept { Ok(Outcome::Failed(kind(&error))) } else { Err(format!("{error} does not hold")) }
        }
    }
}

/// With default options and verified writes: what becomes of somebody who has not read the table. An error, perhaps, but
/// never wrong bytes.
fn unset(card: &Card, preset: &Preset) -> Result<Outcome, String> {
    let bench = Bench::new(card);
    let bus = bench.rig.bus_with(preset.quirks);
    let mut driver = Driver::new(bus, bench.rig.delay(), bench.seat.geometry, Options::new());
    match bench.job(&mut driver, true) {
        Ok(_) if bench.rig.memory(bench.chip) != bench.wanted() => Err("verified, but bytes are wrong".to_owned()),
        Ok(found) if found != bench.wanted()[..found.len()] => Err("success, but read wrongly".to_owned()),
        Ok(_) => Ok(Outcome::Done),
        Err(error) => Ok(Outcome::Failed(kind(&error))),
    }
}

fn text(outcomes: impl Iterator<Item = Outcome>) -> String {
    let mut counts = BTreeMap::<Outcome, usize>::new();
    outcomes.for_each(|outcome| *counts.entry(outcome).or_default() += 1);
    let one = |(outcome, count): (&Outcome, &usize)| match outcome {
        Outcome::Done => format!("done on {count}"),
        Outcome::Failed(kind) => format!("{kind} on {count}"),
        Outcome::Wrong => format!("**wrong bytes** on {count}"),
    };
    counts.iter().map(one).collect::<Vec<_>>().join(", ")
}

#[test]
fn every_preset_with_every_card_does_the_job_or_says_clearly_that_it_does_not() {
    let catalogue = Catalogue::embedded().unwrap();
    let cards = catalogue.cards();
    let mut wrong = Vec::new();
    let mut table = format!("\n{} cards.\n\n| Preset | Set | Then | With `Options::new()` |\n", cards.len());
    table.push_str("|---|---|---|---|\n");
    for preset in &Preset::ALL {
        let mut column = |run: &dyn Fn(&Card, &Preset) -> Result<Outcome, String>| {
            text(cards.iter().map(|card| {
                run(card, preset).unwrap_or_else(|reason| {
                    wrong.push(format!("{} on {}: {reason}", preset.name, card.id));
                    Outcome::Wrong
                })
            }))
        };
        let then = column(&set);
        let (_, settings) = settings(&preset.quirks);
        let without = if settings == "nothing" { "the same".to_owned() } else { column(&unset) };
        table.push_str(&format!("| {} | {settings} | {then} | {without} |\n", preset.name));
    }
    table.push('\n');
    println!("{table}");
    assert!(wrong.is_empty(), "{} pairs fail:\n{}", wrong.len(), wrong.join("\n"));
    stands_in_driver_readme("bus layers", "hal_table.rs", &table);
}
