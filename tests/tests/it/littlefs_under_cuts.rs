//! A file system made for NOR flash (littlefs, by its library for Python) on `FlashLike` and `MultiwriteFlash` on simulated
//! parts, its supply cut at a random time in each run of the program: it mounts again, and every file holds what it held by the
//! last write that was acknowledged, or what was being written. The page is the unit of writing, as the documentation of
//! `FlashLike` demands.

use std::collections::BTreeMap;
use std::io::{BufRead as _, BufReader, Write as _};
use std::path::Path;
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};

use embedded_storage_async::nor_flash::NorFlash;
use pagewise_driver::{AsyncEeprom, FlashLike, MultiwriteFlash, Options};
use pagewise_part::card::Catalogue;
use pagewise_simulator::{
    AsyncRigBus, CycleTime, PowerUp, Rig, RigConfig, RigDelay, SupplyProfile, TornModel, block_on,
};
use pagewise_tests::python::Python;
use pagewise_tests::search::{scaled, seed};
use pagewise_tests::seat::Seat;
use pagewise_tests::tools;

const RELEASE: &str = "littlefs-python==0.19.0";
const SCRIPT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/it/littlefs_under_cuts/files.py");
/// About what one run of the program takes with its write cycles of 0.2 ms.
const RUN_NS: u64 = 250_000_000;

type Part = AsyncEeprom<AsyncRigBus, RigDelay, 259>;
type Small = FlashLike<Part, 32, 256>;
type Large = MultiwriteFlash<Part, 64, 512>;

/// What a file holds, in hexadecimal; `none` where there is no file.
#[derive(Debug)]
struct File {
    acknowledged: String,
    begun: Vec<String>,
}

struct Bench {
    seat: Seat,
    rig: Rig,
    starts: u32,
    files: BTreeMap<String, File>,
    written: u32,
    forgets_every: Option<u32>,
}

/// The script, for all starts.
struct Program {
    child: Child,
    to: ChildStdin,
    from: BufReader<ChildStdout>,
}

impl Program {
    /// `None` with a printed reason where something is missing.
    fn new() -> Option<Self> {
        let python = Python::with(Path::new(env!("CARGO_TARGET_TMPDIR")), &[RELEASE])?;
        let mut child = Command::new(tools::need("python3", "python3")?)
            .arg(SCRIPT)
            .env("PYTHONPATH", python.packages())
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let (to, from) = (child.stdin.take().unwrap(), BufReader::new(child.stdout.take().unwrap()));
        Some(Self { child, to, from })
    }

    fn say(&mut self, line: &str) {
        writeln!(self.to, "{line}").unwrap();
    }

    fn line(&mut self) -> String {
        let mut line = String::new();
        assert!(self.from.read_line(&mut line).unwrap() > 0, "the program has ended");
        line
    }
}

impl Drop for Program {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Bench {
    fn new(id: &str, model: TornModel, draw: u64) -> Self {
        let catalogue = Catalogue::embedded().unwrap();
        let seat = Seat::new(catalogue.find(id).unwrap(), 0, 0);
        let rig = Rig::new(RigConfig::default().with_scl_hz(seat.scl_hz).with_supply_mv(seat.supply_mv));
        rig.set_trace(false);
        let chip = rig.attach_with(seat.card.chip_model(), seat.straps(), PowerUp::Erased);
        rig.set_write_cycle(chip, CycleTime::Exact(200_000));
        rig.set_torn_model(model, draw);
        Self { seat, rig, starts: 0, files: BTreeMap::new(), written: 0, forgets_every: None }
    }

    /// One run of the program, from the start of its driver until it is done or the supply is lost. Says what is wrong.
    fn run<F: NorFlash>(&mut self, program: &mut Program, adapter: fn(Part) -> F) -> Result<(), String> {
        self.serve(program, adapter)?;
        while program.line() != "ended\n" {}
        Ok(())
    }

