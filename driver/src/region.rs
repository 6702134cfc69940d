//! Regions beside the main array: identification page, serial number, EUI-48 or EUI-64, and their lock.

use crate::error::Error;
use crate::geometry::{Geometry, GeometryError, Parameters};
use crate::memory::{Extent, inside};
use crate::plan::{Job, State};

/// A region as the data sheet describes it; not yet checked. Its write cycle is that of the array. Made by
/// [`RegionParameters::new`] and the functions that set one of its values.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub struct RegionParameters {
    /// 7-bit device address of the region: often that of the array with device code 1011, 0x58 for 0x50.
    pub device_address: u8,
    /// Word-address bytes, 1 to 3: as many as the array takes. (A driver for an array that takes another number answers
    /// [`Error::Unsupported`].)
    pub word_address_bytes: u8,
    /// Word address of the region's first byte.
    pub word_address: u32,
    /// Length in bytes.
    pub length_bytes: u32,
    /// Page in bytes, a power of two.
    pub page_bytes: u32,
    /// What may be done with it.
    pub access: RegionAccess,
}

impl RegionParameters {
    /// Nothing is stated yet but that it begins at word address 0 and is read-only. All else must be stated, or the region
    /// is refused.
    pub const fn new() -> Self {
        Self {
            device_address: u8::MAX,
            word_address_bytes: u8::MAX,
            word_address: 0,
            length_bytes: 0,
            page_bytes: 0,
            access: RegionAccess::ReadOnly,
        }
    }

    /// Sets the device address.
    pub const fn with_device_address(mut self, device_address: u8) -> Self {
        self.device_address = device_address;
        self
    }

    /// Sets the number of word-address bytes.
    pub const fn with_word_address_bytes(mut self, word_address_bytes: u8) -> Self {
        self.word_address_bytes = word_address_bytes;
        self
    }

    /// Sets the word address of the first byte.
    pub const fn with_word_address(mut self, word_address: u32) -> Self {
        self.word_address = word_address;
        self
    }

    /// Sets the length in bytes.
    pub const fn with_length_bytes(mut self, length_bytes: u32) -> Self {
        self.length_bytes = length_bytes;
        self
    }

    /// Sets the page in bytes.
    pub const fn with_page_bytes(mut self, page_bytes: u32) -> Self {
        self.page_bytes = page_bytes;
        self
    }

    /// Sets what may be done with it.
    pub const fn with_access(mut self, access: RegionAccess) -> Self {
        self.access = access;
        self
    }
}

impl Default for RegionParameters {
    fn default() -> Self {
        Self::new()
    }
}

/// What may be done with a region.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum RegionAccess {
    /// Programmed by the maker: serial number, EUI.
    ReadOnly,
    /// Can be written, has no lock that this driver knows.
    Writable,
    /// Can be written until it is locked.
    Lockable(Lock),
}

/// The write that locks a region for ever.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub struct Lock {
    /// 7-bit device address.
    pub device_address: u8,
    /// Word address; as many bytes as the region's.
    pub word_address: u32,
    /// The data byte.
    pub data: u8,
}

impl Lock {
    /// The write of `data` at a device address and a word address.
    pub const fn new(device_address: u8, word_address: u32, data: u8) -> Self {
        Self { device_address, word_address, data }
    }
}

/// The word that an irreversible call demands.
///
/// ```
/// # use pagewise_driver::Irreversible;
/// let token = Irreversible::i_know_that_this_cannot_be_undone();
/// # let _ = token;
/// ```
#[derive(Debug)]
pub struct Irreversible(());

impl Irreversible {
    /// Says so.
    pub const fn i_know_that_this_cannot_be_undone() -> Self {
        Self(())
    }
}

