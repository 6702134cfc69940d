//! A simulated 24-series I2C EEPROM that behaves like the real one.
//!
//! The chip sees what a real chip sees: START, bytes, acknowledge bits, STOP, supply and time. It shares no code with any
//! driver. A [`Rig`] is a bus with chips, a virtual clock, a trace, detectors for every [`Hazard`] and a ledger of what a
//! program meant to store.
//!
//! ```
//! use embedded_hal::i2c::I2c;
//! use pagewise_simulator::{ChipModel, Hazard, Rig, RigConfig, Straps};
//!
//! // A program that does not know about pages writes 48 bytes at 0x0010 of a part with 32-byte pages.
//! let rig = Rig::new(RigConfig::default());
//! let chip = rig.attach(ChipModel::example_32_kbit(), Straps::GROUND);
//! let data: Vec<u8> = (0..48).collect();
//! rig.meant(chip, 0x10, &data);
//! let mut message = vec![0x00, 0x10];
//! message.extend_from_slice(&data);
//! rig.bus().write(0x50, &message)?;
//! rig.advance_ns(5_000_000);
//!
//! let losses = rig.explain();
//! assert_eq!(losses[0].text, "16 bytes at 0x0010 overwritten by bytes meant for 0x0030: page wrap at 32");
//! assert_eq!(losses[1].text, "32 bytes meant for 0x0020 landed at 0x0000: page wrap at 32");
//! assert!(rig.finish().iter().any(|incident| incident.hazard == Hazard::PageWrap));
//! # Ok::<(), pagewise_simulator::BusError>(())
//! ```
//!
//! # Layers
//!
//! From the pins outwards: a chip (one part, seen from its pins) is called by a front end, either the byte level or the
//! [`wire`] level, and says what happens to it as [`Note`]s. The world of a [`Rig`] puts chips on a bus, moves the
//! clock and the supply, lays [`Faults`] over it, and hands notes and traffic to the trace, the detectors and the
//! ledger. Controllers drive the bus: [`RigBus`] (embedded-hal, with the [`Quirks`] of HALs; [`Preset`] names real
//! ones), its async twin, [`StepBus`], and [`BitBang`] over the pins of the wire level. [`CutExplorer`] runs a program
//! with the supply lost at every point of it.
//!
//! # Time
//!
//! Virtual nanoseconds; [`time`] says what each thing on the bus costs. Byte level and wire level agree to the
//! nanosecond when the lines are ideal, and byte for byte when they are not.
//!
//! # What is assumed
//!
//! Data sheets leave much open. That a repeated START drops latched data is an assumption of every model; so is what a
//! torn write cycle leaves behind (choose a [`TornModel`]); so is how an identification page is locked (see the
//! source of the regions). Everything else is an axis of [`ChipModel`].
//!
//! # What is not modelled
//!
//! Clock stretching by these parts (they do none; another device may, [`Rig::attach_stretching`]), several controllers at
//! once, ten-bit addresses, High-speed mode, retention over years, analog levels between low and high, powering a part
//! through its SDA pin (no sheet read states what it does then). Of temperature only the write cycle knows.
//!
//! # Features
//!
//! All additive. `std` (default): value change dumps. `serde`: models, events and faults can be stored. `json`: traces as
//! JSON Lines, and a chip from the environment. `door`: a chip from the command line, without `std`. `async`: a controller
//! for embedded-hal-async. `parallel`: the cut explorer on all cores. `recording`: recordings of real buses, read and
//! replayed. The core is
//! `no_std` with `alloc`, forbids `unsafe`, and needs no clock and no randomness of the host.
//!
//! # How to add
//!
//! - A rule of a chip: an axis in [`model`] (additive), the behaviour in `chip/`, a test named after the rule. If the
//!   outside should know, a [`Note`].
//! - A hazard's detector: a file in `detector/` that makes text from a [`Note`] or from a finished stretch of traffic, its
//!   call in `detector.rs`, a test that it fires and one that it keeps quiet.
//! - A fault: a variant of [`Fault`], its place checked in `fault.rs`, its effect where the thing happens.
//! - A habit of a HAL: a field of [`Quirks`], its effect in `bus/transfer.rs` (and in `bus/layer.rs` if it can be done
//!   around a foreign bus), a row in `bus/preset.rs` with its source.
#![cfg_attr(not(feature = "std"), no_std)]
#![forbid(unsafe_code)]

extern crate alloc;
#[cfg(feature = "std")]
extern crate std;

pub mod bus;
mod chip;
mod course;
mod detector;
#[cfg(any(feature = "door", feature = "json"))]
pub mod door;
mod event;
pub mod explore;
mod fault;
mod foreign;
pub mod hazard;
mod ledger;
pub mod model;
#[cfg(feature = "recording")]
pub mod recording;
mod rig;
mod rng;
mod segment;
mod supply;
pub mod time;
mod timing;
pub mod trace;
pub mod wire;
mod world;

#[cfg(feature = "async")]
pub use bus::asynch::{AsyncRigBus, block_on};
pub use bus::bit_bang::{BitBang, BitBangError, ResetShape};
pub use bus::layer::{BusLayer, LayerError};
pub use bus::pins::{Wire, WirePin};
pub use bus::preset::Preset;
pub use bus::quirks::{AdjacentWrites, Cancelled, DirectionChange, NackKind, OverLimit, ZeroLength};
pub use bus::{BusError, BusFault, Quirks, RigBus, RigDelay, StepBus};
pub use chip::Straps;
pub use chip::running::CycleTime;
pub use chip::torn::TornModel;
pub use course::{Cut, Step, steps};
pub use detector::Incident;
pub use detector::wrong_family::OtherFamily;
pub use event::{ChipId, Event, EventKind, Level, Line, Note, Pin};
pub use explore::{CutCase, CutExplorer, CutFailure, CutProgram, CutReport};
pub use fault::{Fault, FaultHit, FaultKind, Faults, Ratio, UnknownPlace};
pub use hazard::Hazard;
pub use ledger::Loss;
pub use model::ChipModel;
pub use rig::replay::{BadTrace, Replayed};
pub use rig::state::{ChipPhase, ChipState, CycleState, LatchState};
pub use rig::{PowerUp, Rig, RigConfig, Snapshot};
pub use supply::SupplyProfile;
pub use time::ClockPlan;
pub use timing::TimingParameter;
pub use wire::WireConfig;
