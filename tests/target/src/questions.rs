//! Seeded programs for the chip of the classroom, as the page asks for them. The host's test includes this very file.

use alloc::format;
use alloc::string::String;
use alloc::vec;
use core::fmt::Write;

use pagewise_simulator::ChipModel;
use pagewise_simulator::model::{BusyAnswer, CycleUnit, TornScope, WearUnit, WpSampled};
use serde_json::{Value, json};

/// Programs that are drawn.
pub const PROGRAMS: u64 = 1000;
/// Where the draws begin.
pub const SEED: u64 = 20_261_129;

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

/// Three questions for each program: play it, show the bench after some step, and at its end.
pub fn questions() -> impl Iterator<Item = Value> {
    let mut draw = Draw(SEED);
    (0..PROGRAMS).flat_map(move |number| {
        let one = model(&mut draw);
        let text = program(&mut draw, one.word_address_bytes);
        let mut models = vec![one.clone()];
        if number % 10 == 0 {
            models.push(ChipModel { page: 64, ..one });
        }
        [
            json!({ "do": "open", "models": models, "task": { "program": text } }),
            json!({ "do": "show", "step": draw.below(120) }),
            json!({ "do": "show", "step": 100_000 }),
        ]
    })
}

/// Length and FNV-1a of an answer.
pub fn digest(answer: &str) -> String {
    let digest = |digest: u32, byte: u8| (digest ^ u32::from(byte)).wrapping_mul(0x0100_0193);
    format!("{} {:x}", answer.len(), answer.bytes().fold(0x811C_9DC5, digest))
}