/// The checked description of a region. Used with the `region` of the drivers.
///
/// ```
/// use pagewise_driver::{Lock, Region, RegionAccess, RegionParameters};
/// // An identification page of 32 bytes at device code 1011, locked through word address 0x0400.
/// const IDENTIFICATION: Region = match Region::try_new(
///     RegionParameters::new()
///         .with_device_address(0x58)
///         .with_word_address_bytes(2)
///         .with_length_bytes(32)
///         .with_page_bytes(32)
///         .with_access(RegionAccess::Lockable(Lock::new(0x58, 0x0400, 0x02))),
/// ) {
///     Ok(region) => region,
///     Err(error) => panic!("{}", error.message()),
/// };
/// assert_eq!(IDENTIFICATION.length_bytes(), 32);
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Region {
    parameters: RegionParameters,
    geometry: Geometry,
    lock: Option<Geometry>,
}

impl Region {
    /// Checks the parameters.
    ///
    /// # Errors
    ///
    /// A [`GeometryError`]: zero length or word-address bytes, a page that is not a power of two, a word address (of the
    /// region's end or of the lock) that the word-address bytes cannot reach, a device address of more than 7 bits.
    pub const fn try_new(parameters: RegionParameters) -> Result<Self, GeometryError> {
        let p = &parameters;
        if p.length_bytes == 0 {
            return Err(GeometryError::CapacityZero);
        }
        let end = p.word_address.saturating_add(p.length_bytes);
        let geometry = match space(p, p.device_address, end) {
            Ok(geometry) => geometry,
            Err(error) => return Err(error),
        };
        let lock = match p.access {
            RegionAccess::Lockable(lock) => match space(p, lock.device_address, lock.word_address.saturating_add(1)) {
                Ok(geometry) => Some(geometry),
                Err(error) => return Err(error),
            },
            RegionAccess::ReadOnly | RegionAccess::Writable => None,
        };
        Ok(Self { parameters, geometry, lock })
    }

    /// The parameters that this region was made from.
    pub const fn parameters(&self) -> RegionParameters {
        self.parameters
    }

    /// Length in bytes.
    pub const fn length_bytes(&self) -> u32 {
        self.parameters.length_bytes
    }

    pub(crate) const fn geometry(&self) -> Geometry {
        self.geometry
    }

    /// Where a job's bytes lie in the region's address space, if it may be done there.
    pub(crate) fn place<E>(&self, job: Job, offset: u32, length: usize) -> Result<u32, Error<E>> {
        let writes = !matches!(job, Job::Read | Job::Compare);
        if writes && matches!(self.parameters.access, RegionAccess::ReadOnly) {
            return Err(Error::Unsupported);
        }
        inside(self.parameters.length_bytes, offset, length)?;
        Ok(self.parameters.word_address.wrapping_add(offset))
    }

    /// Geometry, offset and data of the write that locks.
    pub(crate) fn lock_write<E>(&self) -> Result<(Geometry, u32, u8), Error<E>> {
        match (self.parameters.access, self.lock) {
            (RegionAccess::Lockable(lock), Some(geometry)) => Ok((geometry, lock.word_address, lock.data)),
            _ => Err(Error::Unsupported),
        }
    }
}

