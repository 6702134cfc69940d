//! The generated C driver executes the Rust driver's plan: on every card, for many requests, options and faults, the
//! simulated bus carries the same bytes at the same times, and both report the same.

mod cuts;
mod init;
mod misra;
mod proof;
mod proved;
mod rust_side;
mod size;
mod workshop;

use std::fmt::Write as _;
use std::fs;
use std::process::Command;

use pagewise_emit::{Part, Request, c};
use pagewise_tests::search::{scaled, seed};
use pagewise_tests::seat::Seat;
use pagewise_tests::tools;
use workshop::{STRICT, compile, difference, generate, run, seats, succeeded};

/// Numbers that look random, the same for the same seed.
struct Draws(u64);

impl Draws {
    fn below(&mut self, limit: u32) -> u32 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((self.0 >> 33) % u64::from(limit.max(1))) as u32
    }

    fn one_of<T: Copy>(&mut self, choices: &[T]) -> T {
        choices[self.below(choices.len() as u32) as usize]
    }
}

/// A rig line for a seat.
fn rig(seat: &Seat, seed: u32) -> String {
    let level = |high: bool| u8::from(high);
    let [a0, a1, a2] = seat.pins.map(level);
    let wp = level(!seat.card.wp_active_high.value);
    let (scl, mv, id) = (seat.scl_hz, seat.supply_mv, &seat.card.id);
    format!("rig {scl} {mv} {seed} {a0} {a1} {a2} {wp} {id}.json\n")
}

/// A program of requests near all the ends where mistakes live.
fn script(index: usize, seat: &Seat, buffer: usize, draws: &mut Draws) -> String {
    let mut script = rig(seat, draws.below(1 << 30));
    if draws.below(3) == 0 {
        let faults = draws.one_of(&[
            r#"{"seed":5,"nack":{"hits":1,"of":40}}"#,
            r#"{"seed":6,"long":{"hits":1,"of":3}}"#,
            r#"{"seed":7,"lie":{"hits":1,"of":3},"nack":{"hits":1,"of":90}}"#,
            r#"{"seed":8,"flip":{"hits":1,"of":70}}"#,
        ]);
        writeln!(script, "faults {faults}").unwrap();
    }
    let transfer = draws.one_of(&[0, 0, 255, 32, 7, 3, 2]);
    let (fixed, lazy) = (u32::from(draws.below(5) == 0), draws.below(2));
    let (margin, interval) = (draws.one_of(&[0, 25, 100, 33]), draws.one_of(&[50, 0, 1, 700, 20_000]));
    writeln!(script, "driver {index} {buffer} {transfer} {fixed} {margin} {interval} {lazy}").unwrap();
    let (capacity, page) = (seat.geometry.capacity_bytes(), seat.geometry.page_bytes().min(256));
    let block = seat.geometry.sequential_read_bytes();
    let mut last = String::new();
    for _ in 0..12 {
        // The same again, so that an update has something to keep.
        if draws.below(4) == 0 && !last.is_empty() {
            let verb = draws.one_of(&["update", "update", "trusting", "compare"]);
            writeln!(script, "{verb} {last}").unwrap();
            continue;
        }
        let unit = draws.one_of(&[page, block, capacity, 1]);
        let end = (draws.below(capacity.div_ceil(unit)) + 1) * unit;
        let offset = end.saturating_sub(draws.below(20));
        let most = draws.one_of(&[4, 40, 300, 1100]);
        let mut length = draws.below(most);
        if draws.below(12) > 0 {
            length = length.min(capacity.saturating_sub(offset));
        }
        let verb =
            draws.one_of(&["write", "write", "verify", "update", "update", "read", "read", "compare", "fill", "ready"]);
        match verb {
            "ready" => writeln!(script, "ready").unwrap(),
            // Nobody answers for one request.
            "write" if draws.below(6) == 0 => {
                writeln!(script, "faults {{\"nack\":{{\"hits\":1,\"of\":1}}}}\nwrite {offset} {length} 0\nfaults {{}}")
                    .unwrap()
            }
            _ => {
                last = format!("{offset} {length} {}", draws.below(4));
                writeln!(script, "{verb} {last}").unwrap();
            }
        }
    }
    script + "trace\n"
}

