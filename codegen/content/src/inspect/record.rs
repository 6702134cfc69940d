//! Slots of the driver's records, read after the format that the driver documents (format 1), not by the driver's code.

use std::collections::BTreeMap;

use crc::{CRC_32_ISO_HDLC, Crc};
use schemars::JsonSchema;
use serde::Serialize;

use super::{Certainty, Content, Found, found};

/// First byte of a slot in format 1.
const FORMAT_1: u8 = 0xB1;
/// Bytes before the payload: format, identity, version, length (2), sequence number (4).
const HEAD: usize = 9;
/// Bytes of the CRC behind the payload.
const CRC: usize = 4;
/// Bytes that are hashed at most in one dump. Only a dump that is full of heads reaches it.
const BUDGET: usize = 64 << 20;
/// With a table: a dump may be full of heads.
static CHECKSUM: Crc<u32> = Crc::<u32>::new(&CRC_32_ISO_HDLC);

/// An intact slot.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Slot {
    /// Identity of the record.
    pub id: u8,
    /// Version of the payload.
    pub version: u8,
    /// Sequence number, 1 for the first write.
    pub sequence: u32,
    /// Bytes of the payload.
    pub payload_bytes: u16,
    /// Whether no intact slot of this identity has a higher sequence number: the value of the record.
    pub newest: bool,
    /// Value of a payload of eight bytes, read as a counter.
    pub count: Option<u64>,
}

/// Intact slots, and slots whose CRC is wrong beside intact ones of the same identity.
///
/// Slots begin at a page; where the page is not known they may begin anywhere.
pub(super) fn find(block: &[u8], page: Option<usize>) -> Vec<Found> {
    let step = page.filter(|page| *page > 0).unwrap_or(1);
    let mut slots: BTreeMap<usize, (Slot, usize)> = BTreeMap::new();
    let mut broken: Vec<(usize, u8)> = Vec::new();
    let mut budget = BUDGET;
    let mut at = 0;
    while at + HEAD + CRC <= block.len() {
        if block[at] == FORMAT_1 {
            match slot(&block[at..], &mut budget) {
                Some((slot, length)) => {
                    slots.insert(at, (slot, length));
                    at = (at + length).next_multiple_of(step);
                    continue;
                }
                None => broken.push((at, block[at + 1])),
            }
        }
        at += step;
    }
    let mut newest: BTreeMap<u8, (u32, usize)> = BTreeMap::new();
    for (at, (slot, _)) in &slots {
        let entry = newest.entry(slot.id).or_insert((slot.sequence, *at));
        if slot.sequence > entry.0 {
            *entry = (slot.sequence, *at);
        }
    }
    let mut all: Vec<Found> = Vec::new();
    for (at, id) in broken {
        // A ring: another slot of the same record, a whole number of pages of eight bytes or more away.
        let ring = slots.iter().any(|(other, (slot, _))| slot.id == id && other.abs_diff(at) % step.max(8) == 0);
        let free = !slots.iter().any(|(other, (_, length))| (*other..other + length).contains(&at));
        if ring && free {
            let because =
                format!("begins as a slot of record {id}, whose CRC is wrong: a write that was cut, or damage");
            let length = (HEAD + CRC).min(block.len() - at);
            all.push(found(Content::DamagedRecord { id }, at, length, Certainty::Likely, because));
        }
    }
    for (at, (mut slot, length)) in slots {
        slot.newest = newest.get(&slot.id).is_some_and(|(_, place)| *place == at);
        let state = if slot.newest { "the newest" } else { "an older" };
        let because = format!(
            "{state} slot of record {}, version {}, sequence number {}, {} bytes of payload, CRC-32 right",
            slot.id, slot.version, slot.sequence, slot.payload_bytes
        );
        all.push(found(Content::Record(slot), at, length, Certainty::Certain, because));
    }
    all
}

fn slot(bytes: &[u8], budget: &mut usize) -> Option<(Slot, usize)> {
    let [_, id, version, l0, l1, s0, s1, s2, s3] = *bytes.first_chunk::<HEAD>()?;
    let payload_bytes = u16::from_le_bytes([l0, l1]);
    let end = HEAD + usize::from(payload_bytes);
    let stored = bytes.get(end..end + CRC)?.first_chunk::<CRC>()?;
    let sequence = u32::from_le_bytes([s0, s1, s2, s3]);
    if sequence == 0 || *budget < end {
        return None;
    }
    *budget -= end;
    if CHECKSUM.checksum(bytes.get(..end)?) != u32::from_le_bytes(*stored) {
        return None;
    }
    let count = bytes.get(HEAD..end)?.try_into().ok().map(u64::from_le_bytes);
    Some((Slot { id, version, sequence, payload_bytes, newest: false, count }, end + CRC))
}
