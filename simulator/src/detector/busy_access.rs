//! busy-access: a refused access that the program takes for done or for an error.
//!
//! Polling with a bare address or a header is what one should do, and a program that repeats the refused access has
//! understood. Reported is an access with data, or a read, that was refused inside the write cycle and then dropped. Each
//! client of the bus is followed by itself: what one thread repeats is not given up because another one went between.

use alloc::collections::BTreeMap;
use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;

use crate::detector::Finding;
use crate::event::{ChipId, Note};
use crate::hazard::Hazard;

/// An access as the controller was asked to do it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Access {
    /// Who asked for it.
    pub(crate) client: u64,
    /// Equal for equal accesses.
    pub(crate) digest: u64,
    /// Bytes to write, header included.
    pub(crate) write_bytes: usize,
    /// Bytes to read.
    pub(crate) read_bytes: usize,
    /// More than a header, or a read.
    pub(crate) carries_data: bool,
}

#[derive(Debug, Clone, PartialEq, Eq)]
struct Refused {
    access: Access,
    at_ns: u64,
    left_ns: u64,
    name: String,
}

#[derive(Debug, Clone, Default)]
pub(crate) struct BusyAccess {
    /// By chip and client.
    refused: BTreeMap<(usize, u64), Refused>,
}

/// An access that was answered inside the write cycle is lost for certain.
pub(super) fn text(note: Note) -> Option<(Hazard, String)> {
    let Note::BusyUndefined { read } = note else { return None };
    let what = if read {
        "a read inside the write cycle was acknowledged; its data is undefined"
    } else {
        "a write inside the write cycle was acknowledged and is lost"
    };
    Some((Hazard::BusyAccess, String::from(what)))
}

impl BusyAccess {
    pub(super) fn pending(&self) -> bool {
        !self.refused.is_empty()
    }

    /// `refused` is the time left in the write cycle if the chip refused this access for it.
    pub(super) fn accessed(
        &mut self,
        chip: usize,
        name: &str,
        access: &Access,
        refused: Option<u64>,
        at_ns: u64,
    ) -> Option<Finding> {
        let before = self.refused.remove(&(chip, access.client));
        if let Some(left_ns) = refused
            && access.carries_data
        {
            let entry = Refused { access: access.clone(), at_ns, left_ns, name: String::from(name) };
            self.refused.insert((chip, access.client), entry);
        }
        let before = before?;
        let understood = before.access == *access || !access.carries_data;
        (!understood).then(|| before.finding(chip))
    }

    pub(super) fn finish(&mut self, _at_ns: u64) -> Vec<Finding> {
        core::mem::take(&mut self.refused).into_iter().map(|((chip, _), refused)| refused.finding(chip)).collect()
    }
}

impl Refused {
    fn finding(self, chip: usize) -> Finding {
        let what = if self.access.read_bytes > 0 {
            format!("read of {} byte(s)", self.access.read_bytes)
        } else {
            format!("write of {} byte(s), header included,", self.access.write_bytes)
        };
        let text = format!(
            "{}: {what} refused {} us before the end of the write cycle and never retried",
            self.name,
            self.left_ns.div_ceil(1000)
        );
        Finding { chip: Some(ChipId(chip)), at_ns: self.at_ns, hazard: Hazard::BusyAccess, text }
    }
}