#[test]
fn the_c_driver_and_the_rust_driver_do_the_same_on_every_card() {
    let Some(cc) = tools::need("cc", "gcc") else { return };
    println!("seed {:#x}", seed());
    let folder = tempfile::tempdir().unwrap();
    let seats = seats();
    generate(folder.path(), &seats);
    let mut draws = Draws(seed());
    let (mut seen, mut requests) = (String::new(), 0);
    let program = compile(&cc, folder.path());
    for buffer in rust_side::BUFFERS {
        for (index, seat) in seats.iter().enumerate() {
            let script: String = (0..scaled(1)).map(|_| script(index, seat, buffer, &mut draws)).collect();
            let found = run(&program, folder.path(), &script);
            let name = format!("{} with a buffer of {buffer}", seat.card.id);
            if let Some(difference) = difference(&script, &found, &rust_side::run(&seats, buffer, &script)) {
                panic!("{name}, seed {:#x}, {difference}\n{script}", seed());
            }
            seen += &found;
            requests += 12 * scaled(1);
        }
    }
    // Every answer that a driver can give was met.
    let answers = [
        "\nok ",
        "out of range",
        "buffer too small",
        "not answering",
        "write protected",
        "overrun",
        "differs at",
        "unlike at",
    ];
    for answer in answers {
        assert!(seen.contains(answer), "`{answer}` never came up in {requests} requests");
    }
    assert!(seats.len() > 200 && requests > 5_000, "{requests}");
}

/// Mistakes that a port of the plan can make; the comparison must find each.
const MISTAKES: [(&str, &str); 16] = [
    ("(driver->stride == 0u ? 0u : driver->start);", "driver->start * 0u;"),
    ("driver->position += i;", ""),
    ("trust->failures != driver->failures", "false"),
    ("trusted || driver->bound_us == 0u ?", "true ?"),
    ("eeprom_trust_add(trust, at, piece)", "(void)at"),
    ("mask - place(offset, mask) + 1u", "mask - place(offset, 1u) + 1u"),
    ("} else if (driver->pending) {", "} else if (false) {"),
    ("part->write_cycle_us + use->margin_us;", "part->write_cycle_us + 25u;"),
    ("driver->budget_us == 0u) {\n        return", "driver->budget_us <= step_us) {\n        return"),
    ("driver->budget_us == 0u) {\n        // The last", "driver->budget_us <= step_us) {\n        // The last"),
    ("last && driver->lazy", "driver->lazy"),
    ("driver->bound_us == 0u", "driver->bound_us == 1u"),
    ("        driver->pending = false;\n        start_wait(driver);\n", "        start_wait(driver);\n"),
    ("& driver->ask_mask) > 0u", "& driver->ask_mask) < UINT32_MAX"),
    ("driver->unsettled = driver->start - before", "driver->unsettled = before - before"),
    ("block * driver->block_unit", "block"),
];

#[test]
fn the_comparison_finds_every_mistake_that_a_port_can_make() {
    let Some(cc) = tools::need("cc", "gcc") else { return };
    let folder = tempfile::tempdir().unwrap();
    // Block-select bits beside R/W and not, lazily typical page parts, no write cycle, no header.
    let all = seats();
    let named = |id: &str| all.iter().find(|seat| seat.card.id == id).unwrap().clone();
    let seats = ["24lc256", "24lc16b", "24aa1025", "fm24cl64b", "x24c01", "24lc01b"].map(named);
    generate(folder.path(), &seats);
    let source = fs::read_to_string(folder.path().join("eeprom.c")).unwrap();
    for (right, wrong) in MISTAKES {
        assert!(source.contains(right), "{right}");
        fs::write(folder.path().join("eeprom.c"), source.replace(right, wrong)).unwrap();
        let program = compile(&cc, folder.path());
        let mut draws = Draws(seed());
        let found = (0..scaled(40)).find(|_| {
            seats.iter().enumerate().any(|(index, seat)| {
                let script = script(index, seat, 34, &mut draws);
                difference(&script, &run(&program, folder.path(), &script), &rust_side::run(&seats, 34, &script))
                    .is_some()
            })
        });
        assert!(found.is_some(), "`{wrong}` in place of `{right}` was not noticed, seed {:#x}", seed());
    }
}

