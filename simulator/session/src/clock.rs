//! The clock of a session: that of the host, or one that only bus traffic and the programs' sleeps move.

use std::fs::File;
use std::io;
use std::os::unix::fs::FileExt;
use std::path::Path;
use std::time::{Duration, Instant};

use pagewise_simulator::Rig;
use pagewise_simulator::time::END_NS;
use rustix::time::{ClockId, clock_gettime};

use crate::protocol::clock;

/// What moves the time of the bus.
#[derive(Debug)]
pub(crate) enum Clock {
    /// The monotonic clock of the host.
    Real(Instant),
    /// Bus traffic, and what clients write into this file.
    Virtual(File),
}

impl Clock {
    /// The host's clock, which begins now.
    pub(crate) fn real() -> Self {
        Self::Real(Instant::now())
    }

    /// A virtual clock at 0, in a file that clients find.
    pub(crate) fn virtual_in(path: &Path) -> io::Result<Self> {
        let file = File::options().read(true).write(true).create_new(true).open(path)?;
        file.set_len(clock::LEN as u64)?;
        put(&file, clock::CUT, u64::MAX)?;
        let clocks = [
            (clock::REALTIME, ClockId::Realtime),
            (clock::MONOTONIC, ClockId::Monotonic),
            (clock::BOOTTIME, ClockId::Boottime),
        ];
        for (place, id) in clocks {
            let now = clock_gettime(id);
            put(&file, place, now.tv_sec as u64 * 1_000_000_000 + now.tv_nsec as u64)?;
        }
        Ok(Self::Virtual(file))
    }

    /// Before a transfer: time that passed for the programs passes for the chips.
    pub(crate) fn catch_up(&self, rig: &Rig) {
        let now = match self {
            Self::Real(start) => start.elapsed().as_nanos() as u64,
            Self::Virtual(file) => get(file, clock::CLIENTS).unwrap_or(0),
        };
        rig.advance_ns(now.min(END_NS / 2).saturating_sub(rig.now_ns()));
        self.tell(rig);
    }

    /// Tells clients what time it is.
    pub(crate) fn tell(&self, rig: &Rig) {
        if let Self::Virtual(file) = self {
            // A file of a few bytes that is open: where it cannot be written, time stands still for the programs.
            let _ = put(file, clock::BUS, rig.now_ns());
        }
    }

    /// When the supply is lost.
    pub(crate) fn set_cut(&self, at_ns: Option<u64>) {
        if let Self::Virtual(file) = self {
            let _ = put(file, clock::CUT, at_ns.unwrap_or(u64::MAX));
        }
    }

    /// After a transfer: how long the host has still to wait until the transfer is over.
    pub(crate) fn lead(&self, rig: &Rig) -> Duration {
        match self {
            Self::Real(start) => Duration::from_nanos(rig.now_ns()).saturating_sub(start.elapsed()),
            Self::Virtual(_) => Duration::ZERO,
        }
    }
}

fn put(file: &File, place: usize, value: u64) -> io::Result<()> {
    file.write_all_at(&value.to_ne_bytes(), place as u64 * 8)
}

fn get(file: &File, place: usize) -> io::Result<u64> {
    let mut bytes = [0; 8];
    file.read_exact_at(&mut bytes, place as u64 * 8)?;
    Ok(u64::from_ne_bytes(bytes))
}
