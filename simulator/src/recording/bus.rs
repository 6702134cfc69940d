//! The bus that is read.

use std::string::String;

use crate::recording::source::Chosen;

/// Two channels of a recording that carry a bus, and the supply if it was recorded.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Bus {
    /// What the names of its channels have in common; empty where there is one bus only.
    pub name: String,
    /// Name of the channel with SCL.
    pub scl: String,
    /// Name of the channel with SDA.
    pub sda: String,
    /// Name of the channel with the supply.
    pub supply: Option<String>,
    pub(crate) chosen: Chosen,
}
