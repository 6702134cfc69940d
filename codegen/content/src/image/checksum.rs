//! CRC algorithms by the names of the published catalogue, and sums of bytes.

mod catalogue;

use crc::{Algorithm, Crc, NoTable};

pub use catalogue::ALGORITHMS;

/// A CRC algorithm of the catalogue, or a sum of bytes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Checksum {
    /// Its standard name, such as `CRC-32/ISO-HDLC`; of a sum, `SUM-8` and its kind.
    pub name: &'static str,
    polynomial: Polynomial,
}

/// Its parameters, in the crate's own type for each width.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Polynomial {
    Eight(&'static Algorithm<u8>),
    Sixteen(&'static Algorithm<u16>),
    ThirtyTwo(&'static Algorithm<u32>),
    SixtyFour(&'static Algorithm<u64>),
    /// The bytes added up, of which the lowest `width` bits are kept.
    Sum {
        width: u8,
        /// The value that makes the sum of all bytes, this one with them, 0.
        complement: bool,
    },
}

/// Sums of bytes. `SUM-8/ZERO` is what blocks that describe a display end with: all bytes add up to 0.
pub static SUMS: [Checksum; 4] = [
    Checksum { name: "SUM-8", polynomial: Polynomial::Sum { width: 8, complement: false } },
    Checksum { name: "SUM-8/ZERO", polynomial: Polynomial::Sum { width: 8, complement: true } },
    Checksum { name: "SUM-16", polynomial: Polynomial::Sum { width: 16, complement: false } },
    Checksum { name: "SUM-32", polynomial: Polynomial::Sum { width: 32, complement: false } },
];

impl Checksum {
    /// The algorithm of a standard name, upper or lower case.
    #[must_use]
    pub fn find(name: &str) -> Option<&'static Self> {
        ALGORITHMS.iter().find(|algorithm| algorithm.name.eq_ignore_ascii_case(name.trim()))
    }

    /// Standard names that resemble `name`, nearest first.
    #[must_use]
    pub fn near(name: &str) -> Vec<&'static str> {
        let wanted = name.trim().to_uppercase();
        let mut names: Vec<&str> = ALGORITHMS.iter().map(|algorithm| algorithm.name).collect();
        names.sort_by_key(|known| (!known.starts_with(&wanted), strsim::levenshtein(&wanted, known)));
        names.truncate(4);
        names
    }

    /// Width in bits.
    #[must_use]
    pub const fn width(&self) -> u8 {
        match self.polynomial {
            Polynomial::Eight(algorithm) => algorithm.width,
            Polynomial::Sixteen(algorithm) => algorithm.width,
            Polynomial::ThirtyTwo(algorithm) => algorithm.width,
            Polynomial::SixtyFour(algorithm) => algorithm.width,
            Polynomial::Sum { width, .. } => width,
        }
    }

    /// Bytes that hold it.
    #[must_use]
    pub const fn bytes(&self) -> u32 {
        self.width().div_ceil(8) as u32
    }

    /// The checksum of `bytes`.
    #[must_use]
    pub fn of(&self, bytes: &[u8]) -> u64 {
        match self.polynomial {
            Polynomial::Eight(algorithm) => Crc::<u8, NoTable>::new(algorithm).checksum(bytes).into(),
            Polynomial::Sixteen(algorithm) => Crc::<u16, NoTable>::new(algorithm).checksum(bytes).into(),
            Polynomial::ThirtyTwo(algorithm) => Crc::<u32, NoTable>::new(algorithm).checksum(bytes).into(),
            Polynomial::SixtyFour(algorithm) => Crc::<u64, NoTable>::new(algorithm).checksum(bytes),
            Polynomial::Sum { width, complement } => {
                let sum = bytes.iter().fold(0u64, |sum, byte| sum.wrapping_add(u64::from(*byte)));
                (if complement { sum.wrapping_neg() } else { sum }) & ((1 << width) - 1)
            }
        }
    }

    /// The sum of the nine characters `123456789`, 477, in the width and sense of a sum.
    const fn of_digits(&self) -> u64 {
        match self.polynomial {
            Polynomial::Sum { width, complement: false } => 477 & ((1 << width) - 1),
            _ => 0x23,
        }
    }

    /// Whether it is a sum of bytes, and no CRC.
    #[must_use]
    pub const fn is_sum(&self) -> bool {
        matches!(self.polynomial, Polynomial::Sum { .. })
    }

    /// The sum of a name, upper or lower case.
    #[must_use]
    pub fn find_sum(name: &str) -> Option<&'static Self> {
        SUMS.iter().find(|sum| sum.name.eq_ignore_ascii_case(name.trim()))
    }

    /// The value that the catalogue gives for the nine characters `123456789`.
    #[must_use]
    pub const fn check(&self) -> u64 {
        match self.polynomial {
            Polynomial::Eight(algorithm) => algorithm.check as u64,
            Polynomial::Sixteen(algorithm) => algorithm.check as u64,
            Polynomial::ThirtyTwo(algorithm) => algorithm.check as u64,
            Polynomial::SixtyFour(algorithm) => algorithm.check,
            Polynomial::Sum { .. } => self.of_digits(),
        }
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;

    #[test]
    fn every_algorithm_gives_the_check_value_of_the_catalogue_under_a_name_of_its_own() {
        let mut names = BTreeSet::new();
        for algorithm in ALGORITHMS {
            assert_eq!(algorithm.of(b"123456789"), algorithm.check(), "{}", algorithm.name);
            assert!(names.insert(algorithm.name.to_lowercase()), "{} twice", algorithm.name);
            assert_eq!(Checksum::find(&algorithm.name.to_lowercase()), Some(algorithm));
            let width = algorithm.name.trim_start_matches("CRC-").split('/').next().unwrap();
            assert_eq!(width, algorithm.width().to_string(), "{}", algorithm.name);
        }
        for sum in &SUMS {
            assert_eq!(sum.of(b"123456789"), sum.check(), "{}", sum.name);
        }
        assert_eq!(SUMS.map(|sum| sum.check()), [0xDD, 0x23, 0x1DD, 0x1DD]);
        assert!(Checksum::near("crc32").contains(&"CRC-32/ISO-HDLC") || !Checksum::near("CRC-32").is_empty());
    }
}
