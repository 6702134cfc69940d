//! The file of a journal: taken for one process, read, extended.

use std::fs::{File, OpenOptions, TryLockError};
use std::io::{self, ErrorKind, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use super::chain::{self, Broken, Link};
use super::history::{self, History, Sought};
use super::record::Record;
use pagewise_base::fault::{Fault, Faults};

/// The journal of one line, open for this process alone.
#[derive(Debug)]
pub struct Journal {
    path: PathBuf,
    /// Its folder, whatever the working folder is later.
    folder: PathBuf,
    file: File,
    /// This process made the file.
    made: bool,
    /// Length up to which the file holds whole records.
    whole: u64,
    /// The last whole record lacks its line feed.
    unended: bool,
    torn: bool,
    /// Digest of the last record.
    digest: String,
    records: Vec<Record>,
}

impl Journal {
    /// Opens a journal, or makes one: exclusively, and locked before anything is read. One that this process made and
    /// left without a record goes away again.
    ///
    /// # Errors
    /// It cannot be read, another process has it, a line is not a record or was changed, or it has version 1, which is
    /// never extended.
    pub fn open(path: &Path) -> Result<Self, Faults> {
        let shown = path.display().to_string();
        let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
        let folder = std::fs::canonicalize(folder)
            .map_err(|_| Fault::of_file(&shown, "the journal's folder does not exist", "make it first"))?;
        let (mut file, made) = take(path, &shown)?;
        let mut bytes = Vec::new();
        file.read_to_end(&mut bytes).map_err(|error| unreadable(&shown, &error))?;
        let mut journal = Self {
            path: path.to_owned(),
            folder,
            file,
            made,
            whole: 0,
            unended: false,
            torn: false,
            digest: String::new(),
            records: Vec::new(),
        };
        if journal.read(&bytes, &shown)? == 1 {
            let reason = "is a journal of version 1, which is read and never extended";
            let remedy = format!("name a new one with --journal, and this one with --earlier {shown}");
            return Err(Fault::of_file(&shown, reason, remedy).into());
        }
        Ok(journal)
    }

    /// Reads another journal, of any version, as what happened before this one. It is not extended.
    ///
    /// # Errors
    /// It cannot be read, a process is writing it, or a line is not a record or was changed.
    pub fn read_earlier(&mut self, path: &Path) -> Result<(), Faults> {
        let shown = path.display().to_string();
        let mut file = File::open(path).map_err(|error| unreadable(&shown, &error))?;
        locked(file.try_lock_shared(), &shown)?;
        let mut bytes = Vec::new();
        file.read_to_end(&mut bytes).map_err(|error| unreadable(&shown, &error))?;
        let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
        let folder = std::fs::canonicalize(folder).map_err(|error| unreadable(&shown, &error))?;
        let mut earlier = Vec::new();
        let lines = Lines::read(&bytes, &shown, &mut earlier)?;
        for record in &mut earlier {
            // Version 1 wrote down what the user typed, seen from the folder of that time.
            let seen_from_here = |name: &String| lines.version == 1 && !folder.join(name).exists();
            let anchored = |name: String| if seen_from_here(&name) { name } else { self.stored(&folder.join(name)) };
            record.backup = record.backup.take().map(anchored);
            record.memory = record.memory.take().map(|name| self.stored(&folder.join(name)));
        }
        self.records.splice(0..0, earlier);
        Ok(())
    }

    /// Version of the lines.
    fn read(&mut self, bytes: &[u8], shown: &str) -> Result<u64, Faults> {
        let lines = Lines::read(bytes, shown, &mut self.records)?;
        (self.whole, self.unended, self.torn) = (lines.whole, lines.unended, lines.torn);
        self.digest = lines.digest;
        Ok(lines.version)
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

    fn write(&mut self, record: &Record) -> io::Result<()> {
        let (text, digest) = chain::seal(record, &self.digest)?;
        let line = format!("{}{text}\n", if self.unended { "\n" } else { "" });
        // What was torn goes; what is whole is never touched.
        if self.file.metadata()?.len() != self.whole {
            self.file.set_len(self.whole)?;
        }
        self.file.seek(SeekFrom::Start(self.whole))?;
        self.file.write_all(line.as_bytes())?;
        self.file.sync_all()?;
        if self.whole == 0 {
            sync_folder(&self.path)?;
        }
        self.whole += line.len() as u64;
        (self.unended, self.torn, self.digest) = (false, false, digest);
        Ok(())
    }

    /// The name by which a file is written down: seen from the journal's folder where it lies below that.
    #[must_use]
    pub fn stored(&self, file: &Path) -> String {
        let absolute = std::fs::canonicalize(file).or_else(|_| std::path::absolute(file));
        let absolute = absolute.unwrap_or_else(|_| file.to_owned());
        absolute.strip_prefix(&self.folder).unwrap_or(&absolute).display().to_string()
    }

    /// The file that was written down under a name.
    #[must_use]
    pub fn find(&self, name: &str) -> PathBuf {
        let found = self.folder.join(name);
        if found.exists() { found } else { name.into() }
    }

    /// What the journal says of a unit.
    #[must_use]
    pub fn of(&self, sought: &Sought<'_>) -> History<'_> {
        history::of_unit(&self.records, sought)
    }

    /// A record that calls the unit good and does not count here, and why not.
    #[must_use]
    pub fn good_elsewhere(&self, sought: &Sought<'_>) -> Option<String> {
        history::good_elsewhere(&self.records, sought)
    }

    /// The record of another unit whose part this is, going by what it holds (SHA-256 of the whole part).
    #[must_use]
    pub fn part_of_other(&self, contents: &str, sought: &Sought<'_>) -> Option<&Record> {
        history::part_of_other(&self.records, contents, sought)
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

impl Drop for Journal {
    fn drop(&mut self) {
        // The lock still holds, so nobody else has written to it; whoever waits for it looks again.
        if cfg!(unix) && self.made && self.file.metadata().is_ok_and(|file| file.len() == 0) {
            let _ = std::fs::remove_file(&self.path);
        }
    }
}

/// What the lines of a journal are.
#[derive(Debug, Default)]
struct Lines {
    version: u64,
    whole: u64,
    unended: bool,
    torn: bool,
    digest: String,
}

impl Lines {
    fn read(bytes: &[u8], shown: &str, records: &mut Vec<Record>) -> Result<Self, Faults> {
        let (mut found, mut faults) = (Self::default(), Faults::default());
        let lines: Vec<&[u8]> = bytes.split_inclusive(|byte| *byte == b'\n').collect();
        let last = lines.iter().rposition(|line| !line.trim_ascii().is_empty());
        for (index, line) in lines.iter().enumerate() {
            if line.trim_ascii().is_empty() {
                found.whole += if Some(index) < last { line.len() as u64 } else { 0 };
                continue;
            }
            match found.link(line) {
                Ok(link) => {
                    found.take(&link, line);
                    records.push(link.record);
                }
                Err(Broken::NotJson(_)) if Some(index) == last && torn(line, index == 0) => found.torn = true,
                Err(Broken::NotJson(reason) | Broken::Refused(reason)) => {
                    found.digest = claimed(line);
                    faults.0.push(Fault {
                        file: shown.into(),
                        line: index + 1,
                        field: String::new(),
                        reason: format!("not a record of a line: {reason}"),
                        remedy: "restore the journal, or name another with --journal; nothing was changed in it".into(),
                    });
                }
            }
        }
        faults.or_ok(found)
    }

    fn link(&self, line: &[u8]) -> Result<Link, Broken> {
        let text = std::str::from_utf8(line).map_err(|error| Broken::NotJson(error.to_string()))?;
        let link = chain::read(text, &self.digest)?;
        if self.version != 0 && link.version != self.version {
            let reason = format!("it has version {}, the lines before it {}", link.version, self.version);
            return Err(Broken::Refused(reason));
        }
        Ok(link)
    }

    fn take(&mut self, link: &Link, line: &[u8]) {
        self.version = link.version;
        self.digest.clone_from(&link.digest);
        self.whole += line.len() as u64;
        self.unended = !line.ends_with(b"\n");
    }
}

/// The digest that a line claims to have.
fn claimed(line: &[u8]) -> String {
    let line = std::str::from_utf8(line).unwrap_or_default();
    pagewise_base::chain::claimed(line).unwrap_or_default().to_owned()
}

/// Whether the last line, which is not JSON, can have been torn by a loss of supply: it lacks its end, or holds the
/// zeros that some file systems leave. Where it is the only one it must also begin as a record does: any other file was
/// named by mistake, and would lose its contents.
fn torn(line: &[u8], alone: bool) -> bool {
    let cut = !line.ends_with(b"\n") || line.contains(&0);
    let begins = |start: &[u8]| {
        let length = line.len().min(start.len());
        line[..length] == start[..length]
    };
    let ours =
        begins(b"{\"journal\":") || begins(b"{\"pagewise\":\"") || line.trim_ascii().iter().all(|byte| *byte == 0);
    cut && (!alone || ours)
}

/// Opens or makes the file, and locks it.
fn take(path: &Path, shown: &str) -> Result<(File, bool), Fault> {
    loop {
        let mut options = OpenOptions::new();
        options.read(true).write(true);
        let (file, made) = match options.clone().create_new(true).open(path) {
            Ok(file) => (file, true),
            Err(error) if error.kind() == ErrorKind::AlreadyExists => match options.open(path) {
                Ok(file) => (file, false),
                // Whoever had made it has taken it away again.
                Err(error) if error.kind() == ErrorKind::NotFound && !path.is_symlink() => continue,
                Err(error) => return Err(unreadable(shown, &error)),
            },
            Err(error) => return Err(unreadable(shown, &error)),
        };
        if !file.metadata().is_ok_and(|about| about.is_file()) {
            return Err(Fault::of_file(shown, "the journal is not a file", "name a file"));
        }
        locked(file.try_lock(), shown)?;
        if is_still(&file, path) {
            return Ok((file, made));
        }
    }
}

/// Whether the path still leads to the file that was opened.
#[cfg(unix)]
fn is_still(file: &File, path: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    let (Ok(open), Ok(there)) = (file.metadata(), std::fs::metadata(path)) else { return false };
    (open.dev(), open.ino()) == (there.dev(), there.ino())
}

/// Nothing takes a journal away here.
#[cfg(not(unix))]
const fn is_still(_: &File, _: &Path) -> bool {
    true
}

fn unreadable(shown: &str, error: &io::Error) -> Fault {
    let remedy = match error.kind() {
        ErrorKind::NotFound => "check the path",
        ErrorKind::IsADirectory => "name a file",
        _ => "check its permissions",
    };
    Fault::of_file(shown, format!("the journal cannot be read: {error}"), remedy)
}

fn locked(lock: Result<(), TryLockError>, shown: &str) -> Result<(), Fault> {
    match lock {
        Ok(()) => Ok(()),
        Err(TryLockError::WouldBlock) => {
            Err(Fault::of_file(shown, "the journal is in use by another process", "wait for its end, or name another"))
        }
        Err(TryLockError::Error(error)) => Err(Fault::of_file(shown, format!("cannot be locked: {error}"), "")),
    }
}

/// A new name in a folder is on the disk only when the folder is.
pub(crate) fn sync_folder(path: &Path) -> io::Result<()> {
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    if cfg!(unix) { File::open(folder)?.sync_all() } else { Ok(()) }
}

#[cfg(test)]
#[path = "tests.rs"]
mod tests;
