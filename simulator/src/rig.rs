//! A rig: a simulated bus with its chips, its clock and its observers.

mod conditions;
mod inspect;
pub(crate) mod replay;
pub(crate) mod state;

use alloc::rc::Rc;
use alloc::string::ToString;
use alloc::vec::Vec;
use core::cell::RefCell;

use crate::bus::bit_bang::BitBang;
use crate::bus::pins::{Wire, WirePin};
use crate::bus::{Quirks, RigBus, RigDelay};
use crate::chip::{Chip, Straps};
use crate::detector::wrong_family::OtherFamily;
use crate::event::ChipId;
use crate::foreign::Other;
use crate::model::ChipModel;
use crate::wire::WireConfig;
use crate::world::World;

/// What a rig starts with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RigConfig {
    /// SCL rate in hertz.
    pub scl_hz: u32,
    /// Supply in millivolts.
    pub supply_mv: u32,
    /// Seed of everything that is drawn: levels of open pins, durations, pointers, garbage.
    pub seed: u64,
}

impl Default for RigConfig {
    /// 400 kHz, 3.3 V, seed 1.
    fn default() -> Self {
        Self { scl_hz: 400_000, supply_mv: 3300, seed: 1 }
    }
}

impl RigConfig {
    /// The same at another SCL rate in hertz.
    #[must_use]
    pub const fn with_scl_hz(mut self, scl_hz: u32) -> Self {
        self.scl_hz = scl_hz;
        self
    }

    /// The same at another supply in millivolts.
    #[must_use]
    pub const fn with_supply_mv(mut self, supply_mv: u32) -> Self {
        self.supply_mv = supply_mv;
        self
    }

    /// The same with another seed.
    #[must_use]
    pub const fn with_seed(mut self, seed: u64) -> Self {
        self.seed = seed;
        self
    }
}

/// Contents of a chip when it is attached (rule W10).
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub enum PowerUp {
    /// All 0xFF.
    #[default]
    Erased,
    /// These bytes from offset 0 on, the rest erased. Bytes beyond the capacity are left out.
    Image(Vec<u8>),
    /// Drawn from the seed.
    Random,
}

/// The state of a rig; see [`Rig::snapshot`].
#[derive(Debug, Clone)]
pub struct Snapshot(World);

impl Snapshot {
    /// A new rig in this state.
    #[must_use]
    pub fn rig(&self) -> Rig {
        Rig { world: Rc::new(RefCell::new(self.0.clone())) }
    }
}

/// A simulated bus. Clones are handles to the same one.
///
/// ```
/// use embedded_hal::i2c::I2c;
/// use pagewise_simulator::{ChipModel, CycleTime, Rig, RigConfig, Straps};
///
/// let rig = Rig::new(RigConfig::default());
/// let chip = rig.attach(ChipModel::example_32_kbit(), Straps::GROUND);
/// rig.set_write_cycle(chip, CycleTime::Max);
/// rig.bus().write(0x50, &[0x00, 0x10, 0xAB])?;
/// assert!(rig.busy(chip));
/// rig.advance_ns(5_000_000);
/// assert_eq!(rig.memory(chip)[0x10], 0xAB);
/// assert!(rig.incidents().is_empty());
/// # Ok::<(), pagewise_simulator::BusError>(())
/// ```
#[derive(Debug, Clone)]
pub struct Rig {
    pub(crate) world: Rc<RefCell<World>>,
}

impl Default for Rig {
    fn default() -> Self {
        Self::new(RigConfig::default())
    }
}

impl Rig {
    /// A bus without chips. Trace and detectors are on.
    #[must_use]
    pub fn new(config: RigConfig) -> Self {
        Self { world: Rc::new(RefCell::new(World::new(config.scl_hz, config.supply_mv, config.seed))) }
    }

    /// Attaches an erased chip. The supply has been on for long.
    ///
    /// # Panics
    ///
    /// If the model contradicts itself: see [`ChipModel::check`].
    pub fn attach(&self, model: ChipModel, straps: Straps) -> ChipId {
        self.attach_with(model, straps, PowerUp::Erased)
    }

