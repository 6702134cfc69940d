//! The controller step by step, for clients that are not written against embedded-hal: START, bytes, STOP.

use alloc::vec;
use alloc::vec::Vec;

use embedded_hal::i2c::Operation;

use super::{BusError, BusFault, RigBus};

/// A controller driven step by step on the bus of a rig.
///
/// ```
/// use pagewise_simulator::{ChipModel, Rig, RigConfig, Straps};
///
/// let rig = Rig::new(RigConfig::default());
/// let chip = rig.attach(ChipModel::example_32_kbit(), Straps::GROUND);
/// let mut steps = rig.bus().steps();
/// steps.start()?;
/// for byte in [0x50 << 1, 0x00, 0x10, 0xAB] {
///     assert!(steps.send(byte));
/// }
/// steps.stop()?;
/// rig.advance_ns(5_000_000);
/// assert_eq!(rig.memory(chip)[0x10], 0xAB);
/// # Ok::<(), pagewise_simulator::BusError>(())
/// ```
#[derive(Debug)]
pub struct StepBus {
    bus: RigBus,
    /// The next byte is a device address.
    fresh: bool,
    /// A chip drives SDA for the next bit.
    driven: bool,
    /// What this transfer did at one device address so far.
    address: Option<u8>,
    wrote: Vec<u8>,
    read: usize,
    failed: bool,
}

impl RigBus {
    /// The same bus, driven step by step. The quirks of this controller do not apply.
    #[must_use]
    pub fn steps(&self) -> StepBus {
        StepBus {
            bus: self.clone(),
            fresh: false,
            driven: false,
            address: None,
            wrote: Vec::new(),
            read: 0,
            failed: false,
        }
    }
}

impl StepBus {
    /// Says on whose behalf the next transfers are done, where several threads or processes share a controller: what one
    /// of them repeats is not given up because another one went between.
    pub fn set_client(&mut self, client: u64) {
        self.bus.world.borrow_mut().client = client;
    }

    /// START, or a repeated START inside a transfer. The next byte sent is the device address with R/W.
    ///
    /// # Errors
    ///
    /// [`BusFault::SdaHeld`] if a line is held low, by a fault or by a chip that is read and was acknowledged;
    /// [`BusFault::NoSupply`].
    pub fn start(&mut self) -> Result<(), BusError> {
        self.release_line()?;
        let bus = &self.bus;
        let world = &mut *bus.world.borrow_mut();
        world.line_free().map_err(|fault| bus.error(fault))?;
        if !world.in_transfer {
            world.begin_access();
        }
        world.start();
        self.fresh = true;
        Ok(())
    }

    /// One byte to the chips, the device address with R/W in its lowest bit directly after a START. Returns the
    /// acknowledge bit. Without a START before it nobody answers.
    pub fn send(&mut self, byte: u8) -> bool {
        if self.fresh && self.address.is_some_and(|before| before != byte >> 1) {
            self.book_own();
        }
        let world = &mut *self.bus.world.borrow_mut();
        let acked = if core::mem::take(&mut self.fresh) {
            self.address = Some(byte >> 1);
            let acked = world.address(byte);
            self.driven = acked && byte & 1 == 1;
            acked
        } else {
            self.wrote.push(byte);
            world.send(byte)
        };
        self.failed |= !acked;
        acked
    }

    /// One byte from the chips; `ack` is the controller's acknowledge bit, `false` for the last byte of a read. 0xFF if
    /// nobody drives.
    pub fn receive(&mut self, ack: bool) -> u8 {
        self.read += 1;
        self.driven = ack && self.driven;
        self.bus.world.borrow_mut().receive(ack)
    }

    /// STOP.
    ///
    /// # Errors
    ///
    /// [`BusFault::SdaHeld`] if a chip that is read and was acknowledged drives SDA low; [`RigBus::recover`] frees it.
    pub fn stop(&mut self) -> Result<(), BusError> {
        let released = self.release_line();
        self.finish(released.is_ok());
        self.book_own();
        released
    }

    /// STOP, with what the controller was asked to do in this transfer: detectors can then tell a refused write from a
    /// poll even if no byte of it was sent. `done` says that all of it went well.
    ///
    /// # Errors
    ///
    /// As [`StepBus::stop`].
    pub fn stop_after(&mut self, address: u8, asked: &[Operation<'_>], done: bool) -> Result<(), BusError> {
        let released = self.release_line();
        self.finish(released.is_ok());
        self.forget();
        let world = &mut *self.bus.world.borrow_mut();
        let refused = core::mem::take(&mut world.refused_in_access);
        world.book_access(address, asked, &refused, done && released.is_ok());
        released
    }

    /// The controller is reset in the middle of a transfer: after `bits` bits (0 to 7) of a byte that is read SCL stays high
    /// and nothing more comes; [`RigBus::recover`] frees what is then held. Outside of a read nobody notices.
    pub fn abandon(&mut self, bits: u8) {
        if core::mem::take(&mut self.driven) {
            self.bus.world.borrow_mut().stop_clocking(bits);
        }
        self.fresh = false;
        self.forget();
    }

    fn finish(&mut self, can_stop: bool) {
        let world = &mut *self.bus.world.borrow_mut();
        if can_stop && world.in_transfer {
            world.stop();
        }
        self.fresh = false;
    }

    /// A chip that was read and acknowledged drives the next bit: a START or STOP is possible only if it is 1.
    fn release_line(&mut self) -> Result<(), BusError> {
        let driven = core::mem::take(&mut self.driven);
        let world = &mut *self.bus.world.borrow_mut();
        let free = match driven {
            true => world.empty_read(),
            // It was so before, and nobody has recovered the bus since.
            false if world.held_by.is_some() => Err(BusFault::SdaHeld),
            false => Ok(()),
        };
        free.map_err(|fault| self.bus.error(fault))
    }

    /// Tells the detectors what was done at the address so far.
    fn book_own(&mut self) {
        if let Some(address) = self.address {
            let mut buffer = vec![0; self.read];
            let mut asked = Vec::new();
            if !self.wrote.is_empty() {
                asked.push(Operation::Write(&self.wrote));
            }
            if self.read > 0 {
                asked.push(Operation::Read(&mut buffer));
            }
            let world = &mut *self.bus.world.borrow_mut();
            let refused = core::mem::take(&mut world.refused_in_access);
            world.book_access(address, &asked, &refused, !self.failed);
        }
        self.forget();
    }

    fn forget(&mut self) {
        self.address = None;
        self.wrote.clear();
        self.read = 0;
        self.failed = false;
    }
}
