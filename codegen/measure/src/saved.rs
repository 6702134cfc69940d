//! The copy of the array that is on the disk before anything is written, and how it is put back.
//!
//! A folder holds what each device address showed under each number of word-address bytes that was still possible, and a
//! file of notes, one JSON object a line, each on the disk before the next step. A run that is killed leaves the folder;
//! [`restore`] reads the notes, finds out by reading which copy is the true one where that was not noted yet, and writes
//! back what differs.

use std::collections::BTreeSet;
use std::fs::{self, File, OpenOptions};
use std::io::Write;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use crate::place::{Scratch, Window};
use crate::probe::{PIECE, Probe, Trouble};
use crate::read::obeys;
use pagewise_line::backup;

/// Name of the notes in the folder.
const NOTES: &str = "measure.jsonl";
const VERSION: u32 = 1;
/// Bits of a byte that the first write under each number of word-address bytes changes.
pub(crate) const FLIPPED: u8 = 0x5A;

/// One line of the notes.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
enum Note {
    Begin { version: u32, address: u8, scratch: Scratch },
    Copy { window: Window, bytes: u32, file: String, sha256: String },
    Width(u8),
    Page(u32),
    Done,
}

/// A folder with copies.
#[derive(Debug)]
pub struct Saved {
    folder: PathBuf,
    file: File,
    notes: Vec<Note>,
}

impl Saved {
    /// Begins a folder, which must not exist or be empty.
    ///
    /// # Errors
    /// It holds something, or cannot be written.
    pub fn begin(folder: &Path, address: u8, scratch: Scratch) -> Result<Self, Trouble> {
        let shown = folder.display();
        if fs::read_dir(folder).is_ok_and(|mut entries| entries.next().is_some()) {
            let text = format!("{shown}: holds something already; put it back with --restore, or name a new folder");
            return Err(Trouble::Copy(text));
        }
        let failed = |error: std::io::Error| Trouble::Copy(format!("{shown}: cannot be written: {error}"));
        fs::create_dir_all(folder).map_err(failed)?;
        let file = OpenOptions::new().append(true).create_new(true).open(folder.join(NOTES)).map_err(failed)?;
        let mut saved = Self { folder: folder.to_owned(), file, notes: Vec::new() };
        saved.note(Note::Begin { version: VERSION, address, scratch })?;
        Ok(saved)
    }

    /// Opens the folder of an earlier run.
    ///
    /// # Errors
    /// It is not one, or a line of its notes is not understood.
    pub fn open(folder: &Path) -> Result<Self, Trouble> {
        let path = folder.join(NOTES);
        let shown = path.display();
        let failed = |error: std::io::Error| Trouble::Copy(format!("{shown}: cannot be used: {error}"));
        let text = fs::read_to_string(&path).map_err(failed)?;
        let mut notes = Vec::new();
        let mut whole = 0;
        // What stands behind the last line feed was being written when the run was killed.
        for (index, line) in text.split_inclusive('\n').enumerate().filter(|(_, line)| line.ends_with('\n')) {
            let note = serde_json::from_str(line)
                .map_err(|error| Trouble::Copy(format!("{shown}:{}: is not understood: {error}", index + 1)))?;
            notes.push(note);
            whole += line.len();
        }
        match notes.first() {
            Some(Note::Begin { version: VERSION, .. }) => {}
            _ => return Err(Trouble::Copy(format!("{shown}: does not begin as the notes of a measurement do"))),
        }
        let file = OpenOptions::new().append(true).open(&path).map_err(failed)?;
        file.set_len(whole as u64).map_err(failed)?;
        Ok(Self { folder: folder.to_owned(), file, notes })
    }

    /// The folder.
    #[must_use]
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// The device address that was measured.
    #[must_use]
    pub fn address(&self) -> u8 {
        self.begun().0
    }

    fn begun(&self) -> (u8, Scratch) {
        match self.notes.first() {
            Some(Note::Begin { address, scratch, .. }) => (*address, *scratch),
            _ => unreachable!("both ways to get here put it first"),
        }
    }

    fn note(&mut self, note: Note) -> Result<(), Trouble> {
        let failed = |error: &dyn std::fmt::Display| {
            Trouble::Copy(format!("{}: cannot be written: {error}", self.folder.display()))
        };
        let line = serde_json::to_string(&note).map_err(|error| failed(&error))? + "\n";
        let written = self.file.write_all(line.as_bytes()).and_then(|()| self.file.sync_all());
        written.map_err(|error| failed(&error))?;
        self.notes.push(note);
        Ok(())
    }

    /// Reads what a window shows and keeps it, once; nothing where the part does not take the header.
    pub(crate) fn keep(&mut self, probe: &mut Probe<'_>, window: Window) -> Result<(), Trouble> {
        if self.has(window) {
            return Ok(());
        }
        let Some(all) = dump(probe, window, self.begun().1)? else { return Ok(()) };
        let name = format!("0x{:02X}-{}-byte-address", window.device, window.width);
        let kept = backup::save(&self.folder, &name, once(&all)).map_err(Trouble::Copy)?;
        let file = kept.path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        self.note(Note::Copy { window, bytes: all.len() as u32, file, sha256: kept.sha256 })
    }

