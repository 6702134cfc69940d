//! stuck-bus: the controller went away in mid-read and the chip holds SDA low.

use alloc::string::String;

use crate::event::Note;
use crate::hazard::Hazard;

pub(super) fn text(note: Note) -> Option<(Hazard, String)> {
    let Note::HoldsSda = note else { return None };
    Some((Hazard::StuckBus, String::from("holds SDA low in the middle of a read; nine clocks free it")))
}
