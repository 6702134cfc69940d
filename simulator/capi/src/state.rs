//! What stands behind the pointer that C holds.

use std::ffi::CString;

use pagewise_simulator::door::Door;
use pagewise_simulator::{ChipId, RigBus, StepBus, WirePin};

use crate::status::Failure;

/// Both pins of the controller.
pub(crate) struct Pins {
    pub(crate) sda: WirePin,
    pub(crate) scl: WirePin,
}

/// A simulated bus with its chips, its virtual clock, trace and detectors.
pub struct Rig {
    pub(crate) rig: pagewise_simulator::Rig,
    pub(crate) bus: RigBus,
    pub(crate) steps: StepBus,
    /// Chips by their number in C.
    pub(crate) chips: Vec<(ChipId, u32)>,
    /// Reports since the last `pagewise_finish`, kept so that C may point into them.
    pub(crate) reports: Vec<(u64, u32, CString, CString)>,
    /// The controller's pins, once the lines are laid.
    pub(crate) pins: Option<Pins>,
    /// Where the chip came from the environment: tells there what was seen, when the rig is freed.
    pub(crate) door: Option<Door>,
    /// A panic left the simulator in an unknown state.
    pub(crate) broken: bool,
}

impl Rig {
    /// A chip by its number, and its capacity in bytes.
    pub(crate) fn chip(&self, number: u32) -> Result<(ChipId, u32), Failure> {
        let found = self.chips.get(number as usize).copied();
        found.ok_or_else(|| Failure::argument(format!("no chip {number}, the rig has {}", self.chips.len())))
    }
}
