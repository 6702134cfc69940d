//! Reading and writing the records.

use core::fmt;

use crc::{CRC_32_ISO_HDLC, Crc, NoTable};

use super::layout::Placed;
use super::{FORMAT_1, HEAD_BYTES, Medium, RecordLayout};

/// Without a table: a record is short and code memory is dear.
const CRC: Crc<u32, NoTable> = Crc::<u32, NoTable>::new(&CRC_32_ISO_HDLC);

/// Bytes that the CRC takes at the end of a slot.
const CRC_BYTES: usize = 4;

/// What is known of a record that was read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Stored {
    /// Version of the payload, as given when it was written.
    pub version: u8,
    /// Length of the payload in bytes.
    pub length: usize,
    /// How many times the record was written, this time included (as far as it was never lost).
    pub sequence: u32,
}

/// Why a record could not be read or written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum RecordError<E> {
    /// The layout has no such record; nothing was sent.
    UnknownId {
        /// The identity that was given.
        id: u8,
    },
    /// The payload is longer than its slot allows; nothing was sent.
    TooLong {
        /// Length of the payload in bytes.
        length: usize,
        /// Longest payload of this record.
        allowed: usize,
    },
    /// The memory given, or the store's own (`SLOT`), does not hold the record.
    BufferTooSmall {
        /// Bytes needed.
        needed: usize,
    },
    /// The record has never been written, or no slot is intact.
    NotFound,
    /// The record is no counter: its payload has another length than 8 bytes, or its value is at the end.
    NotACounter,
    /// The sequence number is at its end.
    Exhausted,
    /// The medium reported an error. Of a write: the old or the new value is there, see the
    /// [table](crate::records#what-survives).
    Medium(E),
}

impl<E: fmt::Debug> fmt::Display for RecordError<E> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::UnknownId { id } => write!(f, "the layout has no record {id}"),
            Self::TooLong { length, allowed } => {
                write!(f, "payload too long: {length} bytes, at most {allowed} bytes")
            }
            Self::BufferTooSmall { needed } => write!(f, "buffer too small: {needed} bytes needed"),
            Self::NotFound => f.write_str("no intact slot"),
            Self::NotACounter => f.write_str("not a counter, or at its end"),
            Self::Exhausted => f.write_str("sequence number at its end"),
            Self::Medium(error) => write!(f, "medium: {error:?}"),
        }
    }
}

impl<E: fmt::Debug> core::error::Error for RecordError<E> {}

/// Records on a medium. See the [module page](crate::records).
///
/// `SLOT` is the memory for one slot: the longest payload and 13 bytes. The store keeps nothing about the records in
/// memory; a new one on the same medium reads the same.
///
/// # Examples
///
/// ```
/// use pagewise_driver::records::{Medium, RecordLayout, RecordSpec, RecordStore};
/// # use pagewise_driver::{Geometry, Parameters};
/// # const PART: Geometry = Geometry::new(Parameters { capacity_bytes: 4096, page_bytes: 32,
/// #     word_address_bytes: 2, device_address: 0x50, block_select_bits: 0, block_select_shift: 0,
/// #     sequential_read_bytes: 4096, write_cycle_us: 5_000 });
/// # struct Array([u8; 4096]);
/// # impl Medium for Array {
/// #     type Error = core::convert::Infallible;
/// #     fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Self::Error> {
/// #         bytes.copy_from_slice(&self.0[offset as usize..][..bytes.len()]);
/// #         Ok(())
/// #     }
/// #     fn store(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Self::Error> {
/// #         self.0[offset as usize..][..bytes.len()].copy_from_slice(bytes);
/// #         Ok(())
/// #     }
/// # }
/// # let eeprom = Array([0xFF; 4096]);
/// const CALIBRATION: u8 = 1;
/// const STARTS: u8 = 2;
/// const LAYOUT: RecordLayout = RecordLayout::new(&PART, 0, &[
///     RecordSpec { id: CALIBRATION, payload_bytes: 16, slots: 3 },
///     RecordSpec { id: STARTS, payload_bytes: 8, slots: 8 },
/// ]);
/// let mut store = RecordStore::<_, 29>::new(eeprom, LAYOUT);
/// store.write(CALIBRATION, 1, b"gain=1.024")?;
/// let mut payload = [0; 16];
/// let stored = store.read(CALIBRATION, &mut payload)?;
/// assert_eq!((stored.version, &payload[..stored.length]), (1, b"gain=1.024".as_slice()));
/// assert_eq!(store.increment(STARTS)?, 1);
/// # Ok::<(), pagewise_driver::records::RecordError<core::convert::Infallible>>(())
/// ```
#[derive(Debug)]
pub struct RecordStore<'a, M, const SLOT: usize> {
    medium: M,
    layout: RecordLayout<'a>,
    slot: [u8; SLOT],
}

