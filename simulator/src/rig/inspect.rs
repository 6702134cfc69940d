//! Looking into a rig: memory, ledger, incidents, trace, copies.

use alloc::rc::Rc;
use alloc::string::String;
use alloc::vec::Vec;
use core::cell::RefCell;

use crate::detector::{Finding, Incident};
use crate::event::{ChipId, Event, Line};
use crate::hazard::Hazard;
use crate::ledger::{Ledger, Loss};
use crate::rig::{Rig, Snapshot};
use crate::trace;
use crate::world::World;

impl Rig {
    /// Looks at the rig without touching it. At the wire level, an edge that a line is still making or that a spike filter
    /// still watches is seen as it will count if the controller leaves the lines as they are.
    pub(crate) fn look<T>(&self, at: impl FnOnce(&World) -> T) -> T {
        let world = &mut *self.world.borrow_mut();
        world.settle();
        match world.decided() {
            Some(ahead) => at(&ahead),
            None => at(world),
        }
    }

    /// How many calls of controllers took the short way, on which nothing is watched because there is nothing to see: what
    /// makes plain random reads and polls fast. Results are the same on both ways.
    #[must_use]
    pub fn short_calls(&self) -> u64 {
        self.world.borrow().short_calls
    }

    /// Levels of the lines over time, while the trace is on: time in nanoseconds, line, level. Both begin high. Traffic of
    /// the wire level as it was, traffic of the byte level as its controller would have made it.
    #[must_use]
    pub fn waves(&self) -> Vec<(u64, Line, bool)> {
        self.look(|world| world.lines.waves(&world.events()))
    }

    /// Writes the trace as a value change dump: SCL and SDA as [`Rig::waves`] has them, supply, and per chip busy and WP.
    ///
    /// # Errors
    ///
    /// The writer fails.
    #[cfg(feature = "std")]
    pub fn write_vcd(&self, into: &mut impl std::io::Write) -> std::io::Result<()> {
        let (events, waves) = self.look(|world| {
            let events = world.events();
            let waves = world.lines.waves(&events);
            (events, waves)
        });
        let world = self.world.borrow();
        let began: Vec<_> = world.chips.iter().map(|chip| chip.began).collect();
        trace::vcd::write(into, &waves, &events, &began, world.traced_supply_mv)
    }

    /// Contents of the array now; a write cycle that still runs has not changed it yet.
    ///
    /// # Panics
    ///
    /// If the chip is of another rig, like every function that takes a [`ChipId`].
    #[must_use]
    pub fn memory(&self, chip: ChipId) -> Vec<u8> {
        self.look(|world| world.chips[chip.0].array.to_vec())
    }

    /// Whether [`Rig::memory`] is just this, without making a copy of it.
    #[must_use]
    pub fn holds(&self, chip: ChipId, bytes: &[u8]) -> bool {
        self.look(|world| world.chips[chip.0].array.holds(bytes))
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
        self.look(|world| world.chips[chip.0].regions.data(region).to_vec())
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
        self.look(|world| {
            let regions = &world.chips[chip.0].regions;
            regions.locked(region) || regions.protection_set(region)
        })
    }

    /// The array as it reads: with flipped and stuck bits; bits that waver have their last settled value.
    #[must_use]
    pub fn memory_as_read(&self, chip: ChipId) -> Vec<u8> {
        self.look(|world| {
            let chip = &world.chips[chip.0];
            let all = chip.array.to_vec();
            all.iter().enumerate().map(|(at, byte)| chip.disturb.over(at as u32, *byte)).collect()
        })
    }

    /// Whether a write cycle runs.
    #[must_use]
    pub fn busy(&self, chip: ChipId) -> bool {
        self.look(|world| world.chips[chip.0].cycle.is_some())
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

    /// The same, looking at no more than the first `most` lost bytes of each chip: one loss is often enough to know.
    #[must_use]
    pub fn explain_at_most(&self, most: usize) -> Vec<Loss> {
        self.look(|world| world.ledger.explain(&world.chips, most))
    }

    /// The first of the losses of [`Rig::explain_at_most`], without looking at the others.
    #[must_use]
    pub fn first_loss(&self, most: usize) -> Option<Loss> {
        self.look(|world| world.ledger.first_loss(&world.chips, most))
    }

    /// What the detectors have reported, in the order of reporting.
    #[must_use]
    pub fn incidents(&self) -> Vec<Incident> {
        self.look(|world| world.detectors.incidents.clone())
    }

    /// The same without the first `known` of them.
    #[must_use]
    pub fn incidents_from(&self, known: usize) -> Vec<Incident> {
        self.look(|world| world.detectors.incidents.get(known..).unwrap_or_default().to_vec())
    }

    /// Whether the detectors have reported anything so far. What they report stands, so [`Rig::finish`] then says so too.
    #[must_use]
    pub fn has_incidents(&self) -> bool {
        self.look(|world| !world.detectors.incidents.is_empty())
    }

    /// Forgets the incidents and what the detectors have seen so far.
    pub fn clear_incidents(&self) {
        self.world.borrow_mut().detectors.clear();
    }

    /// The program is over: detectors that were waiting for something to follow decide now, and causes that only the
    /// ledger can know are added. Returns all incidents. No chip, line or clock is touched.
    pub fn finish(&self) -> Vec<Incident> {
        // A cause shows within a few pages of lost bytes; a part that lost everything need not be looked at whole.
        self.finish_and_explain(512).0
    }

    /// [`Rig::finish`] with what [`Rig::explain_at_most`] says of the first `most` lost bytes of each chip, looked at once.
    pub fn finish_and_explain(&self, most: usize) -> (Vec<Incident>, Vec<Loss>) {
        let losses = self.explain_at_most(most);
        let mut detectors = self.look(|world| world.detectors.clone());
        let world = &mut *self.world.borrow_mut();
        detectors.finish(world.now);
        // Those that nothing explains come last: what explains others may explain them.
        let (known, unknown): (Vec<&Loss>, Vec<&Loss>) = losses.iter().partition(|loss| loss.cause.is_some());
        for loss in known.into_iter().chain(unknown) {
            let chip = Some(loss.chip);
            // Where the part did nothing but what it was told, the program is to blame, unless something else was seen.
            let hazard = loss.cause.unwrap_or(Hazard::MisplacedWrite);
            let concerns = |i: &Incident| match loss.cause {
                Some(hazard) => i.hazard == hazard && i.chip == chip,
                None => i.chip.is_none() || i.chip == chip,
            };
            if !detectors.incidents.iter().any(concerns) {
                let text = alloc::format!("{}: {}", world.chips[loss.chip.0].model.name, loss.text);
                detectors.report_cause(Finding { chip, at_ns: world.now, hazard, text });
            }
        }
        world.detectors = detectors;
        (world.detectors.incidents.clone(), losses)
    }

    /// Every event so far, by time. Empty while the trace is off.
    #[must_use]
    pub fn trace(&self) -> Vec<Event> {
        self.look(World::events)
    }

    /// Switches the trace on (empty) or off. Without it, whole runs of bytes are moved at once.
    pub fn set_trace(&self, on: bool) {
        self.world.borrow_mut().restart_trace(on);
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
        world.restart_trace(world.trace.is_some());
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
