//! The journal of a line: JSON Lines, one record per event, appended and put on the disk before the line goes on.
//!
//! `begin` stands there before the first byte is written to a part, `good` only after everything has been read back.
//! Whatever happens in between, a unit without a `good` behind its last `begin` is not good; and `good` counts for this
//! unit, this image, this part and this bus only ([`history`]). Lines are chained by digest ([`chain`]). A last line that
//! was torn by a loss of supply is not a record; it is cut off when the next one is written. Any other line that is not
//! understood is refused and stays ([`mod@file`]).

pub mod chain;
pub mod file;
pub mod history;
pub mod record;

pub use file::Journal;
pub use history::{History, Site, Sought};
pub use record::{Event, Particulars, Record, now};