    fn serve<F: NorFlash>(&mut self, program: &mut Program, adapter: fn(Part) -> F) -> Result<(), String> {
        let eeprom = AsyncEeprom::new(self.rig.async_bus(), self.rig.delay(), self.seat.geometry, Options::new());
        let mut flash = adapter(eeprom);
        let (page, block) = (F::WRITE_SIZE, F::ERASE_SIZE);
        assert_eq!(self.seat.geometry.page_bytes() as usize, page);
        let blocks = self.seat.geometry.capacity_bytes() as usize / block;
        program.say(&format!("{} {page} {block} {blocks}", self.starts));
        self.starts += 1;
        loop {
            let line = program.line();
            let words: Vec<&str> = line.split_whitespace().collect();
            let number = |index: usize| words[index].parse::<u32>().unwrap();
            let mut answer = "0".to_owned();
            let done = match words[0] {
                "read" => {
                    let mut bytes = vec![0xFF; number(2) as usize];
                    let done = block_on(flash.read(number(1), &mut bytes));
                    answer = hex(&bytes);
                    done
                }
                "prog" => {
                    self.written += 1;
                    let forgotten = self.forgets_every.is_some_and(|every| self.written.is_multiple_of(every));
                    if forgotten { Ok(()) } else { block_on(flash.write(number(1), &bytes(words[2]))) }
                }
                "erase" => block_on(flash.erase(number(1), number(1) + number(2))),
                "held" => {
                    self.held(words[1], words.get(2).copied().unwrap_or_default())?;
                    continue;
                }
                "begun" => {
                    self.files.get_mut(words[1]).unwrap().begun.push(words[2].to_owned());
                    continue;
                }
                "done" => {
                    let file = self.files.get_mut(words[1]).unwrap();
                    file.acknowledged = file.begun.pop().unwrap();
                    file.begun.clear();
                    continue;
                }
                _ if words.len() > 1 => return Err(line),
                _ => return Ok(()),
            };
            if done.is_err() {
                program.say("lost");
                return Ok(());
            }
            program.say(&answer);
        }
    }

    /// What a file is found to hold after a start; from then on it must.
    fn held(&mut self, name: &str, found: &str) -> Result<(), String> {
        let new = || File { acknowledged: "none".to_owned(), begun: Vec::new() };
        let file = self.files.entry(name.to_owned()).or_insert_with(new);
        // A file is empty between its making and its first sync.
        let allowed = file.acknowledged == found
            || file.begun.iter().any(|begun| begun == found)
            || (found.is_empty() && file.acknowledged == "none" && !file.begun.is_empty());
        if !allowed {
            return Err(format!("{name} holds {found}, {file:?}"));
        }
        *file = File { acknowledged: found.to_owned(), begun: Vec::new() };
        Ok(())
    }
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

fn bytes(hex: &str) -> Vec<u8> {
    (0..hex.len()).step_by(2).map(|at| u8::from_str_radix(&hex[at..at + 2], 16).unwrap()).collect()
}

/// Cuts under these models; each run of the program is cut once, at a random time.
fn explore<F: NorFlash>(program: &mut Program, id: &str, adapter: fn(Part) -> F) -> Result<usize, String> {
    let mut state = seed();
    let mut random = move |below: u64| {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) % below
    };
    let mut cuts = 0;
    for (draw, model) in TornModel::ALL.into_iter().enumerate() {
        let mut bench = Bench::new(id, model, draw as u64);
        let wrong = |wrong| format!("{id}, {model:?}, seed {:#x}: {wrong}", seed());
        bench.run(program, adapter).map_err(wrong)?;
        for _ in 0..scaled(10) {
            let ns = bench.rig.now_ns() + random(RUN_NS);
            bench.rig.set_supply_profile(&SupplyProfile::new().step(ns, 0));
            bench.run(program, adapter).map_err(wrong)?;
            cuts += usize::from(bench.rig.supply_mv() == 0);
            bench.rig.set_supply_profile(&SupplyProfile::new());
            bench.rig.restore_supply_mv(bench.seat.supply_mv);
        }
        bench.run(program, adapter).map_err(wrong)?;
    }
    Ok(cuts)
}

#[test]
fn littlefs_keeps_every_file_that_was_written() {
    println!("seed {:#x}", seed());
    let Some(mut program) = Program::new() else { return };
    let small = explore(&mut program, "24lc32a", Small::new).unwrap_or_else(|wrong| panic!("{wrong}"));
    let large = explore(&mut program, "24lc256", Large::new).unwrap_or_else(|wrong| panic!("{wrong}"));
    let cuts = small + large;
    println!("{cuts} cuts");
    assert!(cuts > 80, "{cuts}");
}

/// An adapter that says of one write in twenty that it is done, and drops it, is noticed.
#[test]
fn littlefs_on_a_flash_that_forgets_is_noticed() {
    let Some(mut program) = Program::new() else { return };
    let mut wrong = |forgets_every| {
        let mut bench = Bench::new("24lc32a", TornModel::Old, 0);
        bench.forgets_every = forgets_every;
        (0..8).find_map(|_| bench.run(&mut program, Small::new).err())
    };
    assert_eq!(wrong(None), None);
    let noticed = wrong(Some(20));
    println!("{noticed:?}");
    assert!(noticed.is_some());
}
