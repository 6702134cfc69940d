//! Records as the driver writes them: the driver's own store works on memory that lies here.

use std::convert::Infallible;

use pagewise_driver::Geometry;
use pagewise_driver::records::{Medium, RecordLayout, RecordSpec, RecordStore};

use crate::layout::Record;

/// Memory of the store for one slot: the longest payload and its frame.
const SLOT: usize = 65_535 + 13;

/// Memory that begins at an offset of the part; everything outside it reads as erased and is never written.
struct Memory {
    start: u32,
    bytes: Vec<u8>,
}

impl Medium for Memory {
    type Error = Infallible;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Self::Error> {
        for (at, byte) in (offset..).zip(bytes) {
            *byte = self.bytes.get(at.wrapping_sub(self.start) as usize).copied().unwrap_or(0xFF);
        }
        Ok(())
    }

    fn store(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Self::Error> {
        for (at, byte) in (offset..).zip(bytes) {
            if let Some(place) = self.bytes.get_mut(at.wrapping_sub(self.start) as usize) {
                *place = *byte;
            }
        }
        Ok(())
    }
}

/// The bytes of a store at `offset`, its slots in whole pages of `page` bytes: each record with a payload is written once, everything else is erased, so that no
/// older slot outlives the programming.
///
/// # Errors
/// The store does not fit the part there, or a payload its record.
pub fn store(
    geometry: &Geometry,
    page: u32,
    offset: u32,
    records: &[Record],
    payloads: &[Option<Vec<u8>>],
) -> Result<Vec<u8>, String> {
    let specs: Vec<RecordSpec> = records.iter().map(Record::spec).collect();
    let layout = RecordLayout::try_paged(geometry, page, offset, &specs).map_err(|error| error.to_string())?;
    let memory = Memory { start: offset, bytes: vec![0xFF; (layout.end() - offset) as usize] };
    let mut store = Box::new(RecordStore::<Memory, SLOT>::new(memory, layout));
    for (record, payload) in records.iter().zip(payloads) {
        if let Some(payload) = payload {
            store.write(record.id, record.version, payload).map_err(|error| error.to_string())?;
        }
    }
    Ok(store.release().bytes)
}
