//! The journal of a line: JSON Lines, one record per event, appended and put on the disk before the line goes on.
//!
//! `begin` stands there before the first byte is written to a part, `good` only after everything has been read back.
//! Whatever happens in between, a unit without a `good` behind its last `begin` is not good. A last line that was torn
//! by a loss of supply is no record; it is cut off when the next one is written.

use std::fs::{File, OpenOptions, TryLockError};
use std::io::{Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use serde::{Deserialize, Serialize};

use pagewise_base::fault::{Fault, Faults};

/// What happened.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Event {
    /// From here on the part may hold anything between what it held and the image.
    Begin,
    /// The region is about to be locked for ever.
    LockBegin,
    /// The region is locked.
    Locked,
    /// Everything was read back and is as wanted.
    Good,
    /// A fault stopped the line.
    Failed,
    /// Somebody stopped the line.
    Stopped,
    /// The line would have lost something and did nothing.
    Refused,
}

/// One line of the journal.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Record {
    /// Version of Pagewise.
    pub pagewise: String,
    /// What happened.
    pub event: Event,
    /// To which unit.
    pub unit: String,
    /// When: UTC, RFC 3339.
    pub at: String,
    /// When the run of this unit began; on the records that end it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub begun_at: Option<String>,
    /// Card of the part.
    pub part: String,
    /// `simulated`, or the path of the device.
    pub bus: String,
    /// 7-bit device address of the part.
    pub device_address: u8,
    /// The image file.
    pub image: String,
    /// Its SHA-256.
    pub sha256: String,
    /// File with what the part held before.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub backup: Option<String>,
    /// SHA-256 of that.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub backup_sha256: Option<String>,
    /// SHA-256 of the whole part as it was read back; on `good`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub part_sha256: Option<String>,
    /// Page writes that were made.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pages_written: Option<u32>,
    /// The step at which it ended, where it did not end well.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub step: Option<String>,
    /// Why.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
}

/// What the journal says of a unit.
#[derive(Debug, Clone, Copy, Default)]
pub struct History<'j> {
    /// It is good: the record that says so.
    pub good: Option<&'j Record>,
    /// It was begun and never became good: the last `begin`.
    pub open: Option<&'j Record>,
    /// Its region was, or may have been, locked.
    pub locked: bool,
}

/// The journal of one line, open for this process alone.
#[derive(Debug)]
pub struct Journal {
    path: PathBuf,
    file: Option<File>,
    /// Length up to which the file holds whole records.
    whole: u64,
    /// The last whole record lacks its line feed.
    unended: bool,
    torn: bool,
    records: Vec<Record>,
}

/// The time now as the journal writes it.
#[must_use]
pub fn now() -> String {
    humantime::format_rfc3339_millis(SystemTime::now()).to_string()
}

