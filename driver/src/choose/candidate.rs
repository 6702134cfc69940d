//! What may be fitted, and why none of it was chosen.

use core::fmt;

use crate::geometry::Geometry;

/// A part that may be fitted, and where its record lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub struct Candidate {
    /// The part.
    pub geometry: Geometry,
    /// Offset of a record with a check value.
    pub record_offset: u32,
    /// Length of the record in bytes, at least 1. The record must not be one byte repeated.
    pub record_bytes: usize,
}

impl Candidate {
    /// A part, and offset and length in bytes of its record.
    pub const fn new(geometry: Geometry, record_offset: u32, record_bytes: usize) -> Self {
        Self { geometry, record_offset, record_bytes }
    }
}

/// Whether a longer header may be sent to a part that may take a shorter one.
///
/// A part with one word-address byte takes the second byte of a two-byte header for data. In a read, a repeated START
/// follows, upon which parts drop that byte and write nothing. But a HAL that makes STOP and START of a repeated START
/// would write it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum LongerHeader {
    /// Never: only the candidates with the fewest word-address bytes are tried.
    Refuse,
    /// After all candidates with a shorter header have failed. Only on a HAL that makes a true repeated START.
    AfterShorter,
}

/// Why no part was chosen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum ChooseError<E> {
    /// A record does not lie inside its part or has no length; nothing was sent.
    OutOfRange {
        /// Index of the candidate.
        index: usize,
        /// Offset of its record.
        offset: u32,
        /// Length of its record in bytes.
        length: usize,
        /// Capacity of the part in bytes.
        capacity: u32,
    },
    /// The scratch memory does not hold the longest record; nothing was sent.
    ScratchTooSmall {
        /// Bytes needed.
        needed: usize,
    },
    /// Two candidates fit: their records cannot be told apart.
    Ambiguous {
        /// Index of one.
        first: usize,
        /// Index of the other.
        second: usize,
    },
    /// No candidate fits.
    NoneFits {
        /// Candidates that were not tried, since they take a longer header.
        untried: usize,
    },
    /// The bus reported an error other than a missing ACK.
    Bus(E),
}

impl<E: fmt::Debug> fmt::Display for ChooseError<E> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::OutOfRange { index, offset, length, capacity } => write!(
                f,
                "candidate {index}: no record of {length} bytes at offset {offset:#06x}, capacity {capacity} bytes"
            ),
            Self::ScratchTooSmall { needed } => write!(f, "scratch memory too small: {needed} bytes needed"),
            Self::Ambiguous { first, second } => {
                write!(f, "candidates {first} and {second} both fit: their records cannot be told apart")
            }
            Self::NoneFits { untried } => write!(f, "no candidate fits, {untried} not tried (longer header)"),
            Self::Bus(error) => write!(f, "bus error: {error:?}"),
        }
    }
}

impl<E: fmt::Debug> core::error::Error for ChooseError<E> {}