/// The newest intact slot of a record.
#[derive(Debug, Clone, Copy)]
struct Newest {
    index: u16,
    stored: Stored,
}

impl<'a, M: Medium, const SLOT: usize> RecordStore<'a, M, SLOT> {
    /// A store on a medium. Sends nothing.
    pub const fn new(medium: M, layout: RecordLayout<'a>) -> Self {
        Self { medium, layout, slot: [0; SLOT] }
    }

    /// Gives the medium back.
    pub fn release(self) -> M {
        self.medium
    }

    /// The medium, for what lies beside the records.
    pub const fn medium(&mut self) -> &mut M {
        &mut self.medium
    }

    /// Reads a record into `payload`; the rest of `payload` is left in any state.
    ///
    /// # Errors
    ///
    /// [`RecordError::UnknownId`], [`RecordError::NotFound`], [`RecordError::BufferTooSmall`] if the newest value does
    /// not fit `payload`, [`RecordError::Medium`].
    pub fn read(&mut self, id: u8, payload: &mut [u8]) -> Result<Stored, RecordError<M::Error>> {
        let record = self.record(id, 0)?;
        let newest = self.newest(&record, payload)?.ok_or(RecordError::NotFound)?;
        let needed = newest.stored.length;
        if needed > payload.len() { Err(RecordError::BufferTooSmall { needed }) } else { Ok(newest.stored) }
    }

    /// Writes a record. When it returns `Ok` the value is stored and was read back.
    ///
    /// # Power loss
    ///
    /// The old or the new value, never neither; see the [table](crate::records#what-survives).
    ///
    /// # Errors
    ///
    /// [`RecordError::UnknownId`], [`RecordError::TooLong`], [`RecordError::BufferTooSmall`] (the store's own memory)
    /// before anything is sent; [`RecordError::Exhausted`], [`RecordError::Medium`].
    pub fn write(&mut self, id: u8, version: u8, payload: &[u8]) -> Result<(), RecordError<M::Error>> {
        let record = self.record(id, payload.len())?;
        let newest = self.newest(&record, &mut [])?;
        self.write_after(&record, newest, version, payload)
    }

    /// Value of a counter; 0 if it was never written.
    ///
    /// # Errors
    ///
    /// [`RecordError::UnknownId`], [`RecordError::NotACounter`], [`RecordError::Medium`].
    pub fn count(&mut self, id: u8) -> Result<u64, RecordError<M::Error>> {
        let record = self.record(id, 8)?;
        Ok(self.counter(&record)?.0)
    }

    /// Adds one to a counter and gives its new value. Power loss as for [`RecordStore::write`].
    ///
    /// # Errors
    ///
    /// Those of [`RecordStore::count`] and [`RecordStore::write`].
    pub fn increment(&mut self, id: u8) -> Result<u64, RecordError<M::Error>> {
        let record = self.record(id, 8)?;
        let (value, newest) = self.counter(&record)?;
        let value = value.checked_add(1).ok_or(RecordError::NotACounter)?;
        let version = newest.map_or(0, |newest| newest.stored.version);
        self.write_after(&record, newest, version, &value.to_le_bytes())?;
        Ok(value)
    }

    /// Makes a record as if it had never been written: overwrites the first byte of each of its slots with 0xFF.
    ///
    /// For a part that comes with foreign contents, or for good-bye. **Not** safe against power loss: an older value
    /// may come back.
    ///
    /// # Errors
    ///
    /// [`RecordError::UnknownId`], [`RecordError::Medium`].
    pub fn erase(&mut self, id: u8) -> Result<(), RecordError<M::Error>> {
        let record = self.record(id, 0)?;
        for index in 0..record.spec.slots {
            self.medium.store(record.slot(index), &[0xFF]).map_err(RecordError::Medium)?;
        }
        Ok(())
    }

