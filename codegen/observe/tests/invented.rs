//! Firmware of 200 invented boards runs on the simulated part of each board; what is told from the recording of its bus is
//! compared with what the board file says.

use std::collections::BTreeMap;
use std::fs::File;

use embedded_hal::delay::DelayNs;
use pagewise_judge::board::{self, Board, Strap, Wait, WriteShape};
use pagewise_judge::fleet::invent;
use pagewise_judge::swap::firmware::Runner;
use pagewise_observe::{Certainty, Input, Observation, observe};
use pagewise_part::card::{Card, Catalogue};
use pagewise_simulator::{AdjacentWrites, ChipId, CycleTime, Level, PowerUp, Quirks, Rig, RigConfig, Straps};
use rand_core::{Rng, SeedableRng};
use rand_xorshift::XorShiftRng;
use serde_json::Value;

const BOARDS: usize = 200;

struct Ran {
    rig: Rig,
    card: Card,
    cycle_ns: u64,
}

/// The fitted part on a rig, straps as on the board.
fn set_up(board: &Board, card: &Card, seed: u64) -> (Rig, ChipId) {
    let config = RigConfig { scl_hz: board.bus.scl_khz * 1000, supply_mv: board.bus.supply_mv, seed };
    let rig = Rig::new(config);
    let levels = board.levels_for(card);
    let wp = if board.wp == Strap::Vcc { Level::High } else { Level::Low };
    let straps = Straps { a: levels.map(Level::from_bit), wp };
    let chip = rig.attach_with(card.chip_model(), straps, PowerUp::Erased);
    for address in &board.bus.other_addresses {
        rig.attach_other(*address, "another device");
    }
    (rig, chip)
}

/// The firmware stores each region twice and reads it back, and asks its neighbours now and then.
fn run(board: &Board, card: &Card, random: &mut XorShiftRng) -> Ran {
    let (rig, chip) = set_up(board, card, random.next_u64());
    let (typical, max) = (card.chip_model().write_cycle.typical_ns, card.chip_model().write_cycle.max_ns);
    let cycle_ns = typical + random.next_u64() % (max - typical + 1);
    rig.set_write_cycle(chip, CycleTime::Exact(cycle_ns));
    rig.delay().delay_ms(1);
    let clock = rig.clone();
    let restarts = board.firmware.write_shape == WriteShape::TwoRestarted;
    let adjacent_writes = if restarts { AdjacentWrites::Restart } else { AdjacentWrites::Joined };
    let bus = rig.bus_with(Quirks { adjacent_writes, ..Quirks::default() });
    let mut runner = Runner::new(&board.firmware, bus, rig.delay(), move || clock.now_ns() / 1000);
    for _ in 0..2 {
        for region in &board.regions {
            let data: Vec<u8> = (0..region.length).map(|_| random.next_u32() as u8).collect();
            runner.write(region, &data);
            if board.firmware.reads_on_after_write {
                runner.read_on(region);
            }
            board.bus.other_addresses.iter().for_each(|other| runner.visit(*other));
            rig.delay().delay_ms(30);
            runner.read(region, &data);
            // The rest of the firmware has other things to do.
            rig.delay().delay_ms(20);
        }
    }
    runner.visit(0x5F);
    rig.delay().delay_ms(20);
    Ran { rig, card: card.clone(), cycle_ns }
}

fn observed(rig: &Rig) -> Observation {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("bus.vcd");
    rig.write_vcd(&mut std::io::BufWriter::new(File::create(&path).unwrap())).unwrap();
    observe(&[Input::of(path)], &mut |_, _| {}).unwrap()
}

/// Claims by name: right and surely said, right and guessed, not seen; wrong ones fail at once.
#[derive(Default)]
struct Tally {
    sure: BTreeMap<&'static str, u32>,
    wrong: Vec<String>,
}

impl Tally {
    fn check(&mut self, file: &str, observation: &Observation, name: &'static str, right: impl Fn(&Value) -> bool) {
        let property = observation.property(name);
        if property.sure.is_none_or(|sure| sure == Certainty::Guess) {
            return;
        }
        *self.sure.entry(name).or_default() += 1;
        if !right(&property.value) {
            let (value, sure) = (&property.value, property.sure.unwrap().word());
            self.wrong.push(format!("{file}: {name} {sure} {value}: {}", property.why));
        }
    }
}

fn hex(value: &Value) -> u8 {
    u8::from_str_radix(value.as_str().unwrap().trim_start_matches("0x"), 16).unwrap()
}

