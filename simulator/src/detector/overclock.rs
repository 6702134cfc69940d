//! overclock: SCL above the grade at this supply.

use alloc::format;
use alloc::string::String;

use crate::event::Note;
use crate::hazard::Hazard;

pub(super) fn text(note: Note) -> Option<(Hazard, String)> {
    let text = match note {
        Note::TooFast { scl_hz, max_hz } => format!("SCL at {scl_hz} Hz, at most {max_hz} Hz at this supply"),
        Note::NoGrade { mv, max_hz } => {
            format!("no speed grade covers {mv} mV; only the slowest one, {max_hz} Hz, can be hoped for")
        }
        _ => return None,
    };
    Some((Hazard::Overclock, text))
}
