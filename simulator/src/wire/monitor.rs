//! An observer at the lines that writes down what the byte level would: conditions and bytes.

use crate::wire::front::Filtered;
use crate::wire::limits::Checker;

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
    /// What was last to change SDA was the controller.
    pub(crate) by_controller: bool,
    /// Against the limits of the bus mode, if they are to be checked.
    pub(crate) checker: Option<Checker>,
}

impl Monitor {
    pub(crate) fn new(t_sp: u64) -> Self {
        Self {
            sda: Filtered::settled(true),
            scl: Filtered::settled(true),
            t_sp,
            in_transfer: false,
            expects_address: false,
            reading: false,
            bits: 0,
            shift: 0,
            begin_ns: 0,
            by_controller: true,
            checker: None,
        }
    }

    /// The transfer that it saw is over: the supply was lost.
    pub(crate) fn forget(&mut self) {
        (self.in_transfer, self.expects_address, self.reading) = (false, false, false);
        (self.bits, self.shift) = (0, 0);
    }

    pub(crate) fn due(&self) -> u64 {
        self.scl.due(self.t_sp).min(self.sda.due(self.t_sp))
    }
}