fn compare(tally: &mut Tally, file: &str, board: &Board, ran: &Ran, seen: &Observation) {
    let firmware = &board.firmware;
    let number = |value: &Value, expected: u64| value.as_u64() == Some(expected);
    let restarted = firmware.write_shape == WriteShape::TwoRestarted && firmware.word_address_bytes > 0;
    tally.check(file, seen, "word_address_bytes", |value| number(value, u64::from(firmware.word_address_bytes)));
    tally.check(file, seen, "page_bytes", |value| number(value, u64::from(firmware.page_bytes)));
    tally.check(file, seen, "transfer_limit_bytes", |value| {
        firmware.max_transfer_bytes.is_some_and(|limit| number(value, u64::from(limit)))
    });
    tally.check(file, seen, "read_cut_bytes", |value| {
        firmware.read_cut_bytes.is_some_and(|cut| number(value, u64::from(cut)))
    });
    tally.check(file, seen, "block_select_bits", |value| {
        value.as_u64().is_some_and(|bits| bits <= u64::from(firmware.block_select_bits))
    });
    tally.check(file, seen, "write_shape", |value| value == if restarted { "two-restarted" } else { "one-buffer" });
    tally.check(file, seen, "wait", |value| match firmware.wait {
        Wait::Poll { .. } => {
            value["kind"] == "poll" || (firmware.word_address_bytes == 0 && value["kind"] == "poll-by-read")
        }
        Wait::PollByRead { .. } => value["kind"] == "poll-by-read",
        Wait::Fixed { us } => {
            let shortest = value["shortest_us"].as_f64().unwrap_or(0.0);
            value["kind"] == "fixed" && shortest >= f64::from(us)
        }
    });
    let cycle_us = ran.cycle_ns as f64 / 1000.0;
    let per_byte = ran.card.chip_model().write_cycle.per == pagewise_simulator::model::CycleUnit::Byte;
    tally.check(file, seen, "write_cycle_us", |value| {
        let least = value["at_least"].as_f64().unwrap_or(0.0);
        let most = value["at_most"].as_f64().unwrap_or(f64::MAX);
        per_byte || (least <= cycle_us + 1.0 && cycle_us <= most + 1.0)
    });
    tally.check(file, seen, "part_page_bytes", |value| number(value, u64::from(ran.card.page_bytes.value)));
    let pointer = serde_json::to_value(ran.card.pointer_after_write.value).unwrap();
    tally.check(file, seen, "pointer_after_write", |value| *value == pointer);
    tally.check(file, seen, "scl_khz", |value| {
        let (khz, meant) = (value.as_f64().unwrap(), f64::from(board.bus.scl_khz));
        (khz - meant).abs() <= meant * 0.02
    });
    let own = ran.card.answers(board.levels_for(&ran.card));
    let there = |address: u8| own.contains(&address) || board.bus.other_addresses.contains(&address);
    tally.check(file, seen, "device_addresses", |value| value.as_array().unwrap().iter().all(|a| there(hex(a))));
    tally.check(file, seen, "absent_addresses", |value| value.as_array().unwrap().iter().all(|a| !there(hex(a))));
    let block = 1_u64 << (8 * u32::from(firmware.word_address_bytes));
    tally.check(file, seen, "regions_written", |value| {
        restarted
            || value.as_array().unwrap().iter().all(|range| {
                let base = u64::from(hex(&range["device"]) - firmware.device_address) >> firmware.block_select_shift;
                let first = base * block + range["offset"].as_u64().unwrap();
                let last = first + range["length"].as_u64().unwrap() - 1;
                let inside = |at: u64| {
                    board.regions.iter().any(|r| (u64::from(r.offset)..u64::from(r.offset + r.length)).contains(&at))
                };
                inside(first) && inside(last)
            })
    });
}

#[test]
fn what_is_told_of_invented_firmware_is_as_its_board_file_says() {
    let catalogue = Catalogue::embedded().unwrap();
    let mut tally = Tally::default();
    let mut random = XorShiftRng::seed_from_u64(12);
    let seed = std::env::var("PAGEWISE_SEED").ok().and_then(|text| text.parse().ok()).unwrap_or(20);
    for file in invent::fleet(&catalogue, BOARDS, seed) {
        let board = board::parse(&file.name, &file.text).unwrap();
        let card = catalogue.find(&board.fitted).unwrap().in_footprint(board.footprint);
        let ran = run(&board, &card, &mut random);
        compare(&mut tally, &file.name, &board, &ran, &observed(&ran.rig));
    }
    assert!(tally.wrong.is_empty(), "{} wrong:\n{}", tally.wrong.len(), tally.wrong.join("\n"));
    // Of 200 boards: what nearly every traffic shows, and what only some does.
    println!("{:#?}", tally.sure);
    for (name, at_least) in [
        ("word_address_bytes", 190),
        ("device_addresses", 200),
        ("absent_addresses", 195),
        ("scl_khz", 200),
        ("write_shape", 195),
        ("wait", 170),
        ("write_cycle_us", 150),
        ("regions_written", 190),
        ("page_bytes", 90),
        ("transfer_limit_bytes", 10),
        ("block_select_bits", 5),
        ("part_page_bytes", 2),
    ] {
        let found = tally.sure.get(name).copied().unwrap_or(0);
        assert!(found >= at_least, "{name} is told of {found} boards only");
    }
}

/// The canary: a board file that says something else is noticed.
#[test]
fn a_claim_that_is_wrong_is_noticed() {
    let catalogue = Catalogue::embedded().unwrap();
    let file = invent::fleet(&catalogue, 1, 20).remove(0);
    let mut board = board::parse(&file.name, &file.text).unwrap();
    let card = catalogue.find(&board.fitted).unwrap().in_footprint(board.footprint);
    let ran = run(&board, &card, &mut XorShiftRng::seed_from_u64(12));
    let seen = observed(&ran.rig);
    board.firmware.word_address_bytes ^= 3;
    board.bus.scl_khz += 50;
    let mut tally = Tally::default();
    compare(&mut tally, &file.name, &board, &ran, &seen);
    assert!(tally.wrong.len() >= 2, "{:?}", tally.wrong);
}
