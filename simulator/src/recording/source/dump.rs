//! Value change dumps.

use std::fs::File;
use std::io::BufReader;
use std::path::Path;
use std::string::{String, ToString};
use std::vec::Vec;

use vcd::{Command, IdCode, Parser, ScopeItem, TimescaleUnit, Value, VarType};

use crate::recording::error::RecordingError;
use crate::recording::source::counted::{Counted, Progress};
use crate::recording::source::{Chosen, ON_MV, Sample, rate_hz};

/// A variable of a dump that can be a channel.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Variable {
    pub(crate) name: String,
    code: IdCode,
    /// A voltage rather than a level.
    pub(crate) real: bool,
}

/// What a dump says about itself.
#[derive(Debug, Clone)]
pub(crate) struct Header {
    pub(crate) variables: Vec<Variable>,
    /// The unit of time stamps, in femtoseconds.
    unit_fs: u64,
    /// Sample rate, where a comment says it.
    hz: Option<u64>,
}

type Reader = Parser<BufReader<Counted>>;

fn bad(file: &str, parser: &Reader, error: &std::io::Error) -> RecordingError {
    if error.kind() == std::io::ErrorKind::UnexpectedEof {
        return RecordingError::cut_off(file, std::format!("it ends in the middle of line {}", parser.line()));
    }
    RecordingError::malformed(file, std::format!("line {}", parser.line()), error)
}

fn collect(items: &[ScopeItem], scope: &str, into: &mut Vec<(String, Variable)>) {
    for item in items {
        match item {
            ScopeItem::Var(var) => {
                let real = var.var_type == VarType::Real;
                if real || var.size == 1 {
                    let name = match &var.index {
                        Some(index) => std::format!("{}{index}", var.reference),
                        None => var.reference.clone(),
                    };
                    into.push((scope.to_string(), Variable { name, code: var.code, real }));
                }
            }
            ScopeItem::Scope(inner) => {
                let path = if scope.is_empty() {
                    inner.identifier.clone()
                } else {
                    std::format!("{scope}.{}", inner.identifier)
                };
                collect(&inner.items, &path, into);
            }
            _ => {}
        }
    }
}

/// Names that several scopes use get their scope in front.
fn names(found: Vec<(String, Variable)>) -> Vec<Variable> {
    let all: Vec<String> = found.iter().map(|(_, variable)| variable.name.clone()).collect();
    let twice = |name: &str| all.iter().filter(|other| *other == name).count() > 1;
    let rename = |(scope, variable): (String, Variable)| {
        let name = if twice(&variable.name) && !scope.is_empty() {
            std::format!("{scope}.{}", variable.name)
        } else {
            variable.name
        };
        Variable { name, ..variable }
    };
    found.into_iter().map(rename).collect()
}

fn open(path: &Path, file: &str) -> Result<(Reader, Header, Progress), RecordingError> {
    let unreadable = |error: std::io::Error| RecordingError::unreadable(file, &error);
    let (counted, progress) = Counted::new(File::open(path).map_err(unreadable)?).map_err(unreadable)?;
    let mut parser = Parser::new(BufReader::with_capacity(1 << 16, counted));
    let header = match parser.parse_header() {
        Ok(header) => header,
        Err(error) => return Err(bad(file, &parser, &error)),
    };
    let (quantity, unit) = header
        .timescale
        .ok_or_else(|| RecordingError::malformed(file, "header", "no $timescale, so that no time is known; add one"))?;
    let each = match unit {
        TimescaleUnit::S => 1_000_000_000_000_000,
        TimescaleUnit::MS => 1_000_000_000_000,
        TimescaleUnit::US => 1_000_000_000,
        TimescaleUnit::NS => 1_000_000,
        TimescaleUnit::PS => 1000,
        TimescaleUnit::FS => 1,
    };
    let mut found = Vec::new();
    collect(&header.items, "", &mut found);
    let unit_fs = each * u64::from(quantity.max(1));
    let hz = header.items.iter().find_map(|item| match item {
        ScopeItem::Comment(text) => text.rsplit_once(" at ").and_then(|(_, rate)| rate_hz(rate)),
        _ => None,
    });
    Ok((parser, Header { variables: names(found), unit_fs, hz }, progress))
}

