//! Tables of comma-separated values: one row per sample, or one per change with its time.

mod header;

use std::fs::File;
use std::io::{BufReader, Read};
use std::path::Path;
use std::string::{String, ToString};

use crate::recording::error::RecordingError;
use crate::recording::source::counted::{Counted, Progress};
use crate::recording::source::{Chosen, ON_MV, Sample, sample_ns};
pub(crate) use header::Header;

/// The rows of a table.
pub(crate) struct TableSource {
    file: String,
    rows: csv::Reader<BufReader<Counted>>,
    row: csv::ByteRecord,
    progress: Progress,
    header: Header,
    chosen: Chosen,
    /// Rows of data so far.
    count: u64,
    /// Lines in front of the first row of data.
    lines_before: u64,
    first_time: Option<f64>,
    now_ns: u64,
    said: Option<(bool, bool)>,
    supply_said: Option<(bool, Option<u32>)>,
    pending: Option<Sample>,
    interval_ns: Option<u64>,
}

/// What the table says about itself.
pub(crate) fn header(path: &Path, file: &str) -> Result<Header, RecordingError> {
    let unreadable = |error: std::io::Error| RecordingError::unreadable(file, &error);
    let opened = File::open(path).map_err(unreadable)?;
    Header::read(file, &mut BufReader::new(opened))
}

impl TableSource {
    pub(crate) fn new(path: &Path, file: &str, sample_hz: Option<u64>, chosen: Chosen) -> Result<Self, RecordingError> {
        let mut header = header(path, file)?;
        header.hz = sample_hz.or(header.hz);
        if header.time.is_none() && header.hz.is_none() {
            let reason = "neither a column of times nor a sample rate; add a column \"Time [s]\" or give the rate";
            return Err(RecordingError::malformed(file, "header", reason));
        }
        let unreadable = |error: std::io::Error| RecordingError::unreadable(file, &error);
        let (counted, progress) = Counted::new(File::open(path).map_err(unreadable)?).map_err(unreadable)?;
        let mut reader = BufReader::with_capacity(1 << 16, counted);
        let mut skipped = reader.by_ref().take(header.data_starts);
        std::io::copy(&mut skipped, &mut std::io::sink()).map_err(unreadable)?;
        let rows = csv::ReaderBuilder::new()
            .has_headers(false)
            .flexible(true)
            .delimiter(header.delimiter)
            .trim(csv::Trim::All)
            .from_reader(reader);
        let interval_ns = header.hz.filter(|_| header.time.is_none()).map(|hz| 1_000_000_000_u64.div_ceil(hz));
        let lines_before = header.lines_before;
        Ok(Self {
            file: file.to_string(),
            rows,
            row: csv::ByteRecord::new(),
            progress,
            header,
            chosen,
            count: 0,
            lines_before,
            first_time: None,
            now_ns: 0,
            said: None,
            supply_said: None,
            pending: None,
            interval_ns,
        })
    }

    pub(crate) fn interval_ns(&self) -> Option<u64> {
        self.interval_ns
    }

    pub(crate) fn progress(&self) -> f64 {
        self.progress.share()
    }

    fn line(&self) -> u64 {
        self.lines_before + self.row.position().map_or(0, csv::Position::line)
    }

    fn bad(&self, reason: impl core::fmt::Display) -> RecordingError {
        RecordingError::malformed(&self.file, std::format!("line {}", self.line()), reason)
    }

    fn text(&self, column: usize) -> &str {
        core::str::from_utf8(&self.row[column]).unwrap_or("")
    }

    /// Time of this row.
    fn time(&mut self) -> Result<u64, RecordingError> {
        let Some((column, unit_ns)) = self.header.time else {
            let hz = self.header.hz.unwrap_or(1);
            return Ok(sample_ns(self.count, hz));
        };
        let text = self.text(column);
        let time: f64 = match text.parse() {
            Ok(time) if f64::is_finite(time) => time,
            _ => return Err(self.bad(std::format!("\"{text}\" is not a time"))),
        };
        let ns = ((time - self.first_time.unwrap_or(time)) * unit_ns).round();
        if ns < self.now_ns as f64 {
            return Err(self.bad(std::format!("time goes back to {text}")));
        }
        self.first_time = self.first_time.or(Some(time));
        Ok(ns as u64)
    }

    fn level(&self, channel: usize) -> Result<bool, RecordingError> {
        let (column, _) = self.header.channels[channel];
        match &self.row[column] {
            b"0" => Ok(false),
            b"1" => Ok(true),
            _ => {
                let text = self.text(column);
                match text.to_ascii_lowercase().as_str() {
                    "l" | "low" | "false" | "0.0" => Ok(false),
                    "h" | "high" | "true" | "1.0" | "z" | "x" => Ok(true),
                    _ => Err(self.bad(std::format!("\"{text}\" is not a level; write 0 or 1"))),
                }
            }
        }
    }

    /// The supply: a level, or volts.
    fn supply(&self) -> Result<Option<(bool, Option<u32>)>, RecordingError> {
        let Some(channel) = self.chosen.supply else { return Ok(None) };
        let (column, ref name) = self.header.channels[channel];
        match self.text(column) {
            "0" => Ok(Some((false, None))),
            "1" => Ok(Some((true, None))),
            text => {
                let volts: f64 = text
                    .parse()
                    .map_err(|_| self.bad(std::format!("\"{text}\" is neither a level nor volts ({name})")))?;
                let mv = (volts * 1000.0).round().clamp(0.0, 1e6) as u32;
                Ok(Some((mv >= ON_MV, Some(mv))))
            }
        }
    }

    /// Reads the next row; `false` at the end.
    fn read_row(&mut self) -> Result<bool, RecordingError> {
        let more = self.rows.read_byte_record(&mut self.row);
        let more = more.map_err(|error| RecordingError::malformed(&self.file, "table", error))?;
        if more && self.row.len() < self.header.columns {
            let (line, has) = (self.line(), self.row.len());
            let reason = std::format!("line {line} has {has} of {} columns", self.header.columns);
            return Err(RecordingError::cut_off(&self.file, reason));
        }
        Ok(more)
    }

    pub(crate) fn next(&mut self) -> Result<Sample, RecordingError> {
        if let Some(sample) = self.pending.take() {
            return Ok(sample);
        }
        while self.read_row()? {
            let at_ns = self.time()?;
            self.count += 1;
            self.now_ns = at_ns;
            let levels = (self.level(self.chosen.scl)?, self.level(self.chosen.sda)?);
            let supply = self.supply()?;
            let changed = if supply == self.supply_said { None } else { supply };
            self.supply_said = supply;
            let changed = changed.map(|(on, mv)| Sample::Supply { at_ns, on, mv });
            if self.said != Some(levels) {
                self.said = Some(levels);
                self.pending = changed;
                return Ok(Sample::Lines { at_ns, scl: levels.0, sda: levels.1 });
            }
            if let Some(sample) = changed {
                return Ok(sample);
            }
        }
        if self.count == 0 {
            return Err(RecordingError::cut_off(&self.file, "it has no rows"));
        }
        Ok(Sample::End { at_ns: self.now_ns })
    }
}