impl Journal {
    /// Opens a journal. One that does not exist is made with its first record.
    ///
    /// # Errors
    /// It cannot be read, another process has it, or a line other than the last is no record.
    pub fn open(path: &Path) -> Result<Self, Faults> {
        let shown = path.display().to_string();
        let mut journal =
            Self { path: path.to_owned(), file: None, whole: 0, unended: false, torn: false, records: Vec::new() };
        if !path.exists() {
            let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty());
            if folder.is_some_and(|folder| !folder.is_dir()) {
                return Err(Fault::of_file(&shown, "the journal's folder does not exist", "make it first").into());
            }
            return Ok(journal);
        }
        let cannot = |error: std::io::Error| {
            Fault::of_file(&shown, format!("the journal cannot be read: {error}"), "check its permissions")
        };
        let mut file = OpenOptions::new().read(true).write(true).open(path).map_err(cannot)?;
        lock(&file, &shown)?;
        let mut bytes = Vec::new();
        file.read_to_end(&mut bytes).map_err(cannot)?;
        journal.file = Some(file);
        journal.read(&bytes, &shown)?;
        Ok(journal)
    }

    fn read(&mut self, bytes: &[u8], shown: &str) -> Result<(), Faults> {
        let mut faults = Faults::default();
        let lines: Vec<&[u8]> = bytes.split_inclusive(|byte| *byte == b'\n').collect();
        let last = lines.iter().rposition(|line| !line.trim_ascii().is_empty());
        for (index, line) in lines.iter().enumerate() {
            if line.trim_ascii().is_empty() {
                if Some(index) < last {
                    self.whole += line.len() as u64;
                }
                continue;
            }
            match serde_json::from_slice::<Record>(line) {
                Ok(record) => {
                    self.records.push(record);
                    self.whole += line.len() as u64;
                    self.unended = !line.ends_with(b"\n");
                }
                Err(_) if Some(index) == last && (index > 0 || may_be_torn(line)) => self.torn = true,
                Err(error) => faults.0.push(Fault {
                    file: shown.into(),
                    line: index + 1,
                    field: String::new(),
                    reason: format!("no record of a line: {error}"),
                    remedy: "restore the journal, or name another with --journal".into(),
                }),
            }
        }
        faults.or_ok(())
    }

    /// Appends a record and puts it on the disk.
    ///
    /// # Errors
    /// The reason in words; the record may or may not be there then, and must not be relied on.
    pub fn append(&mut self, record: Record) -> Result<(), String> {
        let shown = self.path.display().to_string();
        self.write(&record).map_err(|error| format!("{shown}: {error}"))?;
        self.records.push(record);
        Ok(())
    }

    fn write(&mut self, record: &Record) -> std::io::Result<()> {
        let mut line = if self.unended { "\n".to_owned() } else { String::new() };
        line += &serde_json::to_string(record)?;
        line.push('\n');
        let file = match &mut self.file {
            Some(file) => file,
            None => {
                let file = OpenOptions::new().read(true).write(true).create_new(true).open(&self.path)?;
                file.try_lock()?;
                sync_folder(&self.path)?;
                self.file.insert(file)
            }
        };
        // What was torn goes; what is whole is never touched.
        if file.metadata()?.len() != self.whole {
            file.set_len(self.whole)?;
        }
        file.seek(SeekFrom::Start(self.whole))?;
        file.write_all(line.as_bytes())?;
        file.sync_all()?;
        self.whole += line.len() as u64;
        (self.unended, self.torn) = (false, false);
        Ok(())
    }

    /// What the journal says of a unit.
    #[must_use]
    pub fn of(&self, unit: &str) -> History<'_> {
        let mut history = History::default();
        for record in self.records.iter().filter(|record| record.unit == unit) {
            match record.event {
                Event::Begin => (history.good, history.open) = (None, Some(record)),
                Event::Good => (history.good, history.open) = (Some(record), None),
                Event::LockBegin | Event::Locked => history.locked = true,
                Event::Failed | Event::Stopped | Event::Refused => {}
            }
        }
        history
    }

    /// The unit, other than `unit`, that was left with exactly these contents.
    #[must_use]
    pub fn left_with(&self, part_sha256: &str, unit: &str) -> Option<&Record> {
        let same = |record: &&Record| record.unit != unit && record.part_sha256.as_deref() == Some(part_sha256);
        self.records.iter().rev().find(same)
    }

    /// Every record.
    #[must_use]
    pub fn records(&self) -> &[Record] {
        &self.records
    }

    /// Whether the last line was torn when the journal was opened, and has not been replaced since.
    #[must_use]
    pub const fn torn(&self) -> bool {
        self.torn
    }
}

/// Whether a file that holds nothing else can be a journal whose first record was torn: it begins as every record does,
/// or holds the zeros that some file systems leave after a loss of supply. Any other file was named by mistake, and
/// would lose its contents.
fn may_be_torn(line: &[u8]) -> bool {
    let begins = br#"{"pagewise":""#;
    let length = line.len().min(begins.len());
    line[..length] == begins[..length] || line.iter().all(|byte| *byte == 0)
}

fn lock(file: &File, shown: &str) -> Result<(), Fault> {
    match file.try_lock() {
        Ok(()) => Ok(()),
        Err(TryLockError::WouldBlock) => {
            Err(Fault::of_file(shown, "the journal is in use by another process", "wait for its end, or name another"))
        }
        Err(TryLockError::Error(error)) => Err(Fault::of_file(shown, format!("cannot be locked: {error}"), "")),
    }
}

