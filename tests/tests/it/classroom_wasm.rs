//! The simulator in the browser is the simulator: the kept WebAssembly answers as the host does, and so does a fresh build.

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use pagewise_player::talk::Desk;
use pagewise_simulator::ChipModel;
use pagewise_simulator::model::{BusyAnswer, CycleUnit, TornScope, WearUnit, WpSampled};
use pagewise_tests::tools;
use serde_json::{Value, json};

const PROGRAMS: u64 = 1000;
const SEED: u64 = 20_261_129;

struct Draw(u64);

impl Draw {
    fn below(&mut self, bound: u64) -> u64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % bound
    }

    fn one<T: Copy>(&mut self, of: &[T]) -> T {
        of[self.below(of.len() as u64) as usize]
    }
}

fn model(draw: &mut Draw) -> ChipModel {
    let mut model = match draw.below(3) {
        0 => ChipModel::example_2_kbit(),
        1 => ChipModel::example_16_kbit(),
        _ => ChipModel::example_32_kbit(),
    };
    model.page = draw.one(&[8, 16, 32]);
    model.busy_answer = draw.one(&[BusyAnswer::AnyAccess, BusyAnswer::WritesOnly, BusyAnswer::SameControlByte]);
    model.write_cycle.per = draw.one(&[CycleUnit::Page, CycleUnit::Byte]);
    model.torn_scope = draw.one(&[TornScope::Latched, TornScope::Group(4), TornScope::Page]);
    model.wear_unit = draw.one(&[WearUnit::Byte, WearUnit::Group(4), WearUnit::Page]);
    model.write_protect.sampled = draw.one(&[WpSampled::Stop, WpSampled::DataPhase]);
    model
}

/// A program of everything that the notation has.
fn program(draw: &mut Draw, word_address_bytes: u8) -> String {
    let mut text =
        format!("seed {}\ntorn {}\n", draw.below(1000), draw.one(&["prefix", "subset", "erased", "unstable", "old"]));
    let _ = writeln!(text, "cycle {}", draw.one(&["max", "drawn", "typical", "3ms"]));
    let _ = writeln!(text, "contents {}\nnoise {}", draw.one(&["random", "erased"]), draw.one(&["on", "off", "off"]));
    let _ = writeln!(text, "supply {}\nA0 {}", draw.one(&["3.3V", "1.8V", "5V"]), draw.one(&["low", "low", "open"]));
    let _ = writeln!(text, "means 0010 80..9F\nholds 0000 01..10\nworn 0010 {}", draw.below(2_000_000));
    if draw.below(20) == 0 {
        let _ = writeln!(text, "lines {} 91pF", draw.one(&["2.2kohm", "10kohm"]));
    }
    for _ in 0..draw.below(8) + 1 {
        let header = match draw.below(u64::from(word_address_bytes) + 2) {
            0 => String::new(),
            n => (0..n).map(|at| format!(" {:02X}", if at == 0 { 0 } else { draw.below(64) })).collect(),
        };
        let first = draw.below(256);
        match draw.below(12) {
            0..=3 => drop(writeln!(text, "S 50W{header} {first:02X}..{:02X} P", (first + draw.below(40)) % 256)),
            4 | 5 => drop(writeln!(text, "S 50W{header} Sr 50R ??x{} P", draw.below(20) + 1)),
            6 => drop(writeln!(text, "wait {}us", draw.below(9000) + 1)),
            7 => text.push_str("poll 50W 10ms\n"),
            8 => text.push_str("cut\n"),
            9 => drop(writeln!(text, "WP {}", draw.one(&["high", "low", "open"]))),
            10 => drop(writeln!(text, "S 50W{header} Sr 50R ??+\nreset after {} bits\nrecover", draw.below(8))),
            _ => drop(writeln!(text, "repeat {}\nS 50W{header} {first:02X} P\nwait 1ms\nend", draw.below(5) + 1)),
        }
    }
    text
}

fn questions() -> Vec<Value> {
    let mut draw = Draw(SEED);
    let mut all = Vec::new();
    for number in 0..PROGRAMS {
        let one = model(&mut draw);
        let text = program(&mut draw, one.word_address_bytes);
        let mut models = vec![one.clone()];
        if number % 10 == 0 {
            models.push(ChipModel { page: 64, ..one });
        }
        all.push(json!({ "do": "open", "models": models, "task": { "program": text } }));
        all.push(json!({ "do": "show", "step": draw.below(120) }));
        all.push(json!({ "do": "show", "step": 100_000 }));
    }
    all
}

fn on_the_host(questions: &[Value]) -> Vec<String> {
    let mut desk = Desk::default();
    let digest = |text: &str| {
        text.bytes().fold(0x811C_9DC5_u32, |digest, byte| (digest ^ u32::from(byte)).wrapping_mul(0x0100_0193))
    };
    let mut played = 0;
    let answers = questions.iter().map(|question| {
        let answer = desk.ask(question.to_string().as_bytes());
        played += usize::from(answer.contains("\"steps\":"));
        format!("{} {:x}", answer.len(), digest(&answer))
    });
    let answers = answers.collect();
    assert_eq!(played as u64, PROGRAMS, "every program is one");
    answers
}

fn in_wasm(node: &Path, wasm: &Path, questions: &[Value]) -> Vec<String> {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/it/classroom/ask.mjs");
    let folder = tempfile::tempdir().unwrap();
    let input = folder.path().join("questions.jsonl");
    let lines: Vec<String> = questions.iter().map(Value::to_string).collect();
    fs::write(&input, lines.join("\n")).unwrap();
    let run = Command::new(node)
        .arg(script)
        .arg(wasm)
        .stdin(fs::File::open(input).unwrap())
        .stderr(Stdio::inherit())
        .output();
    let run = run.unwrap();
    assert!(run.status.success(), "node fails");
    String::from_utf8(run.stdout).unwrap().lines().map(str::to_owned).collect()
}

fn kept() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../templates/classroom/chip.wasm")
}

fn compare(wasm: &Path) {
    let Some(node) = tools::need("node", "nodejs") else { return };
    let questions = questions();
    let (host, page) = (on_the_host(&questions), in_wasm(&node, wasm, &questions));
    assert_eq!(host.len(), page.len());
    for (number, question) in questions.iter().enumerate() {
        let what = format!("seed {SEED}, question {number}: {question}");
        assert_eq!(host[number], page[number], "{what}\nPAGEWISE_BLESS=1 with `fresh` builds the kept file anew");
    }
}

#[test]
fn the_kept_file_answers_as_the_host_does() {
    compare(&kept());
}

/// Builds for minutes, hence a step of its own (`bash .ci/run web`). With `PAGEWISE_BLESS=1` the kept file is replaced.
#[test]
#[ignore = "builds the simulator anew for another target"]
fn a_fresh_build_answers_as_the_host_does() {
    let Some(fresh) = tools::wasm() else { return };
    if std::env::var_os("PAGEWISE_BLESS").is_some() {
        fs::copy(&fresh, kept()).unwrap();
    }
    compare(&fresh);
}
