//! A program on a simulated part, step by step in the terminal.

use pagewise_player::{Bench, BusEvent, End, LaneView, Outcome, Place, Program, Run, Who};
use schemars::JsonSchema;
use serde::Serialize;

use crate::output::{Exit, Tone, paint, plain, wrapped};
use pagewise_base::fault::{Fault, Faults};

/// Steps that are shown.
const SHOWN: usize = 2_000;
/// Losses that are shown.
const SHOWN_LOSSES: usize = 12;

/// A run, step by step.
#[derive(JsonSchema, Serialize)]
pub struct Played {
    part: String,
    end: End,
    steps: Vec<Step>,
    lost: usize,
    wrong_reads: usize,
    losses: Vec<String>,
    #[serde(skip)]
    rows: Vec<String>,
}

#[derive(JsonSchema, Serialize)]
struct Step {
    place: Place,
    words: String,
    bus: Vec<BusEvent>,
    skipped: bool,
    surprise: bool,
    at_ns: u64,
    /// What the chip is at, in words.
    chip: String,
    incidents: Vec<String>,
}

impl Played {
    /// Plays a program.
    pub fn new(bench: &Bench, program: &Program) -> (Self, Run) {
        let run = Run::new(bench, program);
        let steps = run.log().iter().enumerate().take(SHOWN);
        let steps = steps.map(|(at, outcome)| step(&run, at, outcome)).collect();
        let last = run.view(run.log().len());
        let played = Self {
            part: bench.model.name.clone(),
            end: run.end(),
            steps,
            lost: run.lost().len(),
            wrong_reads: run.wrong_reads(),
            losses: last.losses.clone(),
            rows: rows(&last),
        };
        (played, run)
    }

    /// How the program ended: against the user if anything was lost or a detector spoke.
    pub fn exit(&self) -> Exit {
        let told = self.steps.iter().any(|step| !step.incidents.is_empty());
        if self.lost + self.wrong_reads > 0 || told || self.end == End::TooLong { Exit::Against } else { Exit::Usable }
    }

    /// All of it, or what it came to only.
    pub fn text(&self, with_steps: bool) -> String {
        let mut lines = vec![paint(Tone::Heading, plain(&self.part))];
        if with_steps {
            lines.push(paint(Tone::Faint, "step line  program            bus      chip"));
        }
        for (number, step) in self.steps.iter().enumerate() {
            if with_steps {
                lines.push(step.text(number + 1));
            }
            let told = step.incidents.iter().map(|incident| wrapped(&plain(incident), "           ", "             "));
            let place =
                |text: String| if with_steps { text } else { format!("  {}{}", step.where_(), text.trim_start()) };
            lines.extend(told.map(|text| paint(Tone::Bad, place(text))));
        }
        if self.end == End::TooLong {
            lines.push(paint(Tone::Bad, "the program does not end; it was given up"));
        } else if with_steps && self.steps.len() == SHOWN {
            lines.push(paint(Tone::Faint, format!("the first {SHOWN} steps")));
        }
        let tone = if self.lost + self.wrong_reads > 0 { Tone::Bad } else { Tone::Good };
        lines.push(paint(tone, format!("{} bytes lost, {} read wrong", self.lost, self.wrong_reads)));
        lines.extend(self.losses.iter().take(SHOWN_LOSSES).map(|loss| wrapped(&plain(loss), "  ", "    ")));
        lines.extend(self.rows.iter().cloned());
        lines.join("\n") + "\n"
    }
}

impl Step {
    fn where_(&self) -> String {
        if self.place.line == 0 { "at the end: ".to_owned() } else { format!("line {}: ", self.place.line) }
    }

    fn text(&self, number: usize) -> String {
        let line = if self.place.line == 0 { "end".to_owned() } else { self.place.line.to_string() };
        let bus: Vec<String> = self.bus.iter().take(3).map(shown).collect();
        let bus = if self.skipped { "not sent".to_owned() } else { bus.join(" ") };
        let words: String = self.words.chars().take(18).collect();
        let mark = if self.surprise { " !" } else { "" };
        format!("{number:>4} {line:>4}  {:<18} {bus:<8} {}{mark}", plain(&words), self.chip)
    }
}

fn step(run: &Run, at: usize, outcome: &Outcome) -> Step {
    let view = run.view(at + 1);
    let told = |incident: &pagewise_simulator::Incident| format!("{}: {}", incident.hazard, incident.text);
    Step {
        place: outcome.place,
        words: run.program().words(outcome.place),
        bus: outcome.bus.clone(),
        skipped: outcome.skipped,
        surprise: outcome.surprise,
        at_ns: outcome.at_ns,
        chip: chip(&view),
        incidents: outcome.incidents.iter().map(told).collect(),
    }
}

fn shown(event: &BusEvent) -> String {
    match *event {
        BusEvent::Start => "S".to_owned(),
        BusEvent::Restart => "Sr".to_owned(),
        BusEvent::Stop => "P".to_owned(),
        BusEvent::Byte { byte, address, by, acked } => {
            let mark = if acked { '+' } else { '-' };
            let from = if by == Who::Chip { "<" } else { "" };
            if address {
                format!("{:02X}{}{mark}", byte >> 1, if byte & 1 == 1 { 'R' } else { 'W' })
            } else {
                format!("{from}{byte:02X}{mark}")
            }
        }
    }
}

/// What the chip is at.
fn chip(view: &LaneView) -> String {
    let chip = &view.chip;
    if !chip.awake {
        return format!("no answer at {} mV", view.supply_mv);
    }
    if let Some(cycle) = &chip.cycle {
        let left = cycle.ends_ns.saturating_sub(view.at_ns) as f64 / 1e6;
        return format!("write cycle, {left:.2} ms left");
    }
    if let Some(latch) = chip.latch.as_ref().filter(|latch| latch.received > 0) {
        return format!("latch {} of {}, next 0x{:04X}", latch.bytes.len(), latch.size, latch.next);
    }
    format!("pointer 0x{:04X}", chip.pointer)
}

/// The rows in which something is lost.
fn rows(view: &LaneView) -> Vec<String> {
    let lost = |row: &pagewise_player::Row| {
        row.meant.iter().zip(&row.found).any(|(meant, found)| meant.is_some() && meant != found)
    };
    let byte = |byte: &Option<u8>| byte.map_or_else(|| " ..".to_owned(), |byte| format!(" {byte:02X}"));
    let rows = view.rows.iter().filter(|row| lost(row)).take(8);
    rows.flat_map(|row| {
        let line = |bytes: &[Option<u8>]| bytes.iter().map(byte).collect::<String>();
        [format!("  0x{:04X}  meant {}", row.offset, line(&row.meant)), format!("          there {}", line(&row.found))]
    })
    .collect()
}

/// Faults of a program in the words of a file.
pub fn faults_of(file: &str, faults: Vec<pagewise_player::Fault>) -> Faults {
    let fault = |fault: pagewise_player::Fault| Fault {
        file: file.to_owned(),
        line: fault.place.line,
        field: String::new(),
        reason: fault.reason,
        remedy: fault.remedy,
    };
    Faults(faults.into_iter().map(fault).collect())
}
