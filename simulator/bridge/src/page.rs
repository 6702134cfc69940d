//! The clock of the session in memory that all processes share.

use std::fs::File;
use std::os::fd::AsRawFd;
use std::path::Path;
use std::ptr;
use std::sync::atomic::{AtomicU64, Ordering};

use pagewise_session::protocol::clock;

/// The numbers of [`clock`].
pub(crate) struct Page(&'static [AtomicU64; clock::LEN / 8]);

impl Page {
    /// Maps the file, where there is one.
    pub(crate) fn map(path: &Path) -> Option<Self> {
        let file = File::options().read(true).write(true).open(path).ok()?;
        // SAFETY: a new mapping of a file that is as long; it stays until the process ends.
        let place = unsafe {
            let access = libc::PROT_READ | libc::PROT_WRITE;
            libc::mmap(ptr::null_mut(), clock::LEN, access, libc::MAP_SHARED, file.as_raw_fd(), 0)
        };
        if place == libc::MAP_FAILED {
            return None;
        }
        // SAFETY: as long as the array, aligned to a page, never unmapped, and touched by atomic operations only.
        Some(Self(unsafe { &*place.cast() }))
    }

    pub(crate) fn get(&self, number: usize) -> u64 {
        self.0[number].load(Ordering::Acquire)
    }

    /// Makes the time of the clients at least this.
    pub(crate) fn reach(&self, ns: u64) {
        self.0[clock::CLIENTS].fetch_max(ns, Ordering::AcqRel);
    }
}