    /// Attaches a chip with contents. The supply has been on for long.
    ///
    /// # Panics
    ///
    /// If the model contradicts itself: see [`ChipModel::check`].
    pub fn attach_with(&self, model: ChipModel, straps: Straps, contents: PowerUp) -> ChipId {
        if let Err(reason) = model.check() {
            panic!("model {}: {reason}", model.name);
        }
        let world = &mut *self.world.borrow_mut();
        let index = world.chips.len();
        let mut rng = world.rng.fork(index as u64 + 1);
        let mut random = rng.fork(0xC0);
        let mut chip = Chip::new(model, straps, world.supply_mv, world.scl_hz, rng);
        match contents {
            PowerUp::Erased => chip.place_factory_contents(0),
            PowerUp::Image(bytes) => {
                let len = bytes.len().min(chip.array.len());
                chip.array.write(0, &bytes[..len]);
                chip.place_factory_contents(len as u32);
            }
            PowerUp::Random => {
                for offset in 0..chip.array.len() as u32 {
                    chip.array.set(offset, random.byte());
                }
                chip.place_factory_contents(0);
            }
        }
        chip.wp_times.faulty = world.overclock_faults;
        world.chips.push(chip);
        world.hang_on_wire(index);
        world.hear_notes();
        ChipId(index)
    }

    /// Attaches a foreign device: it acknowledges its 7-bit address and every byte, stores nothing and reads as 0x00.
    pub fn attach_other(&self, address: u8, name: &str) {
        self.attach_stretching(address, name, 0);
    }

    /// The same, and while it is addressed it holds SCL low for this long after each byte (clock stretching, UM10204 Rev.6
    /// 3.1.9). A bit-banging controller waits for it only if told to: [`BitBang::waiting`].
    pub fn attach_stretching(&self, address: u8, name: &str, stretch_ns: u64) {
        let other =
            Other { address, name: name.to_string(), stretch_ns, selected: false, addressed: false, reading: false };
        let world = &mut *self.world.borrow_mut();
        world.others.push(other);
        world.hang_on_wire(world.chips.len() + world.others.len() - 1);
    }

    /// Puts a part of another family where firmware expects an EEPROM at `address`: it stays silent.
    pub fn attach_wrong_family(&self, address: u8, family: OtherFamily) {
        self.world.borrow_mut().silent.push((address, family));
    }

    /// A controller that keeps the contract of embedded-hal.
    #[must_use]
    pub fn bus(&self) -> RigBus {
        self.bus_with(Quirks::default())
    }

    /// A controller with the habits of some HAL.
    #[must_use]
    pub fn bus_with(&self, quirks: Quirks) -> RigBus {
        RigBus::new(self.world.clone(), quirks)
    }

    /// An async controller with the habits of some HAL, on the same clock.
    #[cfg(feature = "async")]
    #[must_use]
    pub fn async_bus_with(&self, quirks: Quirks) -> crate::bus::asynch::AsyncRigBus {
        crate::bus::asynch::AsyncRigBus::new(self.world.clone(), quirks)
    }

    /// An async controller that keeps the contract of embedded-hal.
    #[cfg(feature = "async")]
    #[must_use]
    pub fn async_bus(&self) -> crate::bus::asynch::AsyncRigBus {
        self.async_bus_with(Quirks::default())
    }

    /// The lines of the bus, with pins for a controller. A rig has one pair of lines: calling this again gives pins at the
    /// same ones, which get the new properties and keep their levels, devices and log.
    #[must_use]
    pub fn wire(&self, config: WireConfig) -> Wire {
        Wire::new(self.world.clone(), config)
    }

    /// A bit-banging controller at the lines, with the clock plan of the rig.
    #[must_use]
    pub fn bit_bang(&self, config: WireConfig) -> BitBang<WirePin, WirePin, RigDelay> {
        let wire = self.wire(config);
        let (scl_hz, plan) = (self.world.borrow().scl_hz, self.world.borrow().plan);
        match BitBang::new(wire.sda(), wire.scl(), self.delay(), scl_hz) {
            Ok(bus) => bus.with_plan(plan),
            Err(error) => unreachable!("pins of a rig do not fail: {error}"),
        }
    }

    /// Delays on the same clock.
    #[must_use]
    pub fn delay(&self) -> RigDelay {
        RigDelay::new(self.world.clone())
    }

    /// Passes over polls that are refused whatever happens; the next one may be answered, or that is not certain. Each poll
    /// is a write of `header` to `address`, or a read of one byte without a header, followed by `pause_ns`; all take at most
    /// `within_ns`, in virtual nanoseconds. To be called where such a poll was just refused, its pause is over, and the next
    /// one follows; nothing but time tells it from polling, and nothing is passed over while the trace is on.
    pub fn pass_polls(&self, address: u8, header: &[u8], pause_ns: u64, within_ns: u64) {
        self.world.borrow_mut().pass_polls(address, header, pause_ns, within_ns);
    }

    /// Virtual time since the rig was made.
    #[must_use]
    pub fn now_ns(&self) -> u64 {
        self.world.borrow().now
    }

    /// Lets time pass.
    ///
    /// # Panics
    ///
    /// If the clock would pass [`crate::time::END_NS`]; nothing has happened then.
    pub fn advance_ns(&self, ns: u64) {
        self.world.borrow_mut().pass(ns);
    }
}
