//! torn-write: the supply was lost inside a write cycle.

use alloc::format;
use alloc::string::String;

use crate::event::Note;
use crate::hazard::Hazard;

pub(super) fn text(note: Note) -> Option<(Hazard, String)> {
    let Note::Torn { offset, bytes } = note else { return None };
    Some((
        Hazard::TornWrite,
        format!("supply lost inside the write cycle: {bytes} byte(s) at 0x{offset:04X} in danger"),
    ))
}
