//! Records over an async medium: the same plan as the blocking store, with `await` at each access.

use super::layout::Placed;
use super::plan::{COUNTER_BYTES, Newest, Search, next_slot};
use super::{AsyncMedium, RecordError, RecordLayout, Stored};

/// Records on an async medium; as [`RecordStore`](super::RecordStore), same format, same promises.
///
/// # Cancellation
///
/// A call may be dropped at any `await`. For the record that is what a loss of supply is: the old or the new value, never
/// neither, and the next call goes on from there.
#[derive(Debug)]
pub struct AsyncRecordStore<'a, M, const SLOT: usize> {
    medium: M,
    layout: RecordLayout<'a>,
    slot: [u8; SLOT],
}

impl<'a, M: AsyncMedium, const SLOT: usize> AsyncRecordStore<'a, M, SLOT> {
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

    /// As [`RecordStore::read`](super::RecordStore::read).
    ///
    /// - **Cancelled**: leaves nothing behind.
    ///
    /// # Errors
    ///
    /// Those of the blocking call.
    pub async fn read(&mut self, id: u8, payload: &mut [u8]) -> Result<Stored, RecordError<M::Error>> {
        let record = self.layout.find(id, 0, SLOT)?;
        self.search(record, payload).await?.value(payload.len())
    }

    /// As [`RecordStore::write`](super::RecordStore::write).
    ///
    /// - **Cancelled**: the old or the new value, never neither.
    ///
    /// # Errors
    ///
    /// Those of the blocking call.
    pub async fn write(&mut self, id: u8, version: u8, payload: &[u8]) -> Result<(), RecordError<M::Error>> {
        let record = self.layout.find(id, payload.len(), SLOT)?;
        let newest = self.search(record, &mut []).await?.newest();
        self.write_after(&record, newest, version, payload).await
    }

    /// As [`RecordStore::count`](super::RecordStore::count).
    ///
    /// - **Cancelled**: leaves nothing behind.
    ///
    /// # Errors
    ///
    /// Those of the blocking call.
    pub async fn count(&mut self, id: u8) -> Result<u64, RecordError<M::Error>> {
        let record = self.layout.find(id, COUNTER_BYTES, SLOT)?;
        let mut payload = [0; COUNTER_BYTES];
        self.search(record, &mut payload).await?.count(payload)
    }

    /// As [`RecordStore::increment`](super::RecordStore::increment).
    ///
    /// - **Cancelled**: the old or the new value, never neither.
    ///
    /// # Errors
    ///
    /// Those of the blocking call.
    pub async fn increment(&mut self, id: u8) -> Result<u64, RecordError<M::Error>> {
        let record = self.layout.find(id, COUNTER_BYTES, SLOT)?;
        let mut payload = [0; COUNTER_BYTES];
        let search = self.search(record, &mut payload).await?;
        let (value, version) = search.counted_up(payload)?;
        self.write_after(&record, search.newest(), version, &value.to_le_bytes()).await?;
        Ok(value)
    }

    /// As [`RecordStore::erase`](super::RecordStore::erase).
    ///
    /// - **Cancelled**: as a loss of supply: an older value may come back.
    ///
    /// # Errors
    ///
    /// Those of the blocking call.
    pub async fn erase(&mut self, id: u8) -> Result<(), RecordError<M::Error>> {
        let record = self.layout.find(id, 0, SLOT)?;
        for index in 0..record.spec.slots {
            self.medium.store(record.slot(index), &[0xFF]).await.map_err(RecordError::Medium)?;
        }
        Ok(())
    }

    /// Looks through the slots; the payload of the newest one goes to `payload`.
    async fn search(&mut self, record: Placed, payload: &mut [u8]) -> Result<Search, RecordError<M::Error>> {
        let mut search = Search::new(record);
        while let Some((offset, range)) = search.step() {
            let needed = range.end;
            let into = self.slot.get_mut(range).ok_or(RecordError::BufferTooSmall { needed })?;
            self.medium.read(offset, into).await.map_err(RecordError::Medium)?;
            search.complete(&self.slot, payload);
        }
        Ok(search)
    }

    async fn write_after(
        &mut self,
        record: &Placed,
        newest: Option<Newest>,
        version: u8,
        payload: &[u8],
    ) -> Result<(), RecordError<M::Error>> {
        let (offset, bytes) = next_slot(&mut self.slot, record, newest, version, payload)?;
        self.medium.store(offset, bytes).await.map_err(RecordError::Medium)
    }
}
