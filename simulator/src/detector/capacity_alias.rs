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
        Note::ForbiddenAddress { sent } => {
            format!("word address 0x{sent:04X} has a bit set that must be 0; nothing is promised of what follows")
        }
        Note::Secured { bytes: 0, .. } => {
            String::from("a word address beyond the part was taken for its security command, which changed nothing")
        }
        Note::Secured { offset, bytes } => format!(
            "a word address beyond the part was taken for its security command: {bytes} bytes from 0x{offset:04X} on are \
             read-only for good"
        ),
        Note::ArrayWrap => String::from("a write ran past the end of the array and went on at 0x0000"),
        _ => return None,
    };
    Some((Hazard::CapacityAlias, text))
}
