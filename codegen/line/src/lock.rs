//! Locking an identification page: for ever, so only with the unit's name typed.
//!
//! The write that locks is common practice, no source: the region's device address, word address bit 10 set (bit 7
//! where the word address has one byte), bit 1 of the data byte set. The data sheet of the part decides.

use pagewise_driver::{Irreversible, Lock, Memory, Region, RegionAccess, RegionParameters};

use super::{Halt, LineBus, Socket, Step};
use pagewise_part::card::geometry::PinLevels;
use pagewise_part::card::{Access, Card, Role};

/// A region that can be locked.
#[derive(Debug, Clone)]
pub struct Lockable {
    /// Its position among the card's regions.
    pub index: usize,
    /// The same for the driver.
    pub region: Region,
    lock: Lock,
}

/// Somebody typed the unit's name.
#[derive(Debug)]
pub struct Confirmed(());

impl Confirmed {
    /// If what was typed is the name.
    #[must_use]
    pub fn by(typed: &str, unit: &str) -> Option<Self> {
        (typed.trim_end_matches(['\r', '\n']) == unit).then_some(Self(()))
    }
}

impl Lockable {
    /// The lockable region of a card, if it has one with a device address of its own.
    #[must_use]
    pub fn of(card: &Card, pins: PinLevels) -> Option<Self> {
        let is =
            |region: &&pagewise_part::card::Region| region.access == Access::Lockable && region.device_bits.is_some();
        // A region whose address was not read is none of the chip's.
        let read = card.regions.iter().filter(|region| region.address_read);
        let (index, region) = read.enumerate().find(|(_, region)| is(region))?;
        let device_address = address(&region.device_bits?, pins);
        let bit = if region.word_address_bytes >= 2 { 0x0400 } else { 0x80 };
        let lock = Lock::new(device_address, bit, 0x02);
        let parameters = RegionParameters::new()
            .with_device_address(device_address)
            .with_word_address_bytes(region.word_address_bytes)
            .with_word_address(region.word_address)
            .with_length_bytes(region.length)
            .with_page_bytes(region.length.next_power_of_two().min(card.page_bytes.value))
            .with_access(RegionAccess::Lockable(lock));
        Some(Self { index, region: Region::try_new(parameters).ok()?, lock })
    }

    /// Device address and bytes of the write that locks.
    #[must_use]
    pub fn write(&self) -> (u8, Vec<u8>) {
        let width = usize::from(self.region.parameters().word_address_bytes);
        let mut bytes = self.lock.word_address.to_be_bytes()[4 - width..].to_vec();
        bytes.push(self.lock.data);
        (self.lock.device_address, bytes)
    }

    /// Puts contents into the region and compares them.
    ///
    /// # Errors
    /// It is locked already, or does not hold them afterwards.
    pub fn fill(&self, bus: &mut LineBus, socket: &Socket, contents: &[u8]) -> Result<(), Halt> {
        let mut driver = socket.writer(bus);
        let mut found = vec![0; contents.len()];
        let failed = |what: &str| Halt::failed(Step::Lock, what.to_owned(), "the region may be locked already");
        driver
            .region(self.region)
            .read(0, &mut found)
            .map_err(|error| failed(&format!("the region does not answer: {error}")))?;
        if found == contents {
            return Ok(());
        }
        driver
            .region(self.region)
            .write(0, contents)
            .and_then(|()| driver.region(self.region).read(0, &mut found))
            .map_err(|error| failed(&format!("the region cannot be written: {error}")))?;
        if found == contents { Ok(()) } else { Err(failed("the region does not hold what was written")) }
    }

    /// Locks the region **for ever**.
    ///
    /// # Errors
    /// The part refuses.
    pub fn lock(&self, bus: &mut LineBus, socket: &Socket, _: Confirmed) -> Result<(), Halt> {
        let token = Irreversible::i_know_that_this_cannot_be_undone();
        socket.writer(bus).region(self.region).lock(token).map_err(|error| {
            let remedy = "it may be locked already; nothing else was changed";
            Halt::failed(Step::Lock, format!("the region could not be locked: {error}"), remedy)
        })
    }
}

fn address(bits: &[Role; 7], pins: PinLevels) -> u8 {
    bits.iter().fold(0, |address, role| {
        let bit = match *role {
            Role::Fixed(level) => level,
            Role::Pin(pin) => pins[usize::from(pin)],
            Role::PinInverted(pin) => !pins[usize::from(pin)],
            Role::Ignored | Role::Block(_) => false,
        };
        address << 1 | u8::from(bit)
    })
}
