//! Taking up a run that did not end: killed, cut off, stopped.
//!
//! The journal's open `begin` names the image and the backup. If every page of the part holds what the backup or the
//! image says, except one that may have been in flight, this is that part, and the line goes on where it stopped. The
//! first backup stays the backup.

use super::backup::{self, Backup};
use super::journal::{Journal, Record};
use super::look::Look;
use super::wanted::Wanted;

/// A run to be taken up.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Resume {
    /// What the part held before the first run.
    pub backup: Backup,
    /// First byte of the page that was in flight.
    pub in_flight: Option<u32>,
}

/// Whether the part that was looked at is the one of the open run.
///
/// # Errors
/// Why it is not, in words.
pub fn check(journal: &Journal, open: &Record, look: &Look, wanted: &Wanted, page: u32) -> Result<Resume, String> {
    let (contents, unsteady) = (&look.contents, look.unsteady);
    if open.sha256 != wanted.sha256 {
        return Err("the run that did not end had another image".into());
    }
    let (Some(path), Some(sha256)) = (&open.backup, &open.backup_sha256) else {
        return Err("the run that did not end wrote nothing".into());
    };
    let path = journal.find(path);
    let before = backup::read(&path, sha256)?;
    if before.len() != contents.len() {
        return Err("the run that did not end was on a part of another size".into());
    }
    let after = wanted.over(&before);
    let page = page.max(1) as usize;
    let places = contents.chunks(page).zip(before.chunks(page)).zip(after.chunks(page)).enumerate();
    let mut odd: Vec<u32> = places
        .filter(|(_, ((found, before), after))| found != before && found != after)
        .map(|(index, _)| (index * page) as u32)
        .collect();
    // A page whose write cycle was cut may read differently each time.
    odd.extend(unsteady.map(|at| at - at % page as u32).filter(|at| !odd.contains(at)));
    match odd[..] {
        [] | [_] => {
            let backup = Backup { path, sha256: sha256.clone() };
            Ok(Resume { backup, in_flight: odd.first().copied() })
        }
        _ => Err(format!("{} pages hold neither what the backup nor what the image says", odd.len())),
    }
}
