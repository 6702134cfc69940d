//! An observer at the lines that writes down what the byte level would: conditions and bytes.

use crate::wire::front::Filtered;

/// Decodes the lines behind the widest spike filter of the bus, so that every chip has decided before it does.
#[derive(Debug, Clone)]
pub(crate) struct Monitor {
    pub(crate) sda: Filtered,
    pub(crate) scl: Filtered,
    pub(crate) t_sp: u64,
    pub(crate) in_transfer: bool,
    pub(crate) expects_address: bool,
    pub(crate) reading: bool,
    pub(crate) bits: u8,
    pub(crate) shift: u8,
    pub(crate) begin_ns: u64,
}

impl Monitor {
    pub(crate) fn new(t_sp: u64) -> Self {
        Self {
            sda: Filtered::HIGH,
            scl: Filtered::HIGH,
            t_sp,
            in_transfer: false,
            expects_address: false,
            reading: false,
            bits: 0,
            shift: 0,
            begin_ns: 0,
        }
    }

    pub(crate) fn due(&self) -> u64 {
        self.scl.due(self.t_sp).min(self.sda.due(self.t_sp))
    }
}