    /// Whether there is a copy of it.
    pub(crate) fn has(&self, window: Window) -> bool {
        self.notes.iter().any(|note| matches!(note, Note::Copy { window: kept, .. } if *kept == window))
    }

    pub(crate) fn width_is(&mut self, width: u8) -> Result<(), Trouble> {
        self.note(Note::Width(width))
    }

    pub(crate) fn page_is(&mut self, page: u32) -> Result<(), Trouble> {
        self.note(Note::Page(page))
    }

    /// The byte that a window held.
    pub(crate) fn held(&self, window: Window, offset: u32) -> Result<u8, Trouble> {
        let copies = self.copies(|kept| kept == window)?;
        let copy = copies.first().ok_or_else(|| Trouble::Copy(format!("0x{:02X} was not copied", window.device)))?;
        Ok(copy.1[offset as usize])
    }

    fn copies(&self, wanted: impl Fn(Window) -> bool) -> Result<Vec<(Window, Vec<u8>)>, Trouble> {
        let mut copies = Vec::new();
        for note in &self.notes {
            let Note::Copy { window, bytes, file, sha256 } = note else { continue };
            if wanted(*window) {
                let once = backup::read(&self.folder.join(file), sha256).map_err(Trouble::Copy)?;
                if once.is_empty() {
                    return Err(Trouble::Copy(format!("{file}: is empty")));
                }
                copies.push((*window, once.iter().copied().cycle().take(*bytes as usize).collect()));
            }
        }
        Ok(copies)
    }

    fn width(&self) -> Option<u8> {
        self.notes.iter().find_map(|note| if let Note::Width(width) = note { Some(*width) } else { None })
    }

    /// Numbers of word-address bytes under which something was copied.
    fn widths(&self) -> Vec<u8> {
        let copies = self.notes.iter().filter_map(|note| match note {
            Note::Copy { window, .. } => Some(window.width),
            _ => None,
        });
        copies.collect::<BTreeSet<u8>>().into_iter().collect()
    }

    fn page(&self) -> u32 {
        self.notes.iter().find_map(|note| if let Note::Page(page) = note { Some(*page) } else { None }).unwrap_or(1)
    }

    /// The copies of what was written to: the one device address that is measured, with its neighbours where the device
    /// address is the word address.
    fn copies_of_main(&self, width: u8) -> Result<Vec<(Window, Vec<u8>)>, Trouble> {
        let address = self.address();
        let beside = |window: Window| width == 0 && window.device & !7 == address & !7;
        self.copies(|window| window.width == width && (window.device == address || beside(window)))
    }

    /// Whether a window differs from its copy just where the first writes under longer headers went, if this is the part's
    /// number of word-address bytes: it took the rest of such a header for data.
    fn explains(&self, window: Window, held: &[u8], now: &[u8]) -> Result<bool, Trouble> {
        let mut sent: Vec<(usize, u8)> = Vec::new();
        for width in self.widths().into_iter().filter(|longer| *longer > window.width) {
            let longer = Window { width, ..window };
            let at = self.begun().1.within(longer.bytes()).first();
            let header = &at.to_be_bytes()[4 - usize::from(width)..];
            let (address, rest) = header.split_at(usize::from(window.width));
            let first = address.iter().fold(0, |offset, byte| offset << 8 | usize::from(*byte));
            let data = self.held(longer, at)? ^ FLIPPED;
            sent.extend((first..).zip(rest.iter().copied().chain([data])).map(|(at, byte)| (at % held.len(), byte)));
        }
        let mut differs = (0..held.len()).filter(|at| held[*at] != now[*at]);
        Ok(differs.all(|at| sent.contains(&(at, now[at]))))
    }

    /// Puts back what the copies of this width hold, and reads it again. Other device addresses may be those of other
    /// parts, which take other headers; nothing was written there, and nothing is.
    pub(crate) fn put_back(&mut self, probe: &mut Probe<'_>, width: u8) -> Result<u32, Trouble> {
        let (scratch, page) = (self.begun().1, self.page());
        let copies = self.copies_of_main(width)?;
        let mut written = 0;
        for (window, held) in &copies {
            // First where it was meant to be written, byte by byte. Elsewhere nothing should differ then: a smaller part
            // shows the same bytes again, and a read that stays in a short block hides some.
            let Scratch { start, bytes } = scratch.within(window.bytes());
            let now = probe.peek(*window, start, bytes)?;
            let meant = &held[start as usize..][..bytes as usize];
            written += write_back(probe, *window, start, meant, &now, page)?;
            let now = whole(probe, *window, scratch)?;
            if now == *held {
                continue;
            }
            written += write_back(probe, *window, 0, held, &now, page)?;
            let now = whole(probe, *window, scratch)?;
            if let Some(at) = held.iter().zip(&now).position(|(held, now)| held != now) {
                let (held, now) = (held[at], now[at]);
                let text = format!(
                    "0x{:02X}, 0x{at:04X}: reads 0x{now:02X} where 0x{held:02X} was; the copy is in {}",
                    window.device,
                    self.folder.display()
                );
                return Err(Trouble::Part(text));
            }
        }
        self.note(Note::Done)?;
        Ok(written)
    }
}

