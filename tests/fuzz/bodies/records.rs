//! Any memory image under the record store: what it reads is the newest slot that a second reader, written from the
//! format's description, finds intact; a write after it succeeds and touches nothing else.

use std::convert::Infallible;

use arbitrary::{Result as Drawn, Unstructured};
use crc::{CRC_32_ISO_HDLC, Crc};
use pagewise_driver::records::{Medium, RecordError, RecordLayout, RecordSpec, RecordStore, Stored};
use pagewise_driver::{Geometry, Parameters};

const CRC: Crc<u32> = Crc::<u32>::new(&CRC_32_ISO_HDLC);
const CAPACITY: u32 = 2048;
const PAYLOAD_MAX: usize = 64;

#[derive(Clone)]
struct Memory(Vec<u8>);

impl Medium for Memory {
    type Error = Infallible;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Infallible> {
        bytes.copy_from_slice(&self.0[offset as usize..][..bytes.len()]);
        Ok(())
    }

    fn store(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Infallible> {
        self.0[offset as usize..][..bytes.len()].copy_from_slice(bytes);
        Ok(())
    }
}

/// Reads every record of a layout from an image, then writes one.
///
/// # Errors
/// What did not hold.
pub fn run(bytes: &[u8]) -> Result<(), String> {
    let mut u = Unstructured::new(bytes);
    let Ok((page, specs)) = layout(&mut u) else { return Ok(()) };
    let geometry = Geometry::new(
        Parameters::new()
            .with_capacity_bytes(CAPACITY)
            .with_page_bytes(page)
            .with_word_address_bytes(2)
            .with_sequential_read_bytes(CAPACITY)
            .with_write_cycle_us(5000),
    );
    let Ok(records) = RecordLayout::try_new(&geometry, 0, &specs) else { return Ok(()) };
    let slots = slots(page, &specs);
    let Ok(image) = image(&mut u, &specs, &slots) else { return Ok(()) };
    let mut store = RecordStore::<_, { PAYLOAD_MAX + 13 }>::new(Memory(image.clone()), records);
    for (spec, slots) in specs.iter().zip(&slots) {
        let wanted = newest(&image, spec, slots);
        let mut payload = [0; PAYLOAD_MAX];
        let found = store.read(spec.id, &mut payload).map(|stored| (stored, payload[..stored.length].to_vec()));
        match (&wanted, &found) {
            (Some(wanted), Ok(found)) if wanted == found => {}
            (None, Err(RecordError::NotFound)) => {}
            _ => return Err(format!("record {}: read {found:?}, the image holds {wanted:?}", spec.id)),
        }
    }
    write_one(&mut u, &mut store, &specs, &slots, &image)
}

fn write_one(
    u: &mut Unstructured<'_>,
    store: &mut RecordStore<'_, Memory, { PAYLOAD_MAX + 13 }>,
    specs: &[RecordSpec],
    slots: &[Vec<usize>],
    image: &[u8],
) -> Result<(), String> {
    let Ok(index) = u.choose_index(specs.len()) else { return Ok(()) };
    let (spec, before) = (&specs[index], newest(image, &specs[index], &slots[index]));
    let value: Vec<u8> = (0..spec.payload_bytes).map(|at| u.arbitrary().unwrap_or(at as u8)).collect();
    match store.write(spec.id, 9, &value) {
        Ok(()) => {}
        Err(RecordError::Exhausted) if before.as_ref().is_some_and(|(old, _)| old.sequence == u32::MAX) => {
            return Ok(());
        }
        Err(error) => return Err(format!("record {}: {error}", spec.id)),
    }
    let mut payload = [0; PAYLOAD_MAX];
    let stored = store.read(spec.id, &mut payload).map_err(|error| format!("what was written: {error}"))?;
    let sequence = before.as_ref().map_or(1, |(old, _)| old.sequence.wrapping_add(1));
    if stored != (Stored { version: 9, length: value.len(), sequence }) || payload[..value.len()] != value[..] {
        return Err(format!("record {}: {stored:?} is not what was written", spec.id));
    }
    let after = &store.medium_mut().0;
    let changed: Vec<usize> = (0..image.len()).filter(|at| image[*at] != after[*at]).collect();
    let slot_bytes = usize::from(spec.payload_bytes) + 13;
    let one_slot = slots[index].iter().any(|start| changed.iter().all(|at| (*start..start + slot_bytes).contains(at)));
    if !one_slot {
        return Err(format!("record {}: bytes outside of one slot have changed: {changed:?}", spec.id));
    }
    match before {
        Some((_, value)) if !specs_hold(after, spec, &slots[index], &value) => {
            Err(format!("record {}: the old value is gone", spec.id))
        }
        _ => Ok(()),
    }
}

/// Whether some intact slot holds this payload.
fn specs_hold(image: &[u8], spec: &RecordSpec, slots: &[usize], value: &[u8]) -> bool {
    slots.iter().filter_map(|start| slot(image, spec, *start)).any(|(_, payload)| payload == value)
}

fn layout(u: &mut Unstructured<'_>) -> Drawn<(u32, Vec<RecordSpec>)> {
    let page = 1u32 << u.int_in_range(0..=7)?;
    let mut specs = Vec::new();
    for _ in 0..u.int_in_range(1..=4)? {
        specs.push(RecordSpec::new(u.arbitrary()?, u.int_in_range(0..=PAYLOAD_MAX as u16)?, u.int_in_range(2..=6)?));
    }
    Ok((page, specs))
}

/// Starts of the slots, from the description of format 1: one after the other, each padded to whole pages.
fn slots(page: u32, specs: &[RecordSpec]) -> Vec<Vec<usize>> {
    let mut end = 0;
    let mut place = |spec: &RecordSpec| {
        let bytes = (usize::from(spec.payload_bytes) + 13).next_multiple_of(page as usize);
        let start = end;
        end += bytes * usize::from(spec.slots);
        (start..end).step_by(bytes).collect()
    };
    specs.iter().map(&mut place).collect()
}

/// Garbage, with intact slots planted in it, some of which are damaged again.
fn image(u: &mut Unstructured<'_>, specs: &[RecordSpec], slots: &[Vec<usize>]) -> Drawn<Vec<u8>> {
    let mut image = vec![u.arbitrary::<u8>()?; CAPACITY as usize];
    for _ in 0..u.int_in_range(0..=8)? {
        let index = u.choose_index(specs.len())?;
        let start = *u.choose(&slots[index])?;
        let length = u.int_in_range(0..=specs[index].payload_bytes.saturating_add(1))?;
        let sequence = if u.arbitrary()? { u.int_in_range(0..=4)? } else { u.arbitrary::<u32>()? };
        let mut slot = vec![0xB1, specs[index].id, u.arbitrary()?];
        slot.extend(length.to_le_bytes());
        slot.extend(sequence.to_le_bytes());
        slot.extend(u.bytes(usize::from(length))?);
        slot.extend(CRC.checksum(&slot).to_le_bytes());
        if u.ratio(1, 3)? {
            let at = u.choose_index(slot.len())?;
            slot[at] ^= u.arbitrary::<u8>()?;
        }
        let end = (start + slot.len()).min(image.len());
        image[start..end].copy_from_slice(&slot[..end - start]);
    }
    Ok(image)
}

/// The second reader.
fn newest(image: &[u8], spec: &RecordSpec, slots: &[usize]) -> Option<(Stored, Vec<u8>)> {
    let mut newest: Option<(Stored, Vec<u8>)> = None;
    for start in slots {
        let Some(found) = slot(image, spec, *start) else { continue };
        if newest.as_ref().is_none_or(|(stored, _)| stored.sequence < found.0.sequence) {
            newest = Some(found);
        }
    }
    newest
}

fn slot(image: &[u8], spec: &RecordSpec, start: usize) -> Option<(Stored, Vec<u8>)> {
    let bytes = &image[start..];
    let length = usize::from(bytes[3]) + 256 * usize::from(bytes[4]);
    if bytes[0] != 0xB1 || bytes[1] != spec.id || length > usize::from(spec.payload_bytes) {
        return None;
    }
    let (body, crc) = bytes[..length + 13].split_at(length + 9);
    let sequence = u32::from_le_bytes(body[5..9].try_into().ok()?);
    let intact = CRC.checksum(body).to_le_bytes() == crc;
    intact.then(|| (Stored { version: body[2], length, sequence }, body[9..].to_vec()))
}
