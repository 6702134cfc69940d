//! Reading and writing the records.

use super::layout::Placed;
use super::plan::{COUNTER_BYTES, Newest, Search, next_slot};
use super::{Medium, RecordError, RecordLayout, Stored};

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
/// # const PART: Geometry = Geometry::new(Parameters::new().with_capacity_bytes(4096).with_page_bytes(32)
/// #     .with_word_address_bytes(2).with_sequential_read_bytes(4096).with_write_cycle_us(5_000));
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
///     RecordSpec::new(CALIBRATION, 16, 3),
///     RecordSpec::new(STARTS, 8, 8),
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
    pub const fn medium_mut(&mut self) -> &mut M {
        &mut self.medium
    }

    /// Reads a record into `payload`; the rest of `payload` is left in any state.
    ///
    /// - **On the wire**: reads the head of each slot of the ring, and the rest of those that have one:
    ///   `S 50W+ 01+ 20+ Sr 50R+ B1+ .. 00- P` (nine bytes), `S 50W+ 01+ 29+ Sr 50R+ AB+ .. P`.
    /// - **Power loss**: changes nothing.
    ///
    /// # Errors
    ///
    /// [`RecordError::UnknownId`], [`RecordError::BufferTooSmall`] (the store's own memory) before anything is sent;
    /// [`RecordError::NotFound`], [`RecordError::BufferTooSmall`] if the newest value does not fit `payload`,
    /// [`RecordError::Medium`].
    pub fn read(&mut self, id: u8, payload: &mut [u8]) -> Result<Stored, RecordError<M::Error>> {
        let record = self.layout.find(id, 0, SLOT)?;
        self.search(record, payload)?.value(payload.len())
    }

    /// Writes a record. When it returns `Ok` the value is stored and was read back.
    ///
    /// - **On the wire**: what `read` sends, then one verified write of the slot after the newest one:
    ///   `S 50W+ 01+ 40+ B1+ .. P`, polled for and read back.
    /// - **Power loss**: the old or the new value, never neither; see the [table](crate::records#what-survives).
    ///
    /// # Errors
    ///
    /// [`RecordError::UnknownId`], [`RecordError::TooLong`], [`RecordError::BufferTooSmall`] (the store's own memory)
    /// before anything is sent; [`RecordError::Exhausted`], [`RecordError::Medium`].
    pub fn write(&mut self, id: u8, version: u8, payload: &[u8]) -> Result<(), RecordError<M::Error>> {
        let record = self.layout.find(id, payload.len(), SLOT)?;
        let newest = self.search(record, &mut [])?.newest();
        self.write_after(&record, newest, version, payload)
    }

    /// Value of a counter; 0 if it was never written, or no slot is intact.
    ///
    /// - **On the wire**: what `read` sends.
    /// - **Power loss**: changes nothing.
    ///
    /// # Errors
    ///
    /// [`RecordError::UnknownId`], [`RecordError::TooLong`] (the record has no room for eight bytes),
    /// [`RecordError::BufferTooSmall`] (the store's own memory) before anything is sent; [`RecordError::NotACounter`],
    /// [`RecordError::Medium`].
    pub fn count(&mut self, id: u8) -> Result<u64, RecordError<M::Error>> {
        let record = self.layout.find(id, COUNTER_BYTES, SLOT)?;
        let mut payload = [0; COUNTER_BYTES];
        self.search(record, &mut payload)?.count(payload)
    }

    /// Adds one to a counter and gives its new value.
    ///
    /// - **On the wire**: what `write` sends.
    /// - **Power loss**: the old or the new value, as of [`RecordStore::write`].
    ///
    /// # Errors
    ///
    /// Those of [`RecordStore::count`] and [`RecordStore::write`].
    pub fn increment(&mut self, id: u8) -> Result<u64, RecordError<M::Error>> {
        let record = self.layout.find(id, COUNTER_BYTES, SLOT)?;
        let mut payload = [0; COUNTER_BYTES];
        let search = self.search(record, &mut payload)?;
        let (value, version) = search.counted_up(payload)?;
        self.write_after(&record, search.newest(), version, &value.to_le_bytes())?;
        Ok(value)
    }

    /// Makes a record as if it had never been written: overwrites the first byte of each of its slots with 0xFF.
    ///
    /// For a part that comes with foreign contents, or for good-bye.
    ///
    /// - **On the wire**: per slot a verified write of one byte: `S 50W+ 01+ 20+ FF+ P`, polled for and read back.
    /// - **Power loss**: **not** safe: an older value may come back.
    ///
    /// # Errors
    ///
    /// [`RecordError::UnknownId`], [`RecordError::BufferTooSmall`] (the store's own memory) before anything is sent;
    /// [`RecordError::Medium`].
    pub fn erase(&mut self, id: u8) -> Result<(), RecordError<M::Error>> {
        let record = self.layout.find(id, 0, SLOT)?;
        for index in 0..record.spec.slots {
            self.medium.store(record.slot(index), &[0xFF]).map_err(RecordError::Medium)?;
        }
        Ok(())
    }

    /// Looks through the slots; the payload of the newest one goes to `payload`.
    fn search(&mut self, record: Placed, payload: &mut [u8]) -> Result<Search, RecordError<M::Error>> {
        let mut search = Search::new(record);
        while let Some((offset, range)) = search.step() {
            let needed = range.end;
            let into = self.slot.get_mut(range).ok_or(RecordError::BufferTooSmall { needed })?;
            self.medium.read(offset, into).map_err(RecordError::Medium)?;
            search.complete(&self.slot, payload);
        }
        Ok(search)
    }

    fn write_after(
        &mut self,
        record: &Placed,
        newest: Option<Newest>,
        version: u8,
        payload: &[u8],
    ) -> Result<(), RecordError<M::Error>> {
        let (offset, bytes) = next_slot(&mut self.slot, record, newest, version, payload)?;
        self.medium.store(offset, bytes).map_err(RecordError::Medium)
    }
}
