//! What a configuration lets a plan do.

use super::step::{Job, PlanError};
use crate::options::Config;

impl Config {
    /// Whether a request can be planned at all.
    pub(crate) fn check(&self, job: Job, offset: u32, length: usize) -> Result<(), PlanError> {
        let geometry = &self.geometry;
        if !geometry.contains(offset, length) {
            return Err(PlanError::OutOfRange { offset, length, capacity: geometry.capacity_bytes() });
        }
        if length > 0 && self.data_max(job) == 0 {
            let needed = geometry.buffer_bytes();
            return Err(PlanError::TransferTooSmall { needed });
        }
        Ok(())
    }

    /// Data bytes that one access of a job may move.
    pub(crate) fn data_max(&self, job: Job) -> usize {
        match job {
            Job::Read | Job::Ready => self.read_data_max,
            Job::Write | Job::WriteVerified | Job::Compare | Job::Update => self.write_data_max,
        }
    }
}
