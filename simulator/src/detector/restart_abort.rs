//! restart-abort: a repeated START between header and data, or after data.

use alloc::format;
use alloc::vec::Vec;

use crate::chip::Chip;
use crate::detector::Finding;
use crate::detector::address_width::AddressWidth;
use crate::event::{ChipId, Note};
use crate::hazard::Hazard;
use crate::segment::Segment;

/// Data that a START dropped; what it was is decided by the device address that follows.
#[derive(Debug, Clone, Copy)]
struct Dropped {
    chip: ChipId,
    at_ns: u64,
    offset: u32,
    bytes: u32,
}

#[derive(Debug, Clone, Default)]
pub(crate) struct RestartAbort {
    dropped: Vec<Dropped>,
    /// Control byte of the last segment, if it was a bare header that a repeated START followed, and the chips.
    bare_header: Option<u8>,
    header_chips: Vec<usize>,
}

impl RestartAbort {
    pub(super) fn hear(&mut self, chip: ChipId, at_ns: u64, note: Note) {
        if let Note::DataDropped { offset, bytes } = note {
            self.dropped.push(Dropped { chip, at_ns, offset, bytes });
        }
    }

    pub(super) fn addressed(&mut self, segment: &Segment, chips: &[Chip], width: &mut AddressWidth) -> Vec<Finding> {
        let mut found = Vec::new();
        for dropped in self.dropped.drain(..) {
            let model = &chips[dropped.chip.0].model;
            let reads_back = segment.is_read() && segment.responders.contains(&dropped.chip.0);
            // At most two bytes too many: one- or two-byte parts with two- or three-byte programs.
            if reads_back && u32::from(model.word_address_bytes) + dropped.bytes <= 3 {
                found.push(width.too_long(
                    dropped.chip,
                    dropped.at_ns,
                    &model.name,
                    model.word_address_bytes,
                    dropped.bytes,
                ));
            } else {
                found.push(dropped.finding());
            }
        }
        if let Some(control) = self.bare_header.take()
            && segment.control == Some(control)
            && segment.acked
        {
            found.extend(self.header_chips.iter().map(|&i| Finding {
                chip: Some(ChipId(i)),
                at_ns: segment.at_ns,
                hazard: Hazard::RestartAbort,
                text: format!(
                    "{}: repeated START after the word address; what follows is taken as a new word address",
                    chips[i].model.name
                ),
            }));
        }
        found
    }

    pub(super) fn ended(&mut self, segment: &Segment, chips: &[Chip]) -> Vec<Finding> {
        // A bare header: nothing was latched, so the chip said nothing when the START came.
        let bare = segment.restarted && !segment.is_read() && !segment.refused && !segment.raw.is_empty();
        let header = |&&i: &&usize| segment.raw.len() == usize::from(chips[i].model.word_address_bytes);
        self.bare_header = None;
        if bare && let Some(control) = segment.control {
            self.header_chips.clear();
            self.header_chips.extend(segment.responders.iter().filter(header));
            self.bare_header = Some(control);
        }
        if segment.restarted { Vec::new() } else { self.flush() }
    }

    fn flush(&mut self) -> Vec<Finding> {
        self.dropped.drain(..).map(Dropped::finding).collect()
    }

    pub(super) fn finish(&mut self, _at_ns: u64) -> Vec<Finding> {
        self.bare_header = None;
        self.flush()
    }
}

impl Dropped {
    fn finding(self) -> Finding {
        let Self { chip, at_ns, offset, bytes } = self;
        let text = format!("{bytes} latched byte(s) for 0x{offset:04X} dropped by a START before STOP");
        Finding { chip: Some(chip), at_ns, hazard: Hazard::RestartAbort, text }
    }
}
