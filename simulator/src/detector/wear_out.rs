//! wear-out: a wear unit reached half of its rated write cycles, or all of them.

use alloc::format;
use alloc::string::String;

use crate::event::Note;
use crate::hazard::Hazard;

pub(super) fn text(note: Note) -> Option<(Hazard, String)> {
    let Note::Worn { offset, cycles, rated } = note else { return None };
    let what = if cycles >= rated { "has reached its rating" } else { "has used half of its rating" };
    Some((Hazard::WearOut, format!("0x{offset:04X} {what}: {cycles} of {rated} write cycles")))
}
