//! Records that survive the loss of supply (feature `records`): a few small values, each with an identity, a version
//! and a CRC, as boards keep them: identity, calibration, counters.
//!
//! # How it works
//!
//! Each record has a ring of at least three *slots*. A slot begins at a page and shares no page with anything else. A
//! write goes to the slot after the newest one, with the next sequence number, and is read back before it counts. The
//! newest slot whose CRC is right is the value. So a write never touches the value that it replaces, nor the one
//! before.
//!
//! # What survives
//!
//! | Supply is lost | Afterwards the record holds |
//! |---|---|
//! | outside a write | the value |
//! | in a write, before its last write cycle has begun | the old value |
//! | in the last write cycle of a write | the old or the new value |
//! | after the write has returned `Ok` | the new value |
//!
//! Other records are never touched, since they are in other pages. This holds for every state in which a part may leave
//! the page in flight, wrong bytes with a right CRC excepted (one in 2^32). The README has the number of cuts that were
//! tried, and what they left.
//!
//! Why three slots: a page that was cut may read well once and badly later. Its value, never acknowledged, may be seen
//! and then be gone; but the last acknowledged one must still be there when the next write is cut too. A ring of `n`
//! slots survives `n - 2` such cuts in a row, each of which left a page that read well once.
//!
//! # Wear
//!
//! A record in a ring of `n` slots stands `n` times the endurance of its pages. A counter is a record of eight bytes;
//! give it as many slots as its rate demands.
//!
//! # Format 1, byte by byte
//!
//! All numbers are little-endian. A slot, from its first byte:
//!
//! | Offset | Bytes | Content |
//! |---|---|---|
//! | 0 | 1 | format: 0xB1 (record, format 1); erased and zeroed memory is none |
//! | 1 | 1 | identity of the record |
//! | 2 | 1 | version of the payload, free for the user |
//! | 3 | 2 | length of the payload in bytes, `n` |
//! | 5 | 4 | sequence number; 1 for the first write |
//! | 9 | `n` | payload |
//! | 9 + `n` | 4 | CRC-32 (CRC-32/ISO-HDLC) of all bytes before it |
//!
//! The slots of a record lie one after the other; the records of a store lie one after the other, in the order of the
//! layout, each slot padded to whole pages. The payload of a counter is its value as eight bytes.

#[cfg(feature = "async")]
mod async_medium;
#[cfg(feature = "async")]
mod asynch;
mod error;
mod layout;
mod medium;
mod plan;
mod store;

#[cfg(feature = "async")]
pub use async_medium::AsyncMedium;
#[cfg(feature = "async")]
pub use asynch::AsyncRecordStore;
pub use error::{RecordError, Stored};
pub use layout::{LayoutError, RecordLayout, RecordSpec};
pub use medium::Medium;
pub use store::RecordStore;

/// First byte of a slot in format 1.
const FORMAT_1: u8 = 0xB1;
/// Bytes before the payload.
const HEAD_BYTES: usize = 9;
/// Bytes before and after the payload.
const FRAME_BYTES: u32 = 13;
