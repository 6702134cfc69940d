//! write-protect: bytes were not stored because they are protected.

use alloc::format;
use alloc::string::String;

use crate::event::Note;
use crate::hazard::Hazard;

pub(super) fn text(note: Note) -> Option<(Hazard, String)> {
    let Note::Protected { offset, bytes, partly, acked } = note else { return None };
    let answer = if acked { "acknowledged" } else { "not acknowledged" };
    let rest = if partly { "; the rest of the page write was not protected" } else { "" };
    let text = format!("{bytes} byte(s) of a write at 0x{offset:04X} are protected: {answer}, not stored{rest}");
    Some((Hazard::WriteProtect, text))
}