/// What the dump says about itself.
pub(crate) fn header(path: &Path, file: &str) -> Result<Header, RecordingError> {
    open(path, file).map(|(_, header, _)| header)
}

/// The changes of a dump.
pub(crate) struct DumpSource {
    file: String,
    parser: Reader,
    progress: Progress,
    unit_fs: u64,
    hz: Option<u64>,
    codes: [Option<IdCode>; 3],
    now: u64,
    lines: [bool; 2],
    said: Option<[bool; 2]>,
    supply: Option<(bool, Option<u32>)>,
    supply_said: Option<(bool, Option<u32>)>,
    pending: Option<Sample>,
    over: bool,
}

impl DumpSource {
    pub(crate) fn new(path: &Path, file: &str, chosen: Chosen) -> Result<Self, RecordingError> {
        let (parser, header, progress) = open(path, file)?;
        let code = |channel: usize| Some(header.variables[channel].code);
        Ok(Self {
            file: file.to_string(),
            parser,
            progress,
            unit_fs: header.unit_fs,
            hz: header.hz,
            codes: [code(chosen.scl), code(chosen.sda), chosen.supply.and_then(code)],
            now: 0,
            lines: [true; 2],
            said: None,
            supply: None,
            supply_said: None,
            pending: None,
            over: false,
        })
    }

    pub(crate) fn progress(&self) -> f64 {
        self.progress.share()
    }

    /// The sample interval, where a comment says the rate.
    pub(crate) fn interval_ns(&self) -> Option<u64> {
        self.hz.map(|hz| 1_000_000_000_u64.div_ceil(hz))
    }

    fn ns(&self, stamp: u64) -> u64 {
        (u128::from(stamp) * u128::from(self.unit_fs) / 1_000_000) as u64
    }

    fn change(&mut self, code: IdCode, value: Value) {
        // A released line is high: the pull-up makes it so. Unknown counts as released.
        let level = value != Value::V0;
        for i in 0..2 {
            if self.codes[i] == Some(code) {
                self.lines[i] = level;
            }
        }
        if self.codes[2] == Some(code) {
            self.supply = Some((value == Value::V1, None));
        }
    }

    /// What has changed at the time that is over; a second thing waits in `pending`.
    fn changed(&mut self) -> Option<Sample> {
        let at_ns = self.ns(self.now);
        let supply = if self.supply == self.supply_said { None } else { self.supply };
        self.supply_said = self.supply;
        let supply = supply.map(|(on, mv)| Sample::Supply { at_ns, on, mv });
        if self.said == Some(self.lines) {
            return supply;
        }
        self.said = Some(self.lines);
        self.pending = supply;
        let [scl, sda] = self.lines;
        Some(Sample::Lines { at_ns, scl, sda })
    }

    pub(crate) fn next(&mut self) -> Result<Sample, RecordingError> {
        if let Some(sample) = self.pending.take() {
            return Ok(sample);
        }
        loop {
            if self.over {
                let at_ns = self.ns(self.now);
                return Ok(self.changed().unwrap_or(Sample::End { at_ns }));
            }
            let command = match self.parser.next() {
                None => {
                    self.over = true;
                    continue;
                }
                Some(Ok(command)) => command,
                Some(Err(error)) => return Err(bad(&self.file, &self.parser, &error)),
            };
            match command {
                Command::Timestamp(stamp) => {
                    if stamp < self.now {
                        let place = std::format!("line {}", self.parser.line());
                        let reason = std::format!("time goes back from {} to {stamp}", self.now);
                        return Err(RecordingError::malformed(&self.file, place, reason));
                    }
                    if stamp > self.now {
                        // Both lines of one time stamp count as one sample.
                        let changed = self.changed();
                        self.now = stamp;
                        if let Some(sample) = changed {
                            return Ok(sample);
                        }
                    }
                }
                Command::ChangeScalar(code, value) => self.change(code, value),
                Command::ChangeVector(code, value) => {
                    if let (1, Some(value)) = (value.len(), value.iter().next()) {
                        self.change(code, value);
                    }
                }
                Command::ChangeReal(code, volts) if self.codes[2] == Some(code) => {
                    let mv = (volts * 1000.0).round().clamp(0.0, 1e6) as u32;
                    self.supply = Some((mv >= ON_MV, Some(mv)));
                }
                _ => {}
            }
        }
    }
}
