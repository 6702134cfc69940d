//! CRC algorithms by the names of the published catalogue.

mod catalogue;

use crc::{Algorithm, Crc, NoTable};

pub use catalogue::ALGORITHMS;

/// A CRC algorithm of the catalogue.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Checksum {
    /// Its standard name, such as `CRC-32/ISO-HDLC`.
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
}

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
        }
    }

    /// The value that the catalogue gives for the nine characters `123456789`.
    #[must_use]
    pub const fn check(&self) -> u64 {
        match self.polynomial {
            Polynomial::Eight(algorithm) => algorithm.check as u64,
            Polynomial::Sixteen(algorithm) => algorithm.check as u64,
            Polynomial::ThirtyTwo(algorithm) => algorithm.check as u64,
            Polynomial::SixtyFour(algorithm) => algorithm.check,
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
        assert!(Checksum::near("crc32").contains(&"CRC-32/ISO-HDLC") || !Checksum::near("CRC-32").is_empty());
    }
}
