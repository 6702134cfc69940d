//! capacity-alias: a word address beyond the part.

use alloc::format;
use alloc::string::String;

use crate::event::Note;
use crate::hazard::Hazard;

pub(super) fn text(note: Note) -> Option<(Hazard, String)> {
    let text = match note {
        Note::CapacityAlias { sent, taken } => {
            format!("word address 0x{sent:04X} is beyond the part and taken as 0x{taken:04X}")
        }
        Note::ArrayWrap => String::from("a write ran past the end of the array and went on at 0x0000"),
        _ => return None,
    };
    Some((Hazard::CapacityAlias, text))
}
