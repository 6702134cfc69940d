//! A part that holds the bus.

use std::cell::RefCell;
use std::convert::Infallible;
use std::rc::Rc;

use embedded_hal::digital::{ErrorType as PinErrorType, InputPin, OutputPin};
use pagewise_driver::*;

/// Two open-drain lines and a part that holds SDA low for some more clocks.
#[derive(Default)]
struct Lines {
    scl: bool,
    sda: bool,
    held_for: usize,
    clocks: usize,
    events: Vec<&'static str>,
}

struct Scl(Rc<RefCell<Lines>>);
struct Sda(Rc<RefCell<Lines>>);

impl PinErrorType for Scl {
    type Error = Infallible;
}

impl PinErrorType for Sda {
    type Error = Infallible;
}

impl OutputPin for Scl {
    fn set_low(&mut self) -> Result<(), Infallible> {
        let mut lines = self.0.borrow_mut();
        lines.scl = false;
        lines.held_for = lines.held_for.saturating_sub(1);
        Ok(())
    }

    fn set_high(&mut self) -> Result<(), Infallible> {
        let mut lines = self.0.borrow_mut();
        if !lines.scl {
            lines.clocks += 1;
        }
        lines.scl = true;
        Ok(())
    }
}

impl OutputPin for Sda {
    fn set_low(&mut self) -> Result<(), Infallible> {
        let mut lines = self.0.borrow_mut();
        if lines.scl && lines.sda && lines.held_for == 0 {
            lines.events.push("START");
        }
        lines.sda = false;
        Ok(())
    }

    fn set_high(&mut self) -> Result<(), Infallible> {
        let mut lines = self.0.borrow_mut();
        if lines.scl && !lines.sda && lines.held_for == 0 && !lines.events.is_empty() {
            lines.events.push("STOP");
        }
        lines.sda = true;
        Ok(())
    }
}

impl InputPin for Sda {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        let lines = self.0.borrow();
        Ok(lines.sda && lines.held_for == 0)
    }

    fn is_low(&mut self) -> Result<bool, Infallible> {
        self.is_high().map(|high| !high)
    }
}

#[test]
fn l5_nine_clocks_start_and_stop_free_a_part_in_mid_read() {
    for held_for in 0..=9 {
        let lines = Rc::new(RefCell::new(Lines { scl: true, held_for, ..Lines::default() }));
        let (mut scl, mut sda) = (Scl(lines.clone()), Sda(lines.clone()));
        let mut delay = embedded_hal_mock::eh1::delay::NoopDelay;
        assert_eq!(free_bus(&mut scl, &mut sda, &mut delay, 5), Ok(()));
        let lines = lines.borrow();
        assert_eq!((lines.clocks, lines.events.as_slice()), (9, ["START", "STOP"].as_slice()));
        assert!(lines.scl && lines.sda);
    }
}

#[test]
fn l5_a_line_that_stays_low_is_reported() {
    let lines = Rc::new(RefCell::new(Lines { scl: true, held_for: 1000, ..Lines::default() }));
    let (mut scl, mut sda) = (Scl(lines.clone()), Sda(lines));
    let mut delay = embedded_hal_mock::eh1::delay::NoopDelay;
    assert_eq!(free_bus(&mut scl, &mut sda, &mut delay, 5), Err(RecoveryError::StillLow));
}
