//! The write-protect pin.

use std::cell::RefCell;
use std::rc::Rc;

use embedded_hal::digital::{ErrorType as PinErrorType, OutputPin};
use embedded_hal::i2c::ErrorKind;
use pagewise_driver::*;

use crate::common::*;

/// A pin that protects the fake chip while it is high, and that can fail.
struct Wp {
    chip: Rc<RefCell<FakeChip>>,
    log: Rc<RefCell<Vec<(bool, u64)>>>,
    fails_at: Option<usize>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct PinFault;

impl embedded_hal::digital::Error for PinFault {
    fn kind(&self) -> embedded_hal::digital::ErrorKind {
        embedded_hal::digital::ErrorKind::Other
    }
}

impl PinErrorType for Wp {
    type Error = PinFault;
}

impl Wp {
    fn drive(&mut self, high: bool) -> Result<(), PinFault> {
        let now = self.chip.borrow().now_us;
        let number = self.log.borrow().len();
        self.log.borrow_mut().push((high, now));
        if self.fails_at == Some(number) {
            return Err(PinFault);
        }
        self.chip.borrow_mut().protect = if high { Protect::NackData } else { Protect::Off };
        Ok(())
    }
}

impl OutputPin for Wp {
    fn set_low(&mut self) -> Result<(), PinFault> {
        self.drive(false)
    }

    fn set_high(&mut self) -> Result<(), PinFault> {
        self.drive(true)
    }
}

type Log = Rc<RefCell<Vec<(bool, u64)>>>;
type Guarded = Protected<Eeprom<Bus, Clock, 34>, Wp>;

fn guarded(fails_at: Option<usize>) -> (Rc<RefCell<FakeChip>>, Log, Result<Guarded, Error<ErrorKind>>) {
    let (chip, bus, clock) = rig(KBIT_32.parameters());
    let log = Log::default();
    let pin = Wp { chip: chip.clone(), log: log.clone(), fails_at };
    let eeprom = Eeprom::new(bus, clock, KBIT_32, Options::new());
    let timing = WriteProtectTiming::new().with_setup_us(3).with_hold_us(4);
    (chip, log, Protected::new(eeprom, pin, timing))
}

fn levels(log: &Log) -> Vec<bool> {
    log.borrow().iter().map(|(high, _)| *high).collect()
}

#[test]
fn wp_is_released_only_around_a_write_with_setup_and_hold() {
    let (chip, log, protected) = guarded(None);
    let mut protected = protected.unwrap();
    protected.write(0, &[1]).unwrap();
    protected.write_verified(1, &[2]).unwrap();
    protected.fill(2, 1, 3).unwrap();
    assert_eq!(protected.update(3, &[4], &mut Trust::new()), Ok(Updated { written: 1, kept: 0 }));
    assert_eq!(levels(&log), [true, false, true, false, true, false, true, false, true]);
    assert_eq!(chip.borrow().memory[..4], [1, 2, 3, 4]);
    let mut back = [0; 4];
    protected.read(0, &mut back).unwrap();
    assert_eq!(back, [1, 2, 3, 4]);
    assert_eq!(protected.compare(0, &[1, 2, 3, 4]), Ok(None));
    let difference = Difference { index: 2, expected: 9, found: 3 };
    assert_eq!(protected.compare(0, &[1, 2, 9, 4]), Ok(Some(difference)));
    assert_eq!(levels(&log).len(), 9, "reading does not touch the pin");
    // Write and answered poll take 20 us each here; the last poll comes when the write cycle is over.
    let log = log.borrow();
    let (released, asserted) = (log[1].1, log[2].1);
    assert!(asserted - released >= 3 + 20 + 5_000 + 4);
    assert!(matches!(protected.eeprom_mut().write(0, &[9]), Err(Error::WriteProtected { .. })), "the pin protects");
}

#[test]
fn wp_is_asserted_again_when_the_write_fails() {
    let (chip, log, protected) = guarded(None);
    let mut protected = protected.unwrap();
    chip.borrow_mut().fail_call = Some((0, ErrorKind::Bus));
    assert_eq!(protected.write(0, &[1]), Err(Error::Bus { source: ErrorKind::Bus, safe_bytes: 0 }));
    assert!(matches!(protected.write(4096, &[1]), Err(Error::OutOfRange { .. })));
    assert_eq!(levels(&log), [true, false, true, false, true]);
}

#[test]
fn wp_pin_faults_are_reported_and_the_pin_is_driven_high_as_far_as_it_goes() {
    let (_, log, protected) = guarded(Some(0));
    assert_eq!(protected.err(), Some(Error::WriteProtectPin { safe_bytes: 0 }));
    assert_eq!(levels(&log), [true]);
    let (_, log, protected) = guarded(Some(1));
    assert_eq!(protected.unwrap().write(0, &[1]), Err(Error::WriteProtectPin { safe_bytes: 0 }));
    assert_eq!(levels(&log), [true, false, true]);
    let (chip, log, protected) = guarded(Some(2));
    assert_eq!(protected.unwrap().write(0, &[1, 2]), Err(Error::WriteProtectPin { safe_bytes: 2 }));
    assert_eq!(levels(&log), [true, false, true, true]);
    assert_eq!(chip.borrow().memory[..2], [1, 2]);
}