/// A new name in a folder is on the disk only when the folder is.
pub(super) fn sync_folder(path: &Path) -> std::io::Result<()> {
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    if cfg!(unix) { File::open(folder)?.sync_all() } else { Ok(()) }
}

#[cfg(test)]
mod tests {
    use std::fs;

    use super::*;

    fn record(event: Event, unit: &str) -> Record {
        Record {
            pagewise: "0".into(),
            event,
            unit: unit.into(),
            at: now(),
            begun_at: None,
            part: "24lc32a".into(),
            bus: "simulated".into(),
            device_address: 0x50,
            image: "a.bin".into(),
            sha256: "00".into(),
            backup: None,
            backup_sha256: None,
            part_sha256: None,
            pages_written: None,
            step: None,
            reason: None,
        }
    }

    #[test]
    fn times_are_rfc_3339_in_utc() {
        // The TOML standard takes its date-times from RFC 3339.
        let text = format!("at = {}", now());
        let read: toml::Table = text.parse().unwrap();
        let at = read["at"].as_datetime().unwrap();
        assert_eq!(at.offset, Some(toml::value::Offset::Z));
    }

    #[test]
    fn a_unit_is_good_only_behind_its_last_begin() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("j.jsonl");
        let mut journal = Journal::open(&path).unwrap();
        assert!(!path.exists());
        let steps = [
            (Event::Begin, false, true),
            (Event::Failed, false, true),
            (Event::Good, true, false),
            (Event::Refused, true, false),
            (Event::Begin, false, true),
            (Event::Stopped, false, true),
        ];
        for (event, good, open) in steps {
            journal.append(record(event, "a")).unwrap();
            journal.append(record(Event::Good, "b")).unwrap();
            drop(journal);
            journal = Journal::open(&path).unwrap();
            let history = journal.of("a");
            assert_eq!((history.good.is_some(), history.open.is_some()), (good, open), "{event:?}");
        }
        assert!(Journal::open(&path).unwrap_err().0[0].reason.contains("in use"));
    }

    #[test]
    fn a_last_line_cut_anywhere_is_no_record_and_everything_before_it_is() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("j.jsonl");
        let mut journal = Journal::open(&path).unwrap();
        journal.append(record(Event::Begin, "a")).unwrap();
        let first = fs::metadata(&path).unwrap().len() as usize;
        journal.append(record(Event::Good, "a")).unwrap();
        drop(journal);
        let whole = fs::read(&path).unwrap();
        for cut in first..whole.len() {
            for tail in [&b""[..], b"\0\0\0", b"\n"] {
                let mut bytes = whole[..cut].to_vec();
                bytes.extend_from_slice(tail);
                fs::write(&path, &bytes).unwrap();
                let mut journal = Journal::open(&path).unwrap();
                // Only the line feed is missing: the record is whole.
                let complete = cut + 1 == whole.len() && tail != b"\0\0\0";
                assert_eq!(journal.of("a").good.is_some(), complete, "cut at {cut}, {tail:?}");
                journal.append(record(Event::Failed, "a")).unwrap();
                drop(journal);
                let events: Vec<_> = Journal::open(&path).unwrap().records().iter().map(|r| r.event).collect();
                let good = if complete { &[Event::Good][..] } else { &[] };
                assert_eq!(events, [&[Event::Begin], good, &[Event::Failed]].concat(), "cut at {cut}, {tail:?}");
            }
        }
    }

    #[test]
    fn a_broken_line_in_the_middle_is_refused_with_its_number() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("j.jsonl");
        let mut journal = Journal::open(&path).unwrap();
        journal.append(record(Event::Good, "a")).unwrap();
        drop(journal);
        let line = fs::read_to_string(&path).unwrap();
        fs::write(&path, format!("{line}{{\"event\":\n{line}")).unwrap();
        let faults = Journal::open(&path).unwrap_err();
        assert_eq!((faults.0.len(), faults.0[0].line), (1, 2));
    }
}
