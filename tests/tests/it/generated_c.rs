//! The generated C driver executes the Rust driver's plan: on every card, for many requests, options and faults, the
//! simulated bus carries the same bytes at the same times, and both report the same.

mod rust_side;

use std::fmt::Write as _;
use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use pagewise_emit::{Part, Record, Request, c};
use pagewise_part::card::Catalogue;
use pagewise_tests::search::{scaled, seed};
use pagewise_tests::seat::Seat;
use pagewise_tests::tools;

const ROOT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/..");
const STRICT: [&str; 7] = ["-std=c99", "-Wall", "-Wextra", "-Werror", "-pedantic", "-Wconversion", "-Wshadow"];

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

fn succeeded(output: &Output) {
    assert!(output.status.success(), "{}{}", text(&output.stdout), text(&output.stderr));
}

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

/// Every card, strapped as its number says, at a supply and rate that it allows.
fn seats() -> Vec<Seat> {
    let catalogue = Catalogue::embedded().unwrap();
    catalogue.cards().iter().enumerate().map(|(index, card)| Seat::new(card, index as u8 & 7, index as u8)).collect()
}

/// One driver for all parts at once, since the candidates' geometries are data: header and source in `folder`.
fn generate(folder: &Path, seats: &[Seat]) {
    let parts = seats.iter().map(|seat| Part::new(&seat.card, seat.pins)).collect();
    let request = Request::new(parts).choosing(Record { offset: 2, bytes: 3 });
    for file in c::driver(&request).unwrap().files {
        fs::write(folder.join(file.name), file.text).unwrap();
    }
    for seat in seats {
        let model = serde_json::to_string(&seat.card.chip_model()).unwrap();
        fs::write(folder.join(format!("{}.json", seat.card.id)), model).unwrap();
    }
}

/// The driver with this buffer, the harness and the simulator.
fn compile(cc: &Path, folder: &Path, buffer: usize) -> PathBuf {
    let program = folder.join(format!("harness-{buffer}"));
    let buffer = format!("-DEEPROM_BUFFER_BYTES={buffer}u");
    let object = folder.join("driver.o");
    succeeded(
        &Command::new(cc)
            .args(STRICT)
            .args(["-O1", "-c", &buffer, "eeprom.c", "-o"])
            .arg(&object)
            .current_dir(folder)
            .output()
            .unwrap(),
    );
    let built = Command::new(cc)
        .args(["-std=c99", "-Wall", "-Wextra", "-Werror", "-O1", &buffer, "-I"])
        .arg(folder)
        .arg("-I")
        .arg(Path::new(ROOT).join("simulator/capi/include"))
        .arg(Path::new(ROOT).join("tests/tests/it/generated_c/harness.c"))
        .arg(&object)
        .arg(tools::workspace_programs().join("libpagewise_capi.a"))
        .args(["-lpthread", "-ldl", "-lm", "-o"])
        .arg(&program)
        .output()
        .unwrap();
    succeeded(&built);
    program
}

