//! Stretches from a START to the next START or STOP.

use std::vec::Vec;

use crate::recording::decode::{BusByte, BusEvent, Events, Role};
use crate::recording::error::RecordingError;

/// Bytes of a stretch that are kept; what goes beyond is counted.
const KEPT_BYTES: usize = 1_048_576;

/// How a stretch ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SegmentEnd {
    /// By a STOP.
    Stop,
    /// By a START without STOP.
    Restart,
    /// The supply went away.
    PowerDown,
    /// The recording ended before it did.
    Recording,
}

/// A stretch from a START to the next START or STOP.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BusSegment {
    /// When it began: START, in nanoseconds from the start of the recording.
    pub start_ns: u64,
    /// No STOP came before its START.
    pub repeated: bool,
    /// Its first byte: device address and R/W.
    pub address: Option<BusByte>,
    /// Values of the bytes after it: the first 1048576 of them.
    pub bytes: Vec<u8>,
    /// Number of bytes after it, those not kept included.
    pub len: u64,
    /// The last of them was acknowledged (by the device in a write, by the controller in a read).
    pub last_acked: bool,
    /// When the last whole byte ended.
    pub last_byte_ns: u64,
    /// When it ended.
    pub end_ns: u64,
    /// How it ended.
    pub end: SegmentEnd,
    /// Whole bits of a byte that its end cut short.
    pub cut_bits: u8,
}

impl BusSegment {
    fn open(start_ns: u64, repeated: bool) -> Self {
        Self {
            start_ns,
            repeated,
            address: None,
            bytes: Vec::new(),
            len: 0,
            last_acked: false,
            last_byte_ns: start_ns,
            end_ns: start_ns,
            end: SegmentEnd::Recording,
            cut_bits: 0,
        }
    }

    fn take(&mut self, byte: BusByte) {
        self.last_byte_ns = byte.end_ns;
        if byte.role == Role::Address {
            self.address = Some(byte);
            return;
        }
        if self.bytes.len() < KEPT_BYTES {
            self.bytes.push(byte.value);
        }
        self.len += 1;
        self.last_acked = byte.acked;
    }

    fn close(mut self, end_ns: u64, end: SegmentEnd, cut_bits: u8) -> Self {
        (self.end_ns, self.end, self.cut_bits) = (end_ns, end, cut_bits);
        self
    }

    /// The 7-bit device address.
    #[must_use]
    pub fn device(&self) -> Option<u8> {
        self.address.map(|byte| byte.value >> 1)
    }

    /// R/W = 1.
    #[must_use]
    pub fn is_read(&self) -> bool {
        self.address.is_some_and(|byte| byte.value & 1 == 1)
    }

    /// The device address was acknowledged.
    #[must_use]
    pub fn answered(&self) -> bool {
        self.address.is_some_and(|byte| byte.acked)
    }
}

/// A stretch, or what lies between stretches.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Seen {
    /// A stretch is over.
    Segment(BusSegment),
    /// The supply was recorded, and is on or off from here on.
    Supply {
        /// When.
        at_ns: u64,
        /// Whether it is on.
        on: bool,
        /// Millivolts, where the recording has them.
        mv: Option<u32>,
    },
    /// The recording ends.
    End {
        /// When.
        at_ns: u64,
    },
}

/// Iterator over the stretches of a recording.
#[derive(Debug)]
pub struct Segments {
    events: Events,
    open: Option<BusSegment>,
    next: Option<Seen>,
}

impl Segments {
    pub(crate) fn new(events: Events) -> Self {
        Self { events, open: None, next: None }
    }

    /// The events underneath: health, timing, progress.
    #[must_use]
    pub fn events(&self) -> &Events {
        &self.events
    }

    fn take(&mut self, event: BusEvent) -> Option<Seen> {
        match event {
            BusEvent::Start { at_ns, repeated, cut_bits } => {
                let before = self.open.replace(BusSegment::open(at_ns, repeated))?;
                Some(Seen::Segment(before.close(at_ns, SegmentEnd::Restart, cut_bits)))
            }
            BusEvent::Byte(byte) => {
                self.open.as_mut()?.take(byte);
                None
            }
            BusEvent::Stop { at_ns, cut_bits } => {
                Some(Seen::Segment(self.open.take()?.close(at_ns, SegmentEnd::Stop, cut_bits)))
            }
            BusEvent::Supply { at_ns, on, mv } => {
                self.close_before(at_ns, SegmentEnd::PowerDown, on, |at_ns| Seen::Supply { at_ns, on, mv })
            }
            BusEvent::End { at_ns, .. } => {
                self.close_before(at_ns, SegmentEnd::Recording, false, |at_ns| Seen::End { at_ns })
            }
        }
    }

    /// What is said next, after the stretch that is open and does not go on.
    fn close_before(&mut self, at_ns: u64, end: SegmentEnd, goes_on: bool, say: impl Fn(u64) -> Seen) -> Option<Seen> {
        if goes_on {
            return Some(say(at_ns));
        }
        match self.open.take() {
            None => Some(say(at_ns)),
            Some(open) => {
                self.next = Some(say(at_ns));
                Some(Seen::Segment(open.close(at_ns, end, 0)))
            }
        }
    }
}

impl Iterator for Segments {
    type Item = Result<Seen, RecordingError>;

    fn next(&mut self) -> Option<Self::Item> {
        if let Some(seen) = self.next.take() {
            return Some(Ok(seen));
        }
        loop {
            match self.events.next()? {
                Err(error) => return Some(Err(error)),
                Ok(event) => {
                    if let Some(seen) = self.take(event) {
                        return Some(Ok(seen));
                    }
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn of_a_long_stretch_the_first_bytes_are_kept_and_all_counted() {
        let mut segment = BusSegment::open(0, false);
        for n in 0..=KEPT_BYTES {
            let (role, value, acked) = (Role::Read, n as u8, n < KEPT_BYTES);
            segment.take(BusByte { role, value, acked, begin_ns: 0, rises_ns: [0; 9], end_ns: n as u64 });
        }
        assert_eq!((segment.bytes.len(), segment.bytes.last()), (1_048_576, Some(&0xFF)));
        assert_eq!((segment.len, segment.last_acked, segment.last_byte_ns), (1_048_577, false, 1_048_576));
    }
}
