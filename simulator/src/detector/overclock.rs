//! overclock: SCL above the grade at this supply.

use alloc::format;
use alloc::string::String;

use crate::event::Note;
use crate::hazard::Hazard;

pub(super) fn text(note: Note) -> Option<(Hazard, String)> {
    let Note::TooFast { scl_hz, max_hz } = note else { return None };
    Some((Hazard::Overclock, format!("SCL at {scl_hz} Hz, at most {max_hz} Hz at this supply")))
}
