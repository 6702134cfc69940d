//! The simulated bus of this process: chips, clock, images.

use pagewise_simulator::{ChipId, PowerUp, Rig, RigConfig, StepBus};

use crate::clock::Clock;
use crate::config::Config;
use crate::errno::Errno;
use crate::image::{Image, Refusal};
use crate::messages::{self, Kind, Message};
use crate::report;

/// Everything behind the device path.
pub(crate) struct Device {
    pub(crate) config: Config,
    pub(crate) rig: Rig,
    pub(crate) clock: Clock,
    bus: StepBus,
    chips: Vec<(ChipId, Option<Image>)>,
}

impl Device {
    /// Takes all images and puts the chips on the bus.
    ///
    /// # Errors
    ///
    /// An image that cannot be taken; none was changed.
    pub(crate) fn new(config: Config) -> Result<Self, Refusal> {
        let mut images = Vec::new();
        for chip in &config.chips {
            images.push(chip.image.as_deref().map(|path| Image::take(path, chip.model.capacity)).transpose()?);
        }
        let rig = Rig::new(RigConfig { scl_hz: config.scl_hz, supply_mv: config.supply_mv, seed: 1 });
        let mut chips = Vec::new();
        for (chip, image) in config.chips.iter().zip(images) {
            let contents = image.as_ref().map_or(PowerUp::Erased, |image| PowerUp::Image(image.stored().to_vec()));
            chips.push((rig.attach_with(chip.model.clone(), config.straps(chip), contents), image));
        }
        let (bus, clock) = (rig.bus().steps(), Clock::new(config.virtual_time));
        Ok(Self { config, rig, clock, bus, chips })
    }

    /// Runs a transfer at the time that it is.
    ///
    /// # Errors
    ///
    /// The kernel's error number for what happened on the bus.
    pub(crate) fn transfer(&mut self, messages: &mut [Message]) -> Result<(), Errno> {
        self.clock.catch_up(&self.rig);
        let done = messages::transfer(&mut self.bus, messages);
        if self.config.store_each_write && messages.iter().any(|message| matches!(message.kind, Kind::Write(_))) {
            self.store().unwrap_or_else(|reason| report::say(&reason));
        }
        std::thread::sleep(self.clock.lead(&self.rig));
        done.map_err(|trouble| trouble.errno(self.config.nack_is_eremoteio))
    }

    /// Tells what was seen on the bus.
    pub(crate) fn report(&self) {
        self.clock.catch_up(&self.rig);
        report::write(&self.rig, self.config.trace.as_deref(), &self.config.reports);
    }

    /// Puts memory into the images, as it will be once the write cycles that run now are over: the chips stay supplied
    /// when a program goes away.
    ///
    /// # Errors
    ///
    /// The reasons in words.
    pub(crate) fn store(&mut self) -> Result<(), String> {
        self.clock.catch_up(&self.rig);
        let later = self.rig.fork();
        let longest = self.config.chips.iter().map(|chip| {
            let cycle = &chip.model.write_cycle;
            cycle.max_ns.saturating_mul(u64::from(chip.model.page.max(1)))
        });
        later.advance_ns(longest.max().unwrap_or(0).min(1 << 62));
        let mut reasons = Vec::new();
        for (chip, image) in &mut self.chips {
            if let Some(image) = image {
                reasons.extend(image.store(&later.memory(*chip)).err());
            }
        }
        if reasons.is_empty() { Ok(()) } else { Err(reasons.join("; ")) }
    }
}
