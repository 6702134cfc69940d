//! The bus of a session: chips, clock, images, and what was seen so far.

use std::fs::File;
use std::io::{self, Write};
use std::path::Path;
use std::time::Duration;

use pagewise_simulator::{ChipId, PowerUp, Rig, RigConfig, Step, StepBus, SupplyProfile};

use crate::clock::Clock;
use crate::errno::Trouble;
use crate::image::Image;
use crate::messages;
use crate::plan::{Cut, Plan};
use crate::protocol::{Kind, Message};
use crate::seen::Seen;

/// A cycle that a fault lengthened is waited for so many times the longest one; one that never ends is not.
const LONG_CYCLES: usize = 1000;

/// Everything behind the device path.
pub(crate) struct Bus {
    pub(crate) plan: Plan,
    pub(crate) rig: Rig,
    pub(crate) clock: Clock,
    pub(crate) seen: Seen,
    steps: StepBus,
    chips: Vec<(ChipId, Option<Image>)>,
    trace: Option<File>,
    /// Incidents that are in `seen`.
    known: usize,
    /// Written since memory last went into the images.
    pub(crate) unsaved: bool,
}

impl Bus {
    /// Takes all images and puts the chips on the bus.
    pub(crate) fn new(plan: Plan, clock_file: &Path) -> io::Result<Self> {
        let mut images = Vec::new();
        for chip in &plan.chips {
            chip.model.check().map_err(|reason| io::Error::other(format!("model {}: {reason}", chip.model.name)))?;
            images.push(chip.image.as_deref().map(|path| Image::take(path, chip.model.capacity)).transpose()?);
        }
        let trace = plan.trace.as_deref().map(File::create).transpose()?;
        let rig = Rig::new(RigConfig { scl_hz: plan.scl_hz, supply_mv: plan.supply_mv, seed: plan.seed });
        let mut chips = Vec::new();
        for (chip, image) in plan.chips.iter().zip(images) {
            let contents = image.as_ref().map_or(&chip.contents[..], Image::stored);
            let contents = if contents.is_empty() { PowerUp::Erased } else { PowerUp::Image(contents.to_vec()) };
            chips.push((rig.attach_with(chip.model.clone(), chip.straps, contents), image));
        }
        for address in &plan.others {
            rig.attach_other(*address, "another device");
        }
        rig.set_faults(plan.faults.clone()).map_err(io::Error::other)?;
        let clock = if plan.virtual_time { Clock::virtual_in(clock_file)? } else { Clock::real() };
        let (steps, cut) = (rig.bus().steps(), plan.cut);
        let bus = Self { plan, rig, clock, seen: Seen::default(), steps, chips, trace, known: 0, unsaved: false };
        bus.set_cut(cut);
        Ok(bus)
    }

    fn set_cut(&self, cut: Option<Cut>) {
        if let Some(Cut { at_ns, torn, draws }) = cut {
            self.rig.set_torn_model(torn, draws);
            self.rig.set_supply_profile(&SupplyProfile::new().step(at_ns, 0));
        }
        self.clock.set_cut(cut.map(|cut| cut.at_ns));
    }

    /// Whether the supply was lost.
    pub(crate) fn is_dead(&self) -> bool {
        self.plan.cut.is_some_and(|cut| self.rig.now_ns() >= cut.at_ns)
    }

    /// How long the host has to wait for the supply to be lost, where its own clock counts.
    pub(crate) fn until_cut(&self) -> Option<Duration> {
        let (cut, Clock::Real(begun)) = (self.plan.cut?, &self.clock) else { return None };
        Some(Duration::from_nanos(cut.at_ns).saturating_sub(begun.elapsed()))
    }

    /// Nothing has come for a while.
    pub(crate) fn idle(&mut self) {
        self.clock.catch_up(&self.rig);
        self.note();
        if self.unsaved && !self.is_dead() {
            self.store();
        }
    }

    /// The program is over and the supply on for a while longer: until the cut, if it comes within the longest write cycle.
    pub(crate) fn rest(&mut self) {
        self.clock.catch_up(&self.rig);
        if let Some(cut) = self.plan.cut {
            let ahead = cut.at_ns.saturating_sub(self.rig.now_ns());
            if ahead <= self.longest_cycle() {
                self.rig.advance_ns(ahead + 1);
            }
        }
        self.note();
    }

