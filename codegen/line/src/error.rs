//! What a bus of the line said.

use std::fmt;

use embedded_hal::i2c::{Error, ErrorKind};

/// What a bus said, kept as kind and text so that both buses share one type.
#[derive(Clone, PartialEq, Eq)]
pub struct LineError {
    /// Kind as the driver judges it.
    pub kind: ErrorKind,
    /// The words of the bus.
    pub text: String,
}

/// The driver shows the errors of a bus in this form to people.
impl fmt::Debug for LineError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}

impl fmt::Display for LineError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}

impl std::error::Error for LineError {}

impl Error for LineError {
    fn kind(&self) -> ErrorKind {
        self.kind
    }
}
