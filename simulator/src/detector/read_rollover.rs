//! read-rollover: a sequential read went on somewhere else.

use alloc::format;
use alloc::string::String;

use crate::event::Note;
use crate::hazard::Hazard;

pub(super) fn text(note: Note) -> Option<(Hazard, String)> {
    let Note::ReadRollover { from, to } = note else { return None };
    Some((Hazard::ReadRollover, format!("a sequential read went from 0x{from:04X} on to 0x{to:04X}")))
}
