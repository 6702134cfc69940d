//! What reading and writing records comes to.

use core::fmt;

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
    /// The record is not a counter: its payload has another length than 8 bytes, or its value is at the end.
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
