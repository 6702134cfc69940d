//! floating-pin: an open pin that matters reads as whatever it likes.

use alloc::format;
use alloc::string::String;

use crate::event::Note;
use crate::hazard::Hazard;

pub(super) fn text(note: Note) -> Option<(Hazard, String)> {
    let Note::PinFloats { pin, level } = note else { return None };
    let level = if level { "high" } else { "low" };
    Some((Hazard::FloatingPin, format!("{pin} is open and happens to read {level} since this power-up")))
}
