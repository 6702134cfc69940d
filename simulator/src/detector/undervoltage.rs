//! undervoltage: the supply is below what reading or writing needs.

use alloc::format;
use alloc::string::String;

use crate::event::Note;
use crate::hazard::Hazard;

pub(super) const fn concerns(note: Note) -> bool {
    matches!(note, Note::TooLowToRead { .. } | Note::TooLowToWrite { .. } | Note::ShortlyOff { .. })
}

pub(super) fn text(note: Note) -> Option<(Hazard, String)> {
    let text = match note {
        Note::TooLowToRead { mv, min_mv } => format!("silent at {mv} mV, needs {min_mv} mV to answer"),
        Note::TooLowToWrite { mv, min_mv, offset, bytes } => {
            format!(
                "{bytes} byte(s) at 0x{offset:04X} acknowledged but not stored at {mv} mV, writing needs {min_mv} mV"
            )
        }
        Note::ShortlyOff { off_ns, min_ns } => {
            format!("off for {off_ns} ns, needs {min_ns} ns to be reset; whether it starts is not promised")
        }
        _ => return None,
    };
    Some((Hazard::Undervoltage, text))
}
