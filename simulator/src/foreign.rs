//! Devices on the bus that are not EEPROMs of ours.

use alloc::string::String;

/// A device that is not an EEPROM of ours: it answers one address, takes anything and reads as zeros.
#[derive(Debug, Clone)]
pub(crate) struct Other {
    pub(crate) address: u8,
    pub(crate) name: String,
    /// For so long it holds SCL low after each byte of its transfers.
    pub(crate) stretch_ns: u64,
    pub(crate) selected: bool,
    /// Wire level: the byte after START has come, and it asked to read.
    pub(crate) addressed: bool,
    pub(crate) reading: bool,
}