/// What the C side prints for a script.
fn run(program: &Path, folder: &Path, script: &str) -> String {
    let mut child = Command::new(program)
        .current_dir(folder)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut input = child.stdin.take().unwrap();
    let script = script.to_owned();
    let writer = std::thread::spawn(move || input.write_all(script.as_bytes()));
    let output = child.wait_with_output().unwrap();
    writer.join().unwrap().unwrap();
    succeeded(&output);
    text(&output.stdout)
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
fn script(index: usize, seat: &Seat, draws: &mut Draws) -> String {
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
    writeln!(script, "driver {index} {transfer} {fixed} {margin} {interval} {lazy}").unwrap();
    let (capacity, page) = (seat.geometry.capacity_bytes(), seat.geometry.page_bytes().min(256));
    let block = seat.geometry.sequential_read_bytes();
    for _ in 0..12 {
        let unit = draws.one_of(&[page, block, capacity, 1]);
        let end = (draws.below(capacity.div_ceil(unit)) + 1) * unit;
        let offset = end.saturating_sub(draws.below(20));
        let most = draws.one_of(&[4, 40, 300, 1100]);
        let mut length = draws.below(most);
        if draws.below(12) > 0 {
            length = length.min(capacity.saturating_sub(offset));
        }
        let verb = draws.one_of(&["write", "write", "verify", "update", "read", "read", "ready"]);
        match verb {
            "ready" => writeln!(script, "ready").unwrap(),
            // Nobody answers for one request.
            "write" if draws.below(6) == 0 => {
                writeln!(script, "faults {{\"nack\":{{\"hits\":1,\"of\":1}}}}\nwrite {offset} {length} 0\nfaults {{}}")
                    .unwrap()
            }
            _ => writeln!(script, "{verb} {offset} {length} {}", draws.below(4)).unwrap(),
        }
    }
    script + "trace\n"
}

/// The first line that differs.
fn difference(script: &str, c: &str, rust: &str) -> Option<String> {
    if c == rust {
        return None;
    }
    let shorter = c.lines().count().min(rust.lines().count());
    let at = c.lines().zip(rust.lines()).position(|(a, b)| a != b).unwrap_or(shorter);
    let line = |text: &str| text.lines().nth(at).unwrap_or("(nothing)").chars().take(200).collect::<String>();
    let commands = script.lines().count();
    Some(format!("line {at} of {commands} commands\nC:    {}\nRust: {}", line(c), line(rust)))
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
    for buffer in rust_side::BUFFERS {
        let program = compile(&cc, folder.path(), buffer);
        for (index, seat) in seats.iter().enumerate() {
            let script: String = (0..scaled(1)).map(|_| script(index, seat, &mut draws)).collect();
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
    let answers =
        ["\nok ", "out of range", "buffer too small", "not answering", "write protected", "overrun", "verify at"];
    for answer in answers {
        assert!(seen.contains(answer), "`{answer}` never came up in {requests} requests");
    }
    assert!(seats.len() > 200 && requests > 5_000, "{requests}");
}

/// Mistakes that a port of the plan can make; the comparison must find each.
const MISTAKES: [(&str, &str); 11] = [
    ("block_bytes - offset % block_bytes", "block_bytes - offset % 2"),
    ("driver->pending ? driver->pending_offset : at", "at"),
    ("cycle * use->margin_percent + 99", "cycle * 25 + 99"),
    ("p->polls_left == 0", "p->polls_left == 1"),
    ("p->polls_left == 1", "p->polls_left == 2"),
    ("last && driver->lazy", "driver->lazy"),
    ("driver->geometry.write_cycle_us == 0", "driver->geometry.write_cycle_us == 1"),
    ("        driver->pending = false;\n        start_wait(driver, p);\n", "        start_wait(driver, p);\n"),
    ("& word_mask) > 0", "& word_mask) < UINT32_MAX"),
    ("p->unsettled = p->start - before", "p->unsettled = before - before"),
    ("<< part->block_select_shift", "<< 0"),
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
        let program = compile(&cc, folder.path(), 34);
        let mut draws = Draws(seed());
        let found = (0..scaled(40)).find(|_| {
            seats.iter().enumerate().any(|(index, seat)| {
                let script = script(index, seat, &mut draws);
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
    let program = compile(&cc, folder.path(), 259);
    let mut seen = String::new();
    for (fitted, seat) in seats.iter().enumerate() {
        for (longer, any, transfer) in [(0, 0, 0), (1, 0, 0), (1, 0, 3), (0, 0, 2), (1, 1, 0), (1, 1, 1)] {
            let mut script = rig(seat, 7);
            writeln!(script, "driver {fitted} 0 0 25 50 0\nwrite 2 3 {fitted}").unwrap();
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

/// What the prover says of the two functions that decide where an access ends: proved goals and all goals.
fn proved(frama_c: &Path, folder: &Path, source: &str) -> (u32, u32) {
    fs::write(folder.join("eeprom.c"), source).unwrap();
    let output = Command::new(frama_c)
        .args(["-wp", "-wp-rte", "-wp-prover", "z3", "-wp-timeout", "60", "-wp-fct", "chunk_bytes,contains"])
        .arg(folder.join("eeprom.c"))
        .output()
        .unwrap();
    succeeded(&output);
    let said = text(&output.stdout);
    let line = said.lines().find_map(|line| line.split_once("Proved goals:")).unwrap_or_else(|| panic!("{said}")).1;
    let (proved, all) = line.split_once('/').unwrap();
    (proved.trim().parse().unwrap(), all.trim().parse().unwrap())
}

#[test]
fn the_cut_at_page_ends_is_proved_and_a_wrong_one_is_not() {
    let Some(frama_c) = tools::need("frama-c", "frama-c-base") else { return };
    if tools::need("z3", "z3").is_none() || tools::need("why3", "why3").is_none() {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    // The prover is found through a file that why3 writes once, here into a home of its own.
    let configured = Command::new("why3").args(["config", "detect"]).output().unwrap();
    succeeded(&configured);
    let catalogue = Catalogue::embedded().unwrap();
    let part = Part::new(catalogue.find("24lc256").unwrap(), [false; 3]);
    let files = c::driver(&Request::new(vec![part])).unwrap().files;
    fs::write(folder.path().join("eeprom.h"), &files[0].text).unwrap();
    let source = &files[1].text;
    let (done, all) = proved(&frama_c, folder.path(), source);
    assert!(done == all && all >= 10, "{done} of {all} goals proved");
    // What everybody writes first, and a sum that overflows.
    let mistakes = [
        ("block_bytes - offset % block_bytes", "block_bytes"),
        ("length <= part->capacity_bytes - offset", "offset + (uint32_t)length <= part->capacity_bytes"),
    ];
    for (right, wrong) in mistakes {
        assert!(source.contains(right), "{right}");
        let (done, all) = proved(&frama_c, folder.path(), &source.replacen(right, wrong, 1));
        assert!(done < all, "`{wrong}` was proved: {done} of {all}");
    }
}
