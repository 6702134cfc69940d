//! The role of each bit of the device address, and the short notation that cards use for it.

use std::borrow::Cow;
use std::fmt;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Serialize, Serializer};

/// Role of one bit of the 7-bit device address.
///
/// Notation in cards: `0` and `1` fixed, `A0` to `A2` compared with that pin, `/A1` compared with its complement,
/// `x` ignored, `B0` to `B6` block-select bit n (bit 8 × word-address bytes + n of the word address).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Role {
    /// Must have this value.
    Fixed(bool),
    /// Compared with pin An.
    Pin(u8),
    /// Compared with the complement of pin An.
    PinInverted(u8),
    /// Not looked at.
    Ignored,
    /// Block-select bit n.
    Block(u8),
}

impl Role {
    /// Reads one token of the notation.
    #[must_use]
    pub fn parse(token: &str) -> Option<Self> {
        Some(match token {
            "0" => Self::Fixed(false),
            "1" => Self::Fixed(true),
            "x" => Self::Ignored,
            "A0" => Self::Pin(0),
            "A1" => Self::Pin(1),
            "A2" => Self::Pin(2),
            "/A0" => Self::PinInverted(0),
            "/A1" => Self::PinInverted(1),
            "/A2" => Self::PinInverted(2),
            _ => match token.strip_prefix('B')?.parse() {
                Ok(bit @ 0..=6) => Self::Block(bit),
                _ => return None,
            },
        })
    }

    /// Reads exactly `N` tokens separated by spaces.
    ///
    /// # Errors
    /// The first token that is not known, or how many there were.
    pub fn parse_row<const N: usize>(text: &str) -> Result<[Self; N], String> {
        let mut roles = Vec::new();
        for token in text.split_whitespace() {
            let role = Self::parse(token).ok_or_else(|| format!("`{token}` is not an address-bit role"))?;
            roles.push(role);
        }
        <[Self; N]>::try_from(roles).map_err(|roles| format!("has {} address bits instead of {N}", roles.len()))
    }

    /// The pin that this bit is compared with.
    #[must_use]
    pub const fn pin(self) -> Option<u8> {
        match self {
            Self::Pin(pin) | Self::PinInverted(pin) => Some(pin),
            _ => None,
        }
    }
}

impl fmt::Display for Role {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Fixed(false) => f.pad("0"),
            Self::Fixed(true) => f.pad("1"),
            Self::Pin(pin) => f.pad(&format!("A{pin}")),
            Self::PinInverted(pin) => f.pad(&format!("/A{pin}")),
            Self::Ignored => f.pad("x"),
            Self::Block(bit) => f.pad(&format!("B{bit}")),
        }
    }
}

/// A text in that notation.
impl JsonSchema for Role {
    fn schema_name() -> Cow<'static, str> {
        "Role".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": "string", "pattern": "^([01x]|/?A[0-2]|B[0-9]+)$" })
    }
}

impl Serialize for Role {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

/// A row of roles in the notation of the cards.
#[must_use]
pub fn row(roles: &[Role]) -> String {
    roles.iter().map(Role::to_string).collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_notation_reads_back_as_written() {
        for text in ["1 0 1 0", "1 A2 /A1 A0", "B6 B5 B4 B3"] {
            assert_eq!(row(&Role::parse_row::<4>(text).unwrap()), text);
        }
        assert_eq!(Role::parse_row::<3>("A2 A1").unwrap_err(), "has 2 address bits instead of 3");
        assert_eq!(Role::parse_row::<3>("A2 A1 A9").unwrap_err(), "`A9` is not an address-bit role");
        assert_eq!(Role::parse("B7"), None);
    }
}