/// A region of a part as a memory; made by the `region` of a driver. Offsets count from the region's first byte.
///
/// It is a [`Memory`](crate::Memory), or an `AsyncMemory` if `T` is an `AsyncEeprom`, so all that takes one takes it, also
/// [`Protected`](crate::Protected). [`Error::Unsupported`] comes of a write to a region that is read-only, and of each call
/// if the region takes another number of word-address bytes than the array. A region that was locked gives
/// [`Error::WriteProtected`] on parts that refuse data, and nothing on parts that drop it: `write_verified` finds that out.
/// A [`Trust`](crate::Trust) of the array is not one of the region.
///
/// # On the wire
///
/// At the region's own device address:
///
/// - `read`, `compare`: `S 58W+ 00+ 00+ Sr 58R+ AB+ CD- P`
/// - `write`, `update_suspect`: `S 58W+ 00+ 00+ AB+ CD+ P`, `S 58W- P` while it is busy, `S 58W+ 00+ 00+ P`
/// - `write_verified`: `S 58W+ 00+ 00+ AB+ CD+ P`, `S 58W- P` while it is busy, `S 58W+ 00+ 00+ P`,
///   `S 58W+ 00+ 00+ Sr 58R+ AB+ CD- P`
/// - `fill`: `S 58W+ 00+ 00+ AB+ AB+ P`, `S 58W- P` while it is busy, `S 58W+ 00+ 00+ P`
/// - `update`, `update_trusting` (where it is trusted, and differs): `S 58W+ 00+ 00+ Sr 58R+ AB+ CD- P`,
///   `S 58W+ 00+ 00+ 12+ 34+ P`, `S 58W- P` while it is busy, `S 58W+ 00+ 00+ P`
/// - `wait_ready`, at the array's device address: `S 50W- P` while it is busy, `S 50W+ 00+ 00+ P`
///
/// # Examples
///
/// ```
/// use embedded_hal_mock::eh1::delay::NoopDelay;
/// use embedded_hal_mock::eh1::i2c::{Mock, Transaction};
/// use pagewise_driver::{Eeprom, Geometry, Memory, Options, Parameters, Region, RegionAccess, RegionParameters};
///
/// # const PART: Geometry = Geometry::new(Parameters::new().with_capacity_bytes(4096).with_page_bytes(32)
/// #     .with_word_address_bytes(2).with_sequential_read_bytes(4096).with_write_cycle_us(5_000));
/// # const SERIAL: Region = match Region::try_new(RegionParameters::new().with_device_address(0x58)
/// #     .with_word_address_bytes(2).with_word_address(0x0800).with_length_bytes(16).with_page_bytes(32)
/// #     .with_access(RegionAccess::ReadOnly)) {
/// #     Ok(region) => region,
/// #     Err(error) => panic!("{}", error.message()),
/// # };
/// let i2c = Mock::new(&[Transaction::write_read(0x58, vec![0x08, 0x02], vec![7; 4])]);
/// let mut eeprom = Eeprom::<_, _, 34>::new(i2c, NoopDelay, PART, Options::new());
/// let mut bytes = [0; 4];
/// eeprom.region(SERIAL).read(2, &mut bytes)?;
/// assert_eq!(bytes, [7; 4]);
/// # eeprom.release().0.done();
/// # Ok::<(), pagewise_driver::Error<embedded_hal::i2c::ErrorKind>>(())
/// ```
#[derive(Debug)]
pub struct InRegion<'e, T> {
    pub(crate) eeprom: &'e mut T,
    pub(crate) region: Region,
    /// Of the call under way; what outlasts it is kept by the driver.
    pub(crate) state: State,
}

impl<'e, T> InRegion<'e, T> {
    pub(crate) const fn new(eeprom: &'e mut T, region: Region) -> Self {
        Self { eeprom, region, state: State::new() }
    }
}

impl<T: Extent> Extent for InRegion<'_, T> {
    type BusError = T::BusError;

    fn capacity(&self) -> u32 {
        self.region.length_bytes()
    }

    fn failures(&self) -> u32 {
        self.eeprom.failures()
    }
}

/// A geometry whose offsets are the word addresses below `end`. The driver puts the array's write cycle into it.
const fn space(p: &RegionParameters, device_address: u8, end: u32) -> Result<Geometry, GeometryError> {
    let page = if p.page_bytes > end { p.page_bytes } else { end };
    let capacity_bytes = match page.checked_next_power_of_two() {
        Some(bytes) => bytes,
        None => return Err(GeometryError::CapacityUnreachable { capacity_bytes: page, reach_bytes: 1 << 24 }),
    };
    Geometry::try_new(
        Parameters::new()
            .with_capacity_bytes(capacity_bytes)
            .with_page_bytes(p.page_bytes)
            .with_word_address_bytes(p.word_address_bytes)
            .with_device_address(device_address)
            .with_sequential_read_bytes(capacity_bytes)
            .with_write_cycle_us(0),
    )
}