    /// The supply is back, and stays.
    pub(crate) fn power_on(&mut self) {
        self.plan.cut = None;
        self.rig.restore_supply_mv(self.plan.supply_mv);
        self.set_cut(None);
        self.clock.tell(&self.rig);
        self.note();
    }

    /// Runs a transfer at the time that it is.
    pub(crate) fn transfer(&mut self, client: u64, messages: &mut [Message]) -> Result<(), Trouble> {
        let adapter = self.plan.adapter;
        for message in messages.iter() {
            let (Kind::Write(bytes) | Kind::Read(bytes) | Kind::ReadBlock(bytes)) = &message.kind;
            let long = adapter.longest_message.is_some_and(|longest| bytes.len() > usize::from(longest));
            let empty = bytes.is_empty() && !matches!(message.kind, Kind::ReadBlock(_));
            if long || empty && adapter.no_empty_messages {
                return Err(Trouble::NotSupported);
            }
        }
        self.clock.catch_up(&self.rig);
        if self.plan.keep_steps {
            self.seen.steps.push(Step::before(&self.rig));
        }
        let from_ns = self.rig.now_ns();
        self.steps.set_client(client);
        let done = messages::transfer(&mut self.steps, messages);
        let text = self.seen.transferred(&self.rig, from_ns, messages, done.is_ok());
        if let Some(trace) = &mut self.trace
            && let Err(error) = trace.write_all(text.as_bytes())
        {
            self.trace = None;
            self.seen.tell(format!("the trace ends early: {error}"));
        }
        self.note();
        if messages.iter().any(|message| !message.reads()) {
            self.unsaved = true;
            if self.plan.store_each_write {
                self.store();
            }
        }
        self.clock.tell(&self.rig);
        std::thread::sleep(self.clock.lead(&self.rig));
        done
    }

    /// Takes over what the detectors reported since.
    fn note(&mut self) {
        let new = self.rig.incidents_from(self.known);
        self.known += new.len();
        for incident in new {
            self.seen.hazard(incident.hazard, incident.at_ns, incident.text);
        }
    }

    fn longest_cycle(&self) -> u64 {
        let cycles = self
            .plan
            .chips
            .iter()
            .map(|chip| chip.model.write_cycle.max_ns.saturating_mul(u64::from(chip.model.page.max(1))));
        cycles.max().unwrap_or(0).min(1 << 60)
    }

    /// The chips as they will be once the write cycles that run now are over: they stay supplied when a program goes away.
    fn later(&self) -> Rig {
        let later = self.rig.fork();
        if self.rig.supply_mv() > 0 && !self.is_dead() {
            let busy = || self.chips.iter().any(|(chip, _)| later.busy(*chip));
            for _ in (0..LONG_CYCLES).take_while(|_| busy()) {
                later.advance_ns(self.longest_cycle().max(1));
            }
        }
        later
    }

    /// Puts memory into the images. What fails is told. Returns whether all went well.
    pub(crate) fn store(&mut self) -> bool {
        self.unsaved = false;
        if self.chips.iter().all(|(_, image)| image.is_none()) {
            return true;
        }
        self.clock.catch_up(&self.rig);
        let later = self.later();
        let mut good = true;
        for (chip, image) in &mut self.chips {
            if let Some(image) = image
                && let Err(reason) = image.store(&later.memory(*chip))
            {
                self.seen.tell(reason);
                good = false;
            }
        }
        good
    }

    /// The run is over.
    pub(crate) fn finish(mut self) -> Seen {
        self.store();
        self.clock.catch_up(&self.rig);
        self.note();
        self.seen.now_ns = self.rig.now_ns();
        let later = self.later();
        self.seen.memory = self.chips.iter().map(|(chip, _)| later.memory_as_read(*chip)).collect();
        for incident in self.rig.finish().split_off(self.known) {
            self.seen.hazard(incident.hazard, incident.at_ns, incident.text);
        }
        self.seen
    }
}
