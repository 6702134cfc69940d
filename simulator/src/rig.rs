//! A rig: a simulated bus with its chips, its clock and its observers.

use alloc::rc::Rc;
use alloc::string::{String, ToString};
use alloc::vec::Vec;
use core::cell::RefCell;

use crate::bus::{Quirks, RigBus, RigDelay};
use crate::chip::cycle::CycleTime;
use crate::chip::torn::TornModel;
use crate::chip::{Chip, Straps};
use crate::detector::wrong_family::OtherFamily;
use crate::detector::{Finding, Incident};
use crate::event::{ChipId, Event, EventKind, Level};
use crate::fault::{FaultHit, Faults, UnknownPlace};
use crate::ledger::{Ledger, Loss};
use crate::model::ChipModel;
use crate::supply::SupplyProfile;
use crate::time::ClockPlan;
use crate::trace;
use crate::wire::bit_bang::BitBang;
use crate::wire::{Line, Wire, WireConfig, WirePin};
use crate::world::{Other, World};

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
        world.chips.push(chip);
        world.extend_wire();
        world.hear_notes();
        ChipId(index)
    }

    /// Attaches a foreign device: it acknowledges its 7-bit address and every byte, stores nothing and reads as 0x00.
    pub fn attach_other(&self, address: u8, name: &str) {
        let other = Other { address, name: name.to_string(), selected: false, addressed: false, reading: false };
        let world = &mut *self.world.borrow_mut();
        world.others.push(other);
        world.extend_wire();
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

    /// The lines of the bus, with pins for a controller. A rig has one pair of lines; calling this again lays them anew.
    #[must_use]
    pub fn wire(&self, config: WireConfig) -> Wire {
        Wire::new(self.world.clone(), config)
    }

    /// A bit-banging controller at the lines, at the SCL rate of the rig.
    #[must_use]
    pub fn bit_bang(&self, config: WireConfig) -> BitBang<WirePin, WirePin, RigDelay> {
        let wire = self.wire(config);
        let scl_hz = self.world.borrow().scl_hz;
        match BitBang::new(wire.sda(), wire.scl(), self.delay(), scl_hz) {
            Ok(bus) => bus,
            Err(error) => unreachable!("pins of a rig do not fail: {error}"),
        }
    }

    /// Levels of the lines over time, while the trace is on: time in nanoseconds, line, level. Both begin high.
    #[must_use]
    pub fn waves(&self) -> Vec<(u64, Line, bool)> {
        self.world.borrow().wire.as_ref().map(|wire| wire.waves.clone()).unwrap_or_default()
    }

    /// Writes the trace as a value change dump: SCL, SDA, supply, and per chip busy and WP. The lines are those recorded
    /// at the wire level, or drawn from the events of the byte level.
    ///
    /// # Errors
    ///
    /// The writer fails.
    #[cfg(feature = "std")]
    pub fn write_vcd(&self, into: &mut impl std::io::Write) -> std::io::Result<()> {
        let events = self.trace();
        let world = self.world.borrow();
        let recorded = world.wire.as_ref().map(|wire| wire.waves.clone()).filter(|waves| !waves.is_empty());
        let waves = recorded.unwrap_or_else(|| trace::waves::from_events(&events, world.plan));
        trace::vcd::write(into, &waves, &events, world.chips.len(), world.initial_supply_mv)
    }

    /// Delays on the same clock.
    #[must_use]
    pub fn delay(&self) -> RigDelay {
        RigDelay::new(self.world.clone())
    }

    /// Contents of the array now; a write cycle that still runs has not changed it yet.
    ///
    /// # Panics
    ///
    /// If the chip is of another rig, like every function that takes a [`ChipId`].
    #[must_use]
    pub fn memory(&self, chip: ChipId) -> Vec<u8> {
        let world = &mut *self.world.borrow_mut();
        world.settle();
        world.chips[chip.0].array.to_vec()
    }

    /// Puts bytes into the array behind the chip's back.
    ///
    /// # Panics
    ///
    /// If they do not fit.
    pub fn load(&self, chip: ChipId, offset: u32, bytes: &[u8]) {
        let world = &mut *self.world.borrow_mut();
        world.settle();
        world.chips[chip.0].array.write(offset, bytes);
    }

    /// Contents of a second region, by its position in the model.
    ///
    /// # Panics
    ///
    /// If there is no such region.
    #[must_use]
    pub fn region(&self, chip: ChipId, region: usize) -> Vec<u8> {
        let world = &mut *self.world.borrow_mut();
        world.settle();
        world.chips[chip.0].regions.data(region).to_vec()
    }

    /// Puts bytes into a second region behind the chip's back.
    ///
    /// # Panics
    ///
    /// If there is no such region.
    pub fn load_region(&self, chip: ChipId, region: usize, bytes: &[u8]) {
        self.world.borrow_mut().chips[chip.0].regions.load(region, bytes);
    }

    /// Whether a second region has been locked, or its protection been set.
    ///
    /// # Panics
    ///
    /// If there is no such region.
    #[must_use]
    pub fn region_locked(&self, chip: ChipId, region: usize) -> bool {
        let world = &mut *self.world.borrow_mut();
        world.settle();
        let regions = &world.chips[chip.0].regions;
        regions.locked(region) || regions.protection_set(region)
    }

    /// Puts A0 of a chip at high voltage, which reversible software protection needs, or takes it away.
    pub fn set_a0_high_voltage(&self, chip: ChipId, on: bool) {
        self.world.borrow_mut().chips[chip.0].regions.high_voltage = on;
    }

    /// Moves the WP pin.
    pub fn set_wp(&self, chip: ChipId, level: Level) {
        let world = &mut *self.world.borrow_mut();
        let now = world.now;
        world.emit(now, EventKind::WriteProtectPin { chip, level });
        world.chips[chip.0].set_wp(now, level);
        world.hear_notes();
    }

    /// Sets the supply at once.
    pub fn set_supply_mv(&self, mv: u32) {
        self.world.borrow_mut().apply_supply(mv);
    }

    /// Supply off for a millisecond, on again at the same value, and the longest power-up time of the chips waited for.
    pub fn power_cycle(&self) {
        let world = &mut *self.world.borrow_mut();
        let mv = world.supply_mv;
        world.apply_supply(0);
        world.restore_supply(mv);
    }

    /// Changes the supply at given times from now on; what an earlier profile still had to come is forgotten.
    pub fn set_supply_profile(&self, profile: &SupplyProfile) {
        let world = &mut *self.world.borrow_mut();
        world.supply_ahead = profile.steps().iter().copied().collect();
        world.run_to(world.now);
    }

    /// The supply now, in millivolts.
    #[must_use]
    pub fn supply_mv(&self) -> u32 {
        self.world.borrow().supply_mv
    }

    /// After the supply was lost: off for a millisecond, then on at `mv`, and the longest power-up time waited for.
    pub fn restore_supply_mv(&self, mv: u32) {
        self.world.borrow_mut().restore_supply(mv);
    }

    /// What a write cycle leaves behind when the supply is lost inside it; `draws` seeds what is drawn.
    pub fn set_torn_model(&self, model: TornModel, draws: u64) {
        for (i, chip) in self.world.borrow_mut().chips.iter_mut().enumerate() {
            chip.torn_model = model;
            chip.torn_rng = crate::rng::Rng::new(draws ^ (i as u64) << 48);
        }
    }

    /// Lays faults over the rig, in place of earlier ones.
    ///
    /// # Errors
    ///
    /// The script names a chip or an offset that does not exist; nothing is changed.
    pub fn set_faults(&self, faults: Faults) -> Result<(), UnknownPlace> {
        self.world.borrow_mut().set_faults(faults)
    }

    /// Takes the faults away; stuck bits and wear stay.
    pub fn clear_faults(&self) {
        self.world.borrow_mut().clear_faults();
    }

    /// Faults that took effect so far.
    #[must_use]
    pub fn fault_hits(&self) -> Vec<FaultHit> {
        self.world.borrow().fault_hits.clone()
    }

    /// The array as it reads: with flipped and stuck bits; bits that waver have their last settled value.
    #[must_use]
    pub fn memory_as_read(&self, chip: ChipId) -> Vec<u8> {
        let world = &mut *self.world.borrow_mut();
        world.settle();
        let chip = &world.chips[chip.0];
        let all = chip.array.to_vec();
        all.iter().enumerate().map(|(at, byte)| chip.disturb.over(at as u32, *byte)).collect()
    }

    /// How long the next write cycles of a chip take.
    pub fn set_write_cycle(&self, chip: ChipId, time: CycleTime) {
        self.world.borrow_mut().chips[chip.0].cycle_time = time;
    }

    /// Changes the SCL rate of every byte-level controller, in hertz.
    pub fn set_scl_hz(&self, scl_hz: u32) {
        let world = &mut *self.world.borrow_mut();
        world.scl_hz = scl_hz;
        world.plan = ClockPlan::for_scl_hz(scl_hz);
        for chip in &mut world.chips {
            chip.scl_hz = scl_hz;
        }
    }

    /// With `true`, bytes arrive with flipped bits, drawn from the seed, while SCL is above a chip's grade (rule P2).
    pub fn set_overclock_faults(&self, on: bool) {
        self.world.borrow_mut().overclock_faults = on;
    }

    /// Virtual time since the rig was made.
    #[must_use]
    pub fn now_ns(&self) -> u64 {
        self.world.borrow().now
    }

    /// Lets time pass.
    pub fn advance_ns(&self, ns: u64) {
        let world = &mut *self.world.borrow_mut();
        world.run_to(world.now + ns);
    }

    /// Whether a write cycle runs.
    #[must_use]
    pub fn busy(&self, chip: ChipId) -> bool {
        let world = &mut *self.world.borrow_mut();
        world.settle();
        world.chips[chip.0].cycle.is_some()
    }

    /// Write cycles of the wear unit (byte, group or page, as the model says) that holds `offset`.
    #[must_use]
    pub fn wear(&self, chip: ChipId, offset: u32) -> u64 {
        self.world.borrow().chips[chip.0].wear_of(offset)
    }

    /// Pretends that the wear unit that holds `offset` has seen this many write cycles.
    pub fn set_wear(&self, chip: ChipId, offset: u32, cycles: u64) {
        self.world.borrow_mut().chips[chip.0].set_wear(offset, cycles);
    }

    /// Notes in the ledger that these bytes are meant to be stored; later entries stand above earlier ones.
    pub fn meant(&self, chip: ChipId, offset: u32, bytes: &[u8]) {
        self.world.borrow_mut().ledger.mean(chip.0, offset, bytes);
    }

    /// Where memory differs from the ledger, and why. Empty when everything meant is stored.
    #[must_use]
    pub fn explain(&self) -> Vec<Loss> {
        self.explain_at_most(usize::MAX)
    }

    /// The same, looking at no more than the first `most` lost bytes of each chip: the time grows with lost bytes
    /// times writes, and one loss is often enough to know.
    #[must_use]
    pub fn explain_at_most(&self, most: usize) -> Vec<Loss> {
        let world = &mut *self.world.borrow_mut();
        world.settle();
        world.ledger.explain(&world.chips, most)
    }

    /// What the detectors have reported, in the order of reporting.
    #[must_use]
    pub fn incidents(&self) -> Vec<Incident> {
        let world = &mut *self.world.borrow_mut();
        world.settle();
        world.detectors.incidents.clone()
    }

    /// Forgets the incidents and what the detectors have seen so far.
    pub fn clear_incidents(&self) {
        self.world.borrow_mut().detectors.clear();
    }

    /// The program is over: detectors that were waiting for something to follow decide now, and causes that only the
    /// ledger can know are added. Returns all incidents.
    pub fn finish(&self) -> Vec<Incident> {
        // A cause shows within a few pages of lost bytes; a part that lost everything need not be looked at whole.
        let losses = self.explain_at_most(512);
        let world = &mut *self.world.borrow_mut();
        let now = world.now;
        world.detectors.finish(now);
        for loss in losses {
            let Some(hazard) = loss.cause else { continue };
            let chip = Some(loss.chip);
            let known = world.detectors.incidents.iter().any(|i| i.hazard == hazard && i.chip == chip);
            if !known {
                let text = alloc::format!("{}: {}", world.chips[loss.chip.0].model.name, loss.text);
                world.detectors.report(Finding { chip, at_ns: now, hazard, text });
            }
        }
        world.detectors.incidents.clone()
    }

    /// Every event so far, by time. Empty while the trace is off.
    #[must_use]
    pub fn trace(&self) -> Vec<Event> {
        let world = &mut *self.world.borrow_mut();
        world.settle();
        let mut events = world.trace.clone().unwrap_or_default();
        events.sort_by_key(|event| event.at_ns);
        events
    }

    /// Switches the trace on (empty) or off. Without it, whole runs of bytes are moved at once.
    pub fn set_trace(&self, on: bool) {
        self.world.borrow_mut().trace = on.then(Vec::new);
    }

    /// The trace as text: a line per transfer with time, device address, bytes and acknowledge bits.
    #[must_use]
    pub fn transfers_text(&self) -> String {
        trace::text::transfers(&self.trace())
    }

    /// Forgets what was observed: trace, incidents, ledger, fault hits. Chips, clock and supply stay as they are.
    pub fn forget(&self) {
        let world = &mut *self.world.borrow_mut();
        world.settle();
        world.trace = world.trace.as_ref().map(|_| Vec::new());
        world.detectors.clear();
        world.ledger = Ledger::default();
        world.fault_hits.clear();
    }

    /// The state of everything, to be taken up again any number of times, also on other threads.
    #[must_use]
    pub fn snapshot(&self) -> Snapshot {
        Snapshot(self.world.borrow().clone())
    }

    /// An independent copy of everything, as cheap as a few pointers per 256 bytes of memory.
    #[must_use]
    pub fn fork(&self) -> Self {
        Self { world: Rc::new(RefCell::new(self.world.borrow().clone())) }
    }
}
