//! What to read and write next for a record, and what the bytes mean. No medium: a store carries it out.

use core::ops::Range;

use crc::{CRC_32_ISO_HDLC, Crc, NoTable};

use super::layout::Placed;
use super::{FORMAT_1, HEAD_BYTES, RecordError, RecordLayout, Stored};

/// Without a table: a record is short and code memory is dear.
const CRC: Crc<u32, NoTable> = Crc::<u32, NoTable>::new(&CRC_32_ISO_HDLC);

/// The one place that computes it, so that the library's code is folded for this CRC alone.
#[inline(never)]
fn crc_of(bytes: &[u8]) -> u32 {
    CRC.checksum(bytes)
}

/// Bytes that the CRC takes at the end of a slot.
const CRC_BYTES: usize = 4;

/// Bytes of a counter.
pub(super) const COUNTER_BYTES: usize = 8;

/// The newest intact slot of a record.
#[derive(Debug, Clone, Copy)]
pub(super) struct Newest {
    index: u16,
    stored: Stored,
}

/// Looks through the slots of a record for the newest intact one: asks for reads into the slot memory, one after the
/// other, and looks at what came.
#[derive(Debug)]
pub(super) struct Search {
    record: Placed,
    index: u16,
    /// Length of the payload whose rest is wanted; the head is in the slot memory.
    body: Option<usize>,
    newest: Option<Newest>,
}

impl Search {
    pub(crate) fn new(record: Placed) -> Self {
        Self { record, index: 0, body: None, newest: None }
    }

    /// The next read: offset on the medium and place in the slot memory. `None` when all slots were seen.
    pub(crate) fn step(&self) -> Option<(u32, Range<usize>)> {
        if self.index >= self.record.spec.slots {
            return None;
        }
        let offset = self.record.slot(self.index);
        Some(match self.body {
            None => (offset, 0..HEAD_BYTES),
            Some(length) => {
                let end = HEAD_BYTES.wrapping_add(length).wrapping_add(CRC_BYTES);
                (offset.wrapping_add(HEAD_BYTES as u32), HEAD_BYTES..end)
            }
        })
    }

    /// Takes note of the bytes of that read. The payload of the newest slot so far is copied while it is in memory,
    /// since a page that was once cut may not read well a second time.
    pub(crate) fn complete(&mut self, slot: &[u8], payload: &mut [u8]) {
        let Some(([format, id, version, l0, l1, s0, s1, s2, s3], rest)) = slot.split_first_chunk::<HEAD_BYTES>() else {
            return self.next();
        };
        let length = usize::from(u16::from_le_bytes([*l0, *l1]));
        if self.body.is_none() {
            let spec = &self.record.spec;
            if *format == FORMAT_1 && *id == spec.id && length <= usize::from(spec.payload_bytes) {
                self.body = Some(length);
                return;
            }
            return self.next();
        }
        let sequence = u32::from_le_bytes([*s0, *s1, *s2, *s3]);
        let newer = self.newest.is_none_or(|newest| newest.stored.sequence < sequence);
        if newer && intact(slot, length) {
            let stored = Stored { version: *version, length, sequence };
            self.newest = Some(Newest { index: self.index, stored });
            for (to, from) in payload.iter_mut().zip(rest.iter().take(length)) {
                *to = *from;
            }
        }
        self.next();
    }

    fn next(&mut self) {
        self.body = None;
        self.index = self.index.wrapping_add(1);
    }

    pub(crate) fn newest(&self) -> Option<Newest> {
        self.newest
    }

    /// What was found, for a caller with room for `room` bytes.
    pub(crate) fn value<E>(&self, room: usize) -> Result<Stored, RecordError<E>> {
        let stored = self.newest.ok_or(RecordError::NotFound)?.stored;
        let needed = stored.length;
        if needed > room { Err(RecordError::BufferTooSmall { needed }) } else { Ok(stored) }
    }

    /// Value of a counter whose payload was copied to `payload`.
    pub(crate) fn count<E>(&self, payload: [u8; COUNTER_BYTES]) -> Result<u64, RecordError<E>> {
        match self.newest {
            Some(newest) if newest.stored.length != payload.len() => Err(RecordError::NotACounter),
            _ => Ok(u64::from_le_bytes(payload)),
        }
    }

    /// The value after that, and the version that it goes on with.
    pub(crate) fn counted_up<E>(&self, payload: [u8; COUNTER_BYTES]) -> Result<(u64, u8), RecordError<E>> {
        let value = self.count(payload)?.checked_add(1).ok_or(RecordError::NotACounter)?;
        Ok((value, self.newest.map_or(0, |newest| newest.stored.version)))
    }
}

fn intact(slot: &[u8], length: usize) -> bool {
    let Some((body, rest)) = slot.split_at_checked(HEAD_BYTES.wrapping_add(length)) else { return false };
    rest.first_chunk::<CRC_BYTES>().is_some_and(|crc| crc_of(body) == u32::from_le_bytes(*crc))
}

impl RecordLayout<'_> {
    /// Finds a record that can hold `length` bytes and fits a slot memory of `room` bytes.
    pub(super) fn find<E>(&self, id: u8, length: usize, room: usize) -> Result<Placed, RecordError<E>> {
        let record = self.placed(id).ok_or(RecordError::UnknownId { id })?;
        let allowed = usize::from(record.spec.payload_bytes);
        if length > allowed {
            return Err(RecordError::TooLong { length, allowed });
        }
        let needed = allowed.saturating_add(HEAD_BYTES).saturating_add(CRC_BYTES);
        if needed > room { Err(RecordError::BufferTooSmall { needed }) } else { Ok(record) }
    }
}

/// Makes the slot that comes after the newest one: where it goes, and its bytes.
pub(super) fn next_slot<'s, E>(
    slot: &'s mut [u8],
    record: &Placed,
    newest: Option<Newest>,
    version: u8,
    payload: &[u8],
) -> Result<(u32, &'s [u8]), RecordError<E>> {
    let (index, sequence) = match newest {
        Some(newest) => (newest.index.wrapping_add(1), newest.stored.sequence),
        None => (0, 0),
    };
    let index = if index < record.spec.slots { index } else { 0 };
    let sequence = sequence.checked_add(1).ok_or(RecordError::Exhausted)?;
    let needed = payload.len().saturating_add(HEAD_BYTES).saturating_add(CRC_BYTES);
    let too_small = RecordError::BufferTooSmall { needed };
    let Some(slot) = slot.get_mut(..needed) else { return Err(too_small) };
    let Some((body, crc)) = slot.split_last_chunk_mut::<CRC_BYTES>() else { return Err(too_small) };
    let [l0, l1] = (payload.len() as u16).to_le_bytes();
    let [s0, s1, s2, s3] = sequence.to_le_bytes();
    let head = [FORMAT_1, record.spec.id, version, l0, l1, s0, s1, s2, s3];
    for (to, from) in body.iter_mut().zip(head.iter().chain(payload)) {
        *to = *from;
    }
    *crc = crc_of(body).to_le_bytes();
    Ok((record.slot(index), slot))
}
