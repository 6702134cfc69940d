//! page-wrap: data ran past the end of a page and went on at its start.

use alloc::format;
use alloc::string::String;

use crate::event::Note;
use crate::hazard::Hazard;

pub(super) fn text(note: Note) -> Option<(Hazard, String)> {
    let Note::PageWrap { meant, landed, page } = note else { return None };
    Some((Hazard::PageWrap, format!("data meant for 0x{meant:04X} goes to 0x{landed:04X}: page wrap at {page}")))
}
