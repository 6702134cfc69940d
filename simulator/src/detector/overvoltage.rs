//! overvoltage: the supply is above what the part is made for.

use alloc::format;
use alloc::string::String;

use crate::event::Note;
use crate::hazard::Hazard;

pub(super) fn text(note: Note) -> Option<(Hazard, String)> {
    let Note::TooHigh { mv, max_mv } = note else { return None };
    Some((
        Hazard::Overvoltage,
        format!("supply of {mv} mV, at most {max_mv} mV: nothing is promised, nothing counts as served"),
    ))
}
