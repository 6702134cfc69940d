//! The pins of a controller at the lines.

use alloc::rc::Rc;
use core::cell::RefCell;
use core::convert::Infallible;

use embedded_hal::digital::{ErrorType, InputPin, OutputPin};

use crate::event::Line;
use crate::wire::WireConfig;
use crate::world::World;

/// The pins of a controller at the lines of a rig.
#[derive(Debug, Clone)]
pub struct Wire {
    world: Rc<RefCell<World>>,
}

impl Wire {
    pub(crate) fn new(world: Rc<RefCell<World>>, config: WireConfig) -> Self {
        world.borrow_mut().lay_wire(config);
        Self { world }
    }

    /// The controller's SDA pin: low drives, high releases.
    #[must_use]
    pub fn sda(&self) -> WirePin {
        WirePin { world: self.world.clone(), line: Line::Sda }
    }

    /// The controller's SCL pin: low drives, high releases.
    #[must_use]
    pub fn scl(&self) -> WirePin {
        WirePin { world: self.world.clone(), line: Line::Scl }
    }
}

/// An open-drain pin: output and input at once.
#[derive(Debug, Clone)]
pub struct WirePin {
    world: Rc<RefCell<World>>,
    line: Line,
}

impl ErrorType for WirePin {
    type Error = Infallible;
}

impl OutputPin for WirePin {
    fn set_low(&mut self) -> Result<(), Infallible> {
        self.world.borrow_mut().drive_line(self.line, true);
        Ok(())
    }

    fn set_high(&mut self) -> Result<(), Infallible> {
        self.world.borrow_mut().drive_line(self.line, false);
        Ok(())
    }
}

impl InputPin for WirePin {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        Ok(self.world.borrow().line_level(self.line))
    }

    fn is_low(&mut self) -> Result<bool, Infallible> {
        Ok(!self.world.borrow().line_level(self.line))
    }
}
