//! What a session saw.

use std::collections::BTreeMap;

use pagewise_simulator::{Hazard, Rig, Step};
use serde::{Deserialize, Serialize};

use crate::protocol::Message;

/// The most transfers that are kept by their text.
const TRANSFERS: usize = 100_000;
/// The most hazards of one kind that are kept; the others are counted.
const OF_A_KIND: usize = 100;
/// The most answers that are kept.
const READINGS: usize = 50_000;

/// Everything that was seen from the beginning on.
#[derive(Debug, Clone, Default)]
pub struct Seen {
    /// A program opened the device.
    pub opened: bool,
    /// Hazards in the order in which they became certain, at most a hundred of a kind.
    pub hazards: Vec<Sighting>,
    /// How often each hazard was seen.
    pub counts: BTreeMap<String, u64>,
    /// What the user should know of how the programs used the device, each once.
    pub told: Vec<String>,
    /// Transfers, from START to STOP.
    pub transfers: u64,
    /// Time of the bus in nanoseconds.
    pub now_ns: u64,
    /// Memory per chip, as it is when the write cycles that run are over.
    pub memory: Vec<Vec<u8>>,
    /// What programs read last, by what they asked: device address, the last bytes written to it, and how far they had read
    /// on from there.
    pub readings: BTreeMap<(u8, Vec<u8>, usize), Vec<u8>>,
    /// Every transfer with the state before it, where the plan asked for that.
    pub steps: Vec<Step>,
    lines: Vec<Line>,
    pointers: BTreeMap<u8, (Vec<u8>, usize)>,
}

/// A hazard that a detector named.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Sighting {
    /// Name of the hazard.
    pub hazard: String,
    /// When, in nanoseconds since the session began.
    pub at_ns: u64,
    /// What happened.
    pub text: String,
    /// Number of the transfer concerned, from 1; 0 if it is none.
    pub transfer: u64,
    /// That transfer: device address, bytes and acknowledge bits.
    pub on_the_bus: String,
}

#[derive(Debug, Clone)]
struct Line {
    from_ns: u64,
    until_ns: u64,
    text: String,
}

impl Seen {
    /// The transfers from the first on, at most a hundred thousand: when each began, in nanoseconds, and its text.
    pub fn lines(&self) -> impl Iterator<Item = (u64, &str)> {
        self.lines.iter().map(|line| (line.from_ns, line.text.as_str()))
    }

    /// A transfer is over. Returns its line for the trace.
    pub(crate) fn transferred(&mut self, rig: &Rig, from_ns: u64, messages: &[Message], done: bool) -> String {
        self.transfers += 1;
        if let Some(step) = self.steps.last_mut() {
            step.over(rig.trace());
        }
        let text = rig.transfers_text();
        rig.set_trace(true);
        let line = text.trim_end().lines().last().unwrap_or_default();
        let line = line.find(" S ").map_or(line, |at| &line[at + 1..]).to_owned();
        if self.lines.len() < TRANSFERS {
            let text = line;
            self.lines.push(Line { from_ns, until_ns: rig.now_ns(), text });
        }
        if done {
            self.remember(messages);
        }
        text
    }

    fn remember(&mut self, messages: &[Message]) {
        use crate::protocol::Kind;
        for Message { address, kind, .. } in messages {
            let (header, read) = self.pointers.entry(*address).or_default();
            match kind {
                // The bytes that set the pointer, whatever data followed them.
                Kind::Write(bytes) => (*header, *read) = (bytes[..bytes.len().min(4)].to_vec(), 0),
                Kind::Read(bytes) | Kind::ReadBlock(bytes) => {
                    let key = (*address, header.clone(), *read);
                    *read += bytes.len();
                    if self.readings.len() < READINGS || self.readings.contains_key(&key) {
                        self.readings.insert(key, bytes.clone());
                    }
                }
            }
        }
    }

    /// A hazard was seen.
    pub(crate) fn hazard(&mut self, hazard: Hazard, at_ns: u64, text: String) {
        let name = hazard.name().to_owned();
        let count = self.counts.entry(name.clone()).or_default();
        *count += 1;
        if *count > OF_A_KIND as u64 {
            return;
        }
        // The transfer that lasted then, else the one before.
        let after = self.lines.partition_point(|line| line.from_ns <= at_ns);
        let found = after.checked_sub(1).and_then(|at| Some((at as u64 + 1, self.lines.get(at)?)));
        let (transfer, on_the_bus) = found.map_or((0, String::new()), |(number, line)| {
            debug_assert!(line.from_ns <= line.until_ns);
            (number, line.text.clone())
        });
        self.hazards.push(Sighting { hazard: name, at_ns, text, transfer, on_the_bus });
    }

    /// Something that the user should know.
    pub(crate) fn tell(&mut self, text: String) {
        if !self.told.contains(&text) && self.told.len() < OF_A_KIND {
            self.told.push(text);
        }
    }
}
