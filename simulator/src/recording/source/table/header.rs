//! What a table says about itself: comments, names of the columns, the column of times.

use std::io::BufRead;
use std::string::{String, ToString};
use std::vec::Vec;

use crate::recording::error::RecordingError;
use crate::recording::source::rate_hz;

/// The head of a table.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Header {
    /// Column and name of each channel.
    pub(crate) channels: Vec<(usize, String)>,
    /// Column of times, and how many nanoseconds its unit has.
    pub(crate) time: Option<(usize, f64)>,
    /// Sample rate, from a comment.
    pub(crate) hz: Option<u64>,
    pub(crate) delimiter: u8,
    pub(crate) columns: usize,
    /// Byte at which the first row of data begins, and how many lines lie before it.
    pub(crate) data_starts: u64,
    pub(crate) lines_before: u64,
}

/// No line of a header is longer than this.
const LINE_MOST: u64 = 65_536;

fn next_line(file: &str, reader: &mut impl BufRead) -> Result<Vec<u8>, RecordingError> {
    let mut line = Vec::new();
    let mut limited = std::io::Read::take(&mut *reader, LINE_MOST);
    limited.read_until(b'\n', &mut line).map_err(|error| RecordingError::unreadable(file, &error))?;
    Ok(line)
}

fn cells(line: &str, delimiter: u8) -> Vec<String> {
    let cells = line.trim_end().split(char::from(delimiter));
    cells.map(|cell| cell.trim().trim_matches('"').to_string()).collect()
}

fn is_value(cell: &str) -> bool {
    cell.parse::<f64>().is_ok()
}

/// Nanoseconds of the unit that the name of a column of times says; `None` if it is no such column.
fn time_unit(cell: &str) -> Option<f64> {
    let cell = cell.to_lowercase();
    let words = [("nanoseconds", 1.0), ("microseconds", 1e3), ("milliseconds", 1e6), ("seconds", 1e9)];
    if let Some((_, unit)) = words.iter().find(|(word, _)| cell == *word) {
        return Some(*unit);
    }
    let rest = cell.strip_prefix("time")?.trim();
    let inside = rest.trim_matches(|c| "[]()_ ".contains(c));
    match inside {
        "" | "s" | "sec" | "seconds" => Some(1e9),
        "ms" => Some(1e6),
        "us" | "µs" | "μs" => Some(1e3),
        "ns" => Some(1.0),
        "ps" => Some(1e-3),
        _ => None,
    }
}

impl Header {
    pub(crate) fn read(file: &str, reader: &mut impl BufRead) -> Result<Self, RecordingError> {
        let (mut hz, mut named) = (None, Vec::new());
        let (mut data_starts, mut lines_before) = (0, 0);
        loop {
            let raw = next_line(file, reader)?;
            if raw.is_empty() {
                return Err(RecordingError::cut_off(file, "it has no rows"));
            }
            let text = String::from_utf8_lossy(&raw).into_owned();
            let text = text.trim_start_matches('\u{FEFF}');
            if let Some(comment) = text.strip_prefix([';', '#']) {
                read_comment(comment, &mut hz, &mut named);
            } else if !text.trim().is_empty() {
                let mut header = Self::of_first_row(file, text, &named)?;
                header.hz = hz;
                let has_names = !cells(text, header.delimiter).iter().all(|cell| is_value(cell));
                header.data_starts = data_starts + if has_names { raw.len() as u64 } else { 0 };
                header.lines_before = lines_before + u64::from(has_names);
                return Ok(header);
            }
            data_starts += raw.len() as u64;
            lines_before += 1;
        }
    }

    fn of_first_row(file: &str, text: &str, named: &[String]) -> Result<Self, RecordingError> {
        let count = |c: char| text.chars().filter(|other| *other == c).count();
        let delimiter = [',', '\t', ';'].into_iter().max_by_key(|c| count(*c)).unwrap_or(',') as u8;
        let row = cells(text, delimiter);
        if row.len() < 2 {
            let reason = "one column only; a table of two channels or more is needed, separated by commas";
            return Err(RecordingError::malformed(file, "header", reason));
        }
        let names = !row.iter().all(|cell| is_value(cell));
        let time = row.iter().enumerate().find_map(|(i, cell)| Some((i, time_unit(cell)?))).filter(|_| names);
        let others = (0..row.len()).filter(|i| time.is_none_or(|(column, _)| column != *i));
        // Some programs write the unit of each column in place of its name.
        let units = others.clone().all(|i| ["logic", "V", "A"].contains(&row[i].as_str()));
        let name = |(position, column): (usize, usize)| {
            let unnamed = !names || units || row[column].is_empty();
            let given = named.get(position).cloned();
            let name = if unnamed { given.unwrap_or_else(|| (position + 1).to_string()) } else { row[column].clone() };
            (column, name)
        };
        let channels = others.enumerate().map(name).collect();
        let columns = row.len();
        Ok(Self { channels, time, hz: None, delimiter, columns, data_starts: 0, lines_before: 0 })
    }
}

/// Comments that tell the rate and the names of the channels.
fn read_comment(comment: &str, hz: &mut Option<u64>, named: &mut Vec<String>) {
    let Some((key, value)) = comment.split_once(':') else { return };
    let key = key.trim().to_lowercase();
    if ["samplerate", "sample rate"].contains(&key.as_str()) {
        *hz = rate_hz(value);
    } else if key.starts_with("channels") {
        *named = value.split(',').map(|name| name.trim().to_string()).collect();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn header(text: &str) -> Header {
        Header::read("x.csv", &mut text.as_bytes()).unwrap()
    }

    #[test]
    fn heads_of_several_programs_are_read() {
        let plain = header("; Channels (2/8): SCL, SDA\n; Samplerate: 8 MHz\nlogic,logic\n0,1\n");
        assert_eq!((plain.hz, plain.time, plain.lines_before), (Some(8_000_000), None, 3));
        assert_eq!(plain.channels, [(0, "SCL".to_string()), (1, "SDA".to_string())]);
        let timed = header("nanoseconds,logic,logic\n125,0,1\n");
        assert_eq!((timed.time, timed.channels[0].0), (Some((0, 1.0)), 1));
        let words = header("\u{FEFF}Time [s];SDA;\"SCL\"\r\n0.000;1;1\r\n");
        assert_eq!((words.time, words.delimiter, words.data_starts), (Some((0, 1e9)), b';', 23));
        assert_eq!(words.channels[1], (2, "SCL".to_string()));
        let bare = header("0,1,1\n");
        assert_eq!((bare.channels[2].1.as_str(), bare.data_starts, bare.time), ("3", 0, None));
    }
}
