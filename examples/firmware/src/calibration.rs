//! What the flow meter keeps in its EEPROM: its calibration, and how often it was started.
//!
//! Nothing here knows the board: give it your HAL's I2C and delay.

use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::I2c;
use pagewise_driver::records::{RecordError, RecordLayout, RecordSpec, RecordStore};
use pagewise_driver::{Eeprom, Error, Options};

use crate::part::{BUFFER_BYTES, GEOMETRY};

/// Identities of the records. They are stored: never give a number to something else.
const CALIBRATION: u8 = 1;
const STARTS: u8 = 2;

/// Where the records lie: from 0x0040 to 0x0100, as the board file says. Checked by the compiler.
const LAYOUT: RecordLayout<'static> = RecordLayout::new(
    &GEOMETRY,
    0x0040,
    &[RecordSpec::new(CALIBRATION, PAYLOAD_BYTES as u16, 3), RecordSpec::new(STARTS, 8, 3)],
);
const _: () = assert!(LAYOUT.end() <= 0x0100, "the totals begin at 0x0100");

/// Bytes of a stored calibration.
const PAYLOAD_BYTES: usize = 8;
/// The longest record and its frame.
const SLOT_BYTES: usize = PAYLOAD_BYTES + 13;
/// Version of the payload. When it grows, give it the next number and keep reading the old one.
const VERSION: u8 = 1;

/// What turns pulses into litres.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Calibration {
    /// Pulses per 1000 litres.
    pub pulses: u32,
    /// Zero of the pressure sensor in microvolts.
    pub zero_uv: i32,
}

impl Calibration {
    /// Before anybody has calibrated.
    pub const FACTORY: Self = Self { pulses: 450_000, zero_uv: 0 };

    fn to_bytes(self) -> [u8; PAYLOAD_BYTES] {
        let ([p0, p1, p2, p3], [z0, z1, z2, z3]) = (self.pulses.to_le_bytes(), self.zero_uv.to_le_bytes());
        [p0, p1, p2, p3, z0, z1, z2, z3]
    }

    fn from_bytes([p0, p1, p2, p3, z0, z1, z2, z3]: [u8; PAYLOAD_BYTES]) -> Self {
        Self { pulses: u32::from_le_bytes([p0, p1, p2, p3]), zero_uv: i32::from_le_bytes([z0, z1, z2, z3]) }
    }
}

/// Why something could not be kept or found.
pub type Fault<E> = RecordError<Error<E>>;

/// The memory of the flow meter.
pub struct Settings<I2C, D> {
    records: RecordStore<'static, Eeprom<I2C, D, BUFFER_BYTES>, SLOT_BYTES>,
}

impl<I2C: I2c, D: DelayNs> Settings<I2C, D> {
    /// Sends nothing yet.
    pub const fn new(i2c: I2C, delay: D) -> Self {
        let eeprom = Eeprom::new(i2c, delay, GEOMETRY, Options::new());
        Self { records: RecordStore::new(eeprom, LAYOUT) }
    }

    /// The calibration that was stored last, or `None` if none ever was (or a newer firmware has stored it).
    pub fn calibration(&mut self) -> Result<Option<Calibration>, Fault<I2C::Error>> {
        let mut payload = [0; PAYLOAD_BYTES];
        match self.records.read(CALIBRATION, &mut payload) {
            Ok(stored) if stored.version == VERSION => Ok(Some(Calibration::from_bytes(payload))),
            Ok(_) | Err(RecordError::NotFound) => Ok(None),
            Err(fault) => Err(fault),
        }
    }

    /// Stores a calibration. After `Ok` it is there; if the supply is lost before, the old one or this one is.
    pub fn set_calibration(&mut self, calibration: Calibration) -> Result<(), Fault<I2C::Error>> {
        self.records.write(CALIBRATION, VERSION, &calibration.to_bytes())
    }

    /// Counts a start; gives its number.
    pub fn count_start(&mut self) -> Result<u64, Fault<I2C::Error>> {
        self.records.increment(STARTS)
    }
}