#[test]
fn the_c_choice_and_the_rust_choice_do_the_same() {
    let Some(cc) = tools::need("cc", "gcc") else { return };
    let folder = tempfile::tempdir().unwrap();
    let all = seats();
    let named = |id: &str| all.iter().find(|seat| seat.card.id == id).unwrap().clone();
    // One and two word-address bytes, block-select bits, and a part whose device address is the word address.
    let seats: Vec<Seat> = ["24lc256", "24lc01b", "24lc16b", "24aa1025", "24lc64"]
        .map(named)
        .into_iter()
        .map(|seat| Seat::new(&seat.card, 0, 0))
        .collect();
    generate(folder.path(), &seats);
    let program = compile(&cc, folder.path());
    let mut seen = String::new();
    for (fitted, seat) in seats.iter().enumerate() {
        for (longer, any, transfer) in [(0, 0, 0), (1, 0, 0), (1, 0, 3), (0, 0, 2), (1, 1, 0), (1, 1, 1)] {
            let mut script = rig(seat, 7);
            writeln!(script, "driver {fitted} 259 0 0 25 50 0\nwrite 2 3 {fitted}").unwrap();
            writeln!(script, "choose {longer} {any} {transfer}\ntrace").unwrap();
            let found = run(&program, folder.path(), &script);
            let expected = rust_side::run(&seats, 259, &script);
            assert_eq!(difference(&script, &found, &expected), None, "{script}");
            seen += &found;
        }
    }
    let ids = seats.iter().map(|seat| seat.card.id.as_str());
    for answer in ids.map(|id| format!("chosen {id}")).chain(["ambiguous", "none fits"].map(str::to_owned)) {
        assert!(seen.contains(&answer), "`{answer}` never came up");
    }
}

#[test]
fn every_cards_own_driver_compiles_and_a_microcontroller_takes_it() {
    let Some(cc) = tools::need("cc", "gcc") else { return };
    let Some(arm) = tools::need("arm-none-eabi-gcc", "gcc-arm-none-eabi") else { return };
    let folder = tempfile::tempdir().unwrap();
    let mut sources = Vec::new();
    for seat in seats() {
        let name = format!("part_{}", seat.card.id.replace('-', "_"));
        let request = Request::new(vec![Part::new(&seat.card, seat.pins)]).in_module(&name);
        for file in c::driver(&request).unwrap().files {
            let path = folder.path().join(&file.name);
            fs::write(&path, file.text).unwrap();
            sources.push(path);
        }
    }
    sources.retain(|path| path.extension().is_some_and(|ending| ending == "c"));
    succeeded(&Command::new(&cc).args(STRICT).arg("-fsyntax-only").args(&sources).output().unwrap());
    let cross = ["-ffreestanding", "-mcpu=cortex-m0", "-mthumb", "-Os", "-c", "-o", "part.o"];
    for source in sources.iter().step_by(40) {
        succeeded(
            &Command::new(&arm).args(STRICT).args(cross).arg(source).current_dir(folder.path()).output().unwrap(),
        );
    }
    // The header is taken by C++ as well.
    let header = folder.path().join("part_24lc256.h");
    succeeded(
        &Command::new(&cc)
            .args(["-x", "c++", "-Wall", "-Wextra", "-Werror", "-fsyntax-only"])
            .arg(header)
            .output()
            .unwrap(),
    );
}
