//! The controller, at bytes or at edges.

use alloc::boxed::Box;
use alloc::vec;
use alloc::vec::Vec;

use embedded_hal::i2c::Operation;
use pagewise_simulator::{BitBang, ResetShape, Rig, RigDelay, StepBus, WirePin};

use crate::board::Bench;

pub(crate) enum Controller {
    Bytes { bus: StepBus, rig: Rig },
    Edges { bus: Box<BitBang<WirePin, WirePin, RigDelay>>, bench: Box<Bench>, rig: Rig },
}

impl Controller {
    pub(crate) fn new(bench: &Bench, rig: &Rig) -> Self {
        match bench.wire() {
            Some(config) => {
                Self::Edges { bus: Box::new(rig.bit_bang(config)), bench: Box::new(bench.clone()), rig: rig.clone() }
            }
            None => Self::Bytes { bus: rig.bus().steps(), rig: rig.clone() },
        }
    }

    /// Starts anew, as after a loss of supply.
    pub(crate) fn anew(&mut self) {
        *self = match self {
            Self::Bytes { rig, .. } => Self::Bytes { bus: rig.bus().steps(), rig: rig.clone() },
            Self::Edges { bench, rig, .. } => Self::new(bench, rig),
        };
    }

    pub(crate) fn start(&mut self) -> bool {
        match self {
            Self::Bytes { bus, .. } => bus.start().is_ok(),
            Self::Edges { bus, .. } => bus.start().is_ok(),
        }
    }

    pub(crate) fn send(&mut self, byte: u8) -> bool {
        match self {
            Self::Bytes { bus, .. } => bus.send(byte),
            Self::Edges { bus, .. } => bus.send(byte).unwrap_or(false),
        }
    }

    pub(crate) fn receive(&mut self, ack: bool) -> u8 {
        match self {
            Self::Bytes { bus, .. } => bus.receive(ack),
            Self::Edges { bus, .. } => bus.receive(ack).unwrap_or(0xFF),
        }
    }

    /// STOP. `refused` is what was asked for, where the chip refused a part of it.
    pub(crate) fn stop(&mut self, refused: Option<(u8, &[u8], usize)>) -> bool {
        match (self, refused) {
            (Self::Bytes { bus, .. }, Some((address, wrote, read))) => {
                let mut buffer = vec![0; read];
                let mut asked = Vec::new();
                if !wrote.is_empty() {
                    asked.push(Operation::Write(wrote));
                }
                if read > 0 {
                    asked.push(Operation::Read(&mut buffer));
                }
                bus.stop_after(address, &asked, false).is_ok()
            }
            (Self::Bytes { bus, .. }, None) => bus.stop().is_ok(),
            (Self::Edges { bus, .. }, _) => bus.stop().is_ok(),
        }
    }

    pub(crate) fn abandon(&mut self, bits: u8) {
        match self {
            Self::Bytes { bus, .. } => bus.abandon(bits),
            Self::Edges { bus, .. } => {
                let clocked = (0..bits).all(|_| bus.clock(true).is_ok());
                // Pins of a rig do not fail, and a held line is what this is about.
                let _ = clocked && bus.abandon().is_ok();
            }
        }
    }

    pub(crate) fn recover(&mut self) {
        match self {
            Self::Bytes { bus, rig } => {
                rig.bus().recover();
                *bus = rig.bus().steps();
            }
            // That the line is still held shows at the next START.
            Self::Edges { bus, .. } => drop(bus.software_reset(ResetShape::StartNineClocksStartStop)),
        }
    }
}