    /// Finds a record that can hold `length` bytes and fits the store's memory.
    fn record(&self, id: u8, length: usize) -> Result<Placed, RecordError<M::Error>> {
        let record = self.layout.placed(id).ok_or(RecordError::UnknownId { id })?;
        let allowed = usize::from(record.spec.payload_bytes);
        if length > allowed {
            return Err(RecordError::TooLong { length, allowed });
        }
        let needed = allowed.saturating_add(HEAD_BYTES).saturating_add(CRC_BYTES);
        if needed > SLOT { Err(RecordError::BufferTooSmall { needed }) } else { Ok(record) }
    }

    fn counter(&mut self, record: &Placed) -> Result<(u64, Option<Newest>), RecordError<M::Error>> {
        let mut value = [0; 8];
        let newest = self.newest(record, &mut value)?;
        match newest {
            Some(newest) if newest.stored.length != value.len() => Err(RecordError::NotACounter),
            newest => Ok((u64::from_le_bytes(value), newest)),
        }
    }

    /// The newest intact slot. Its payload is copied while it is in memory, since a page that was once cut may not read
    /// well a second time.
    fn newest(&mut self, record: &Placed, payload: &mut [u8]) -> Result<Option<Newest>, RecordError<M::Error>> {
        let mut newest: Option<Newest> = None;
        for index in 0..record.spec.slots {
            let Some(stored) = self.load(record, index)? else { continue };
            if newest.is_some_and(|newest| newest.stored.sequence >= stored.sequence) {
                continue;
            }
            newest = Some(Newest { index, stored });
            for (to, from) in payload.iter_mut().zip(self.slot.iter().skip(HEAD_BYTES).take(stored.length)) {
                *to = *from;
            }
        }
        Ok(newest)
    }

    /// Reads a slot; `None` if it is not an intact slot of this record.
    fn load(&mut self, record: &Placed, index: u16) -> Result<Option<Stored>, RecordError<M::Error>> {
        let offset = record.slot(index);
        let Some((head, rest)) = self.slot.split_first_chunk_mut::<HEAD_BYTES>() else { return Ok(None) };
        self.medium.read(offset, head).map_err(RecordError::Medium)?;
        let [format, id, version, length @ .., s0, s1, s2, s3] = *head;
        let length = usize::from(u16::from_le_bytes(length));
        if format != FORMAT_1 || id != record.spec.id || length > usize::from(record.spec.payload_bytes) {
            return Ok(None);
        }
        let Some(tail) = rest.get_mut(..length.wrapping_add(CRC_BYTES)) else { return Ok(None) };
        self.medium.read(offset.wrapping_add(HEAD_BYTES as u32), tail).map_err(RecordError::Medium)?;
        let Some((payload, crc)) = tail.split_last_chunk::<CRC_BYTES>() else { return Ok(None) };
        let mut digest = CRC.digest();
        digest.update(head);
        digest.update(payload);
        let intact = digest.finalize() == u32::from_le_bytes(*crc);
        let sequence = u32::from_le_bytes([s0, s1, s2, s3]);
        Ok(intact.then_some(Stored { version, length, sequence }))
    }

    /// Writes the slot after the newest one.
    fn write_after(
        &mut self,
        record: &Placed,
        newest: Option<Newest>,
        version: u8,
        payload: &[u8],
    ) -> Result<(), RecordError<M::Error>> {
        let (index, sequence) = match newest {
            Some(newest) => (newest.index.wrapping_add(1), newest.stored.sequence),
            None => (0, 0),
        };
        let index = if index < record.spec.slots { index } else { 0 };
        let sequence = sequence.checked_add(1).ok_or(RecordError::Exhausted)?;
        let needed = payload.len().saturating_add(HEAD_BYTES).saturating_add(CRC_BYTES);
        let too_small = RecordError::BufferTooSmall { needed };
        let Some(slot) = self.slot.get_mut(..needed) else { return Err(too_small) };
        let Some((body, crc)) = slot.split_last_chunk_mut::<CRC_BYTES>() else { return Err(too_small) };
        let [l0, l1] = (payload.len() as u16).to_le_bytes();
        let [s0, s1, s2, s3] = sequence.to_le_bytes();
        let head = [FORMAT_1, record.spec.id, version, l0, l1, s0, s1, s2, s3];
        for (to, from) in body.iter_mut().zip(head.iter().chain(payload)) {
            *to = *from;
        }
        *crc = CRC.checksum(body).to_le_bytes();
        self.medium.store(record.slot(index), slot).map_err(RecordError::Medium)
    }
}