/// Writes what differs, at most a page at once.
fn write_back(
    probe: &mut Probe<'_>,
    window: Window,
    start: u32,
    held: &[u8],
    now: &[u8],
    page: u32,
) -> Result<u32, Trouble> {
    let (mut at, mut written) = (0, 0);
    while at < held.len() {
        if held[at] == now[at] {
            at += 1;
            continue;
        }
        let offset = start + at as u32;
        let room = (page - offset % page).min(PIECE) as usize;
        let run = (at..held.len()).take(room).take_while(|at| held[*at] != now[*at]).count();
        probe.store(window.at(offset), &held[at..][..run])?;
        written += run as u32;
        at += run;
    }
    Ok(written)
}

/// Puts a part back into the state before a measurement that was killed, and says how many bytes differed.
///
/// # Errors
/// The folder is not one of a measurement; the part does not answer, or does not hold what is written; nobody can tell
/// by reading which of the copies is the true one (nothing is written then).
pub fn restore(probe: &mut Probe<'_>, folder: &Path) -> Result<u32, Trouble> {
    let mut saved = Saved::open(folder)?;
    let (address, scratch) = saved.begun();
    // A write cycle may still run.
    probe.pause_ms(probe.limits.patience_ms);
    if !probe.current(address, &mut [0])? {
        return Err(Trouble::Part(format!("nobody answers at 0x{address:02X}")));
    }
    if let Some(width) = saved.width() {
        return saved.put_back(probe, width);
    }
    // The one write before the number was noted went to the middle of the scratch range.
    let mut possible = Vec::new();
    for width in saved.widths() {
        let window = Window { device: address, width };
        let at = if width == 0 { 0 } else { scratch.within(window.bytes()).first() };
        match obeys(probe, window, Some(at))? {
            Some(true) => return saved.put_back(probe, width),
            // What such a copy holds was read from wherever the pointer stood.
            Some(false) => {}
            None => possible.push(width),
        }
    }
    // Before the number was noted, only the one device address was written to.
    let (mut same, mut astray) = (true, Vec::new());
    for (window, held) in saved.copies(|kept| kept.device == address && possible.contains(&kept.width))? {
        let now = dump(probe, window, scratch)?;
        if now.as_ref() != Some(&held) {
            same = false;
            let explained = now.is_some_and(|now| saved.explains(window, &held, &now).unwrap_or(false));
            astray.extend(explained.then_some(window.width));
        }
    }
    if let [width] = astray[..] {
        return saved.put_back(probe, width);
    }
    if same {
        // One of them is the true one, and all are as they were; or none is: then every header was too short, and nothing that
        // was sent was taken for data.
        saved.note(Note::Done)?;
        return Ok(0);
    }
    let folder = folder.display();
    Err(Trouble::Part(format!(
        "nobody can tell by reading which copy in {folder} is the true one; nothing was written"
    )))
}

/// Everything that a window shows; bytes of the scratch range one at a time, so that no short block in which a read
/// stays hides them. `None`: the part does not take the header.
fn dump(probe: &mut Probe<'_>, window: Window, scratch: Scratch) -> Result<Option<Vec<u8>>, Trouble> {
    let size = window.bytes();
    let scratch = scratch.within(size);
    let mut all = Vec::with_capacity(size as usize);
    while (all.len() as u32) < size {
        probe.heed()?;
        let at = all.len() as u32;
        let inside = (scratch.start..scratch.start + scratch.bytes).contains(&at);
        let until = if at < scratch.start { scratch.start } else { size };
        let piece = if inside { 1 } else { (PIECE - at % PIECE).min(until - at) };
        match probe.try_read(window.at(at), piece as usize)? {
            Some(found) => all.extend(found),
            None => return Ok(None),
        }
    }
    Ok(Some(all))
}

fn whole(probe: &mut Probe<'_>, window: Window, scratch: Scratch) -> Result<Vec<u8>, Trouble> {
    let refused = || Trouble::Part(format!("0x{:02X} does not acknowledge a read any more", window.device));
    dump(probe, window, scratch)?.ok_or_else(refused)
}

/// The contents once, where they repeat.
fn once(all: &[u8]) -> &[u8] {
    let periods = (0..all.len().max(1).ilog2()).map(|bit| 1usize << bit);
    let period = periods.into_iter().find(|period| all[*period..] == all[..all.len() - period]);
    &all[..period.unwrap_or(all.len())]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn contents_that_repeat_are_kept_once() {
        assert_eq!(once(&[7; 64]), [7]);
        assert_eq!(once(&[1, 2, 1, 2]), [1, 2]);
        assert_eq!(once(&[1, 2, 1, 3]), [1, 2, 1, 3]);
        assert_eq!(once(&[9]), [9]);
    }
}
