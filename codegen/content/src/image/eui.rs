//! EUI-48 and EUI-64: the network addresses that a part carries for its board.
//!
//! Sources: IEEE guidelines for EUI as quoted in `tests/data/standards.toml`, section `eui`; the step from 48 to 64 bits
//! as in Microchip DS20002124E, pages 13 and 14.

use std::fmt;

/// An EUI-48 or EUI-64, first octet first.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Eui(Vec<u8>);

/// Ranges set aside for documents: what they cover, first address, last address. RFC 7042 provides them.
const DOCUMENTATION: [([u8; 8], [u8; 8]); 3] = [
    // The EUI-64 global range, the EUI-48 range put into EUI-64, and the modified form of the first.
    ([0x00, 0x00, 0x5E, 0xEF, 0x10, 0, 0, 0x00], [0x00, 0x00, 0x5E, 0xEF, 0x10, 0, 0, 0xFF]),
    ([0x00, 0x00, 0x5E, 0xFF, 0xFE, 0, 0x53, 0x00], [0x00, 0x00, 0x5E, 0xFF, 0xFE, 0, 0x53, 0xFF]),
    ([0x02, 0x00, 0x5E, 0x10, 0, 0, 0, 0x00], [0x02, 0x00, 0x5E, 0x10, 0, 0, 0, 0xFF]),
];

/// First five octets of the EUI-48 range set aside for documents.
const DOCUMENTATION_48: [u8; 5] = [0x00, 0x00, 0x5E, 0x00, 0x53];

impl Eui {
    /// Reads an address of `octets` octets: pairs of hexadecimal digits, all parted by `-`, all by `:`, or not parted.
    ///
    /// # Errors
    /// What is wrong with the text.
    pub fn parse(text: &str, octets: usize) -> Result<Self, String> {
        let text = text.trim();
        let wanted = || format!("`{text}` is not an EUI-{}; write {octets} octets as 00-00-5E-...", octets * 8);
        let separator = text.chars().find(|c| *c == '-' || *c == ':');
        let pairs: Vec<&str> = match separator {
            Some(separator) => text.split(separator).collect(),
            None if text.is_ascii() => {
                text.as_bytes().chunks(2).map(|pair| std::str::from_utf8(pair).unwrap_or("")).collect()
            }
            None => return Err(wanted()),
        };
        let octet = |pair: &&str| {
            let digits = pair.len() == 2 && pair.bytes().all(|digit| digit.is_ascii_hexdigit());
            digits.then(|| u8::from_str_radix(pair, 16).ok()).flatten()
        };
        match pairs.iter().map(octet).collect::<Option<Vec<u8>>>() {
            Some(address) if address.len() == octets => Ok(Self(address)),
            _ => Err(wanted()),
        }
    }

    /// An address of these octets.
    #[must_use]
    pub fn new(octets: &[u8]) -> Self {
        Self(octets.to_vec())
    }

    /// The octets.
    #[must_use]
    pub fn octets(&self) -> &[u8] {
        &self.0
    }

    /// Why no unit may carry this address; `None` when one may.
    #[must_use]
    pub fn unfit(&self) -> Option<String> {
        let first = self.0.first().copied().unwrap_or(0);
        if self.0.iter().all(|octet| *octet == 0) {
            return Some(format!("{self} is all zero, which is no address"));
        }
        if self.0.iter().all(|octet| *octet == 0xFF) {
            return Some(format!("{self} is all ones, which is the broadcast address"));
        }
        if first & 1 == 1 {
            return Some(format!(
                "{self} has the group bit set (bit 0 of {first:02X}); a unit needs an individual address"
            ));
        }
        None
    }

    /// What a reader should know about an address that a unit may carry.
    #[must_use]
    pub fn remark(&self) -> Option<&'static str> {
        if self.is_documentation() {
            return Some("lies in a range set aside for documents: for demonstrations, never for units that are sold");
        }
        self.is_local().then_some("is locally administered: unique only as far as its owner takes care")
    }

    /// Whether it lies in a range set aside for documents.
    #[must_use]
    pub fn is_documentation(&self) -> bool {
        match <[u8; 8]>::try_from(self.0.as_slice()) {
            Ok(address) => DOCUMENTATION.iter().any(|(first, last)| (*first..=*last).contains(&address)),
            Err(_) => self.0.starts_with(&DOCUMENTATION_48),
        }
    }

    /// Whether the bit for local administration is set (bit 1 of the first octet).
    #[must_use]
    pub fn is_local(&self) -> bool {
        self.0.first().is_some_and(|first| first & 2 == 2)
    }

    /// Whether the bit for groups is set (bit 0 of the first octet).
    #[must_use]
    pub fn is_group(&self) -> bool {
        self.0.first().is_some_and(|first| first & 1 == 1)
    }

    /// The EUI-64 of an EUI-48: FF-FE between its third and fourth octet, every bit else as it is.
    ///
    /// (The interface identifiers of IPv6 also turn the bit for local administration; this does not.)
    #[must_use]
    pub fn to_64(&self) -> Option<Self> {
        let (head, tail) = self.0.split_at_checked(3).filter(|_| self.0.len() == 6)?;
        Some(Self([head, &[0xFF, 0xFE], tail].concat()))
    }
}

impl fmt::Display for Eui {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (index, octet) in self.0.iter().enumerate() {
            if index > 0 {
                f.write_str("-")?;
            }
            write!(f, "{octet:02X}")?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn addresses_are_read_in_three_spellings_and_in_no_other() {
        for text in ["00-00-5E-00-53-7f", "00:00:5e:00:53:7F", " 00005E00537F "] {
            assert_eq!(Eui::parse(text, 6).unwrap().to_string(), "00-00-5E-00-53-7F", "{text}");
        }
        for text in [
            "",
            "00-00-5E-00-53",
            "00-00-5E-00-53-7F-00",
            "00-00:5E-00-53-7F",
            "0-0-5E-0-53-7F",
            "00-00-5E-00-53-7G",
            "+0-00-5E-00-53-7F",
            "00005E00537",
            "éé-00-5E-00-53-7F",
            "ééé",
            "-00-00-5E-00-53-7F",
        ] {
            assert!(Eui::parse(text, 6).is_err(), "{text}");
        }
    }

    #[test]
    fn addresses_that_no_unit_may_carry_are_told_apart() {
        let unfit = |text| Eui::parse(text, 6).unwrap().unfit().unwrap_or_default();
        assert!(unfit("00-00-00-00-00-00").contains("all zero"));
        assert!(unfit("FF-FF-FF-FF-FF-FF").contains("all ones"));
        assert!(unfit("01-00-5E-90-10-00").contains("group bit"));
        assert_eq!(unfit("00-00-5E-00-53-00"), "");
    }
}
