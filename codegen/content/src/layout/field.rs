//! Plain values: bytes, texts, integers; how they are written and how they lie in memory.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A plain value.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Field {
    /// Bytes.
    Bytes {
        /// How many.
        length: u32,
    },
    /// A text, padded to its length.
    Text {
        /// Bytes that it takes.
        length: u32,
        /// How characters become bytes.
        encoding: Encoding,
        /// Byte that stands behind a shorter text.
        padding: u8,
    },
    /// Integers, one after the other.
    Integers {
        /// Width and sign.
        integer: Integer,
        /// Byte order.
        endian: Endian,
        /// How many.
        count: u32,
    },
}

/// How characters become bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Encoding {
    /// ASCII.
    Ascii,
    /// ISO 8859-1.
    #[serde(rename = "latin-1")]
    Latin1,
    /// UTF-8.
    #[serde(rename = "utf-8")]
    Utf8,
}

/// Byte order.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Endian {
    /// Low byte first.
    Little,
    /// High byte first.
    Big,
}

/// Width and sign of an integer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Integer {
    /// Bytes: 1, 2, 4 or 8.
    pub bytes: u8,
    /// Two's complement.
    pub signed: bool,
}

impl Integer {
    /// Every integer by its word.
    pub const WORDS: [(&'static str, Self); 8] = [
        ("u8", Self { bytes: 1, signed: false }),
        ("u16", Self { bytes: 2, signed: false }),
        ("u32", Self { bytes: 4, signed: false }),
        ("u64", Self { bytes: 8, signed: false }),
        ("i8", Self { bytes: 1, signed: true }),
        ("i16", Self { bytes: 2, signed: true }),
        ("i32", Self { bytes: 4, signed: true }),
        ("i64", Self { bytes: 8, signed: true }),
    ];

    /// The word for it: `u16`.
    #[must_use]
    pub fn word(self) -> &'static str {
        Self::WORDS.iter().find(|(_, integer)| *integer == self).map_or("", |(word, _)| word)
    }

    /// Smallest and largest value.
    #[must_use]
    pub const fn limits(self) -> (i128, i128) {
        let bits = 8 * self.bytes as u32;
        if self.signed { (-(1 << (bits - 1)), (1 << (bits - 1)) - 1) } else { (0, (1 << bits) - 1) }
    }
}

impl Endian {
    /// The lowest `bytes` bytes of a number in this order.
    #[must_use]
    pub fn bytes(self, number: u64, bytes: usize) -> Vec<u8> {
        let little = number.to_le_bytes();
        let mut part = little[..bytes.min(8)].to_vec();
        if self == Self::Big {
            part.reverse();
        }
        part
    }
}

impl Field {
    /// Bytes that it takes.
    #[must_use]
    pub fn length(&self) -> u32 {
        match self {
            Self::Bytes { length } | Self::Text { length, .. } => *length,
            Self::Integers { integer, count, .. } => u32::from(integer.bytes) * count,
        }
    }

    /// The word that the file has for it.
    #[must_use]
    pub fn word(&self) -> String {
        match self {
            Self::Bytes { .. } => "bytes".into(),
            Self::Text { .. } => "text".into(),
            Self::Integers { integer, count: 1, .. } => integer.word().into(),
            Self::Integers { integer, count, .. } => format!("{} x {count}", integer.word()),
        }
    }

    /// The bytes of a value that is written as a text: hexadecimal digits for bytes, the text itself, or decimal or
    /// hexadecimal (`0x1F`) numbers with blanks or semicolons between them.
    ///
    /// # Errors
    /// What is wrong with the text.
    pub fn encode(&self, text: &str) -> Result<Vec<u8>, String> {
        match self {
            Self::Bytes { length } => {
                let bytes = hexadecimal(text)?;
                exactly(bytes.len(), *length, "bytes")?;
                Ok(bytes)
            }
            Self::Text { length, encoding, padding } => padded(text, *length, *encoding, *padding),
            Self::Integers { integer, endian, count } => {
                let words: Vec<&str> = text.split([' ', ';', '\t']).filter(|word| !word.is_empty()).collect();
                exactly(words.len(), *count, "numbers")?;
                let numbers: Result<Vec<u64>, String> = words.iter().map(|word| number(word, *integer)).collect();
                Ok(numbers?.into_iter().flat_map(|number| endian.bytes(number, integer.bytes.into())).collect())
            }
        }
    }
}

fn exactly(given: usize, wanted: u32, what: &str) -> Result<(), String> {
    if given == wanted as usize { Ok(()) } else { Err(format!("has {given} {what}, {wanted} are wanted")) }
}

/// Bytes as pairs of hexadecimal digits, with or without blanks, `-`, `:` between them or `0x` before each.
pub(super) fn hexadecimal(text: &str) -> Result<Vec<u8>, String> {
    let mut bytes = Vec::new();
    for word in text.split([' ', '\t', '-', ':', ';']).filter(|word| !word.is_empty()) {
        let digits = word.strip_prefix("0x").unwrap_or(word);
        let pairs = digits.as_bytes().chunks_exact(2);
        if !digits.bytes().all(|digit| digit.is_ascii_hexdigit()) || !pairs.remainder().is_empty() {
            return Err(format!("`{word}` is not pairs of hexadecimal digits"));
        }
        bytes.extend(pairs.filter_map(|pair| {
            let pair = std::str::from_utf8(pair).ok()?;
            u8::from_str_radix(pair, 16).ok()
        }));
    }
    Ok(bytes)
}

fn number(word: &str, integer: Integer) -> Result<u64, String> {
    let (negative, digits) = word.strip_prefix('-').map_or((false, word), |digits| (true, digits));
    let parsed = match digits.strip_prefix("0x").or_else(|| digits.strip_prefix("0X")) {
        Some(digits) if digits.starts_with(['+', '-']) => None,
        Some(digits) => i128::from_str_radix(digits, 16).ok(),
        None if digits.starts_with(['+', '-']) => None,
        None => digits.parse::<i128>().ok(),
    };
    let number = parsed.ok_or_else(|| format!("`{word}` is not a whole number"))?;
    let number = if negative { -number } else { number };
    let (low, high) = integer.limits();
    if (low..=high).contains(&number) {
        // Two's complement: the lower bytes are the same at any width.
        return Ok(number as u64);
    }
    Err(format!("{word} does not fit {}, which goes from {low} to {high}", integer.word()))
}

fn padded(text: &str, length: u32, encoding: Encoding, padding: u8) -> Result<Vec<u8>, String> {
    let mut bytes = match encoding {
        Encoding::Utf8 => text.as_bytes().to_vec(),
        Encoding::Ascii => match text.chars().find(|c| !c.is_ascii()) {
            Some(c) => return Err(format!("`{c}` is not ASCII character")),
            None => text.as_bytes().to_vec(),
        },
        Encoding::Latin1 => {
            let byte =
                |c: char| u8::try_from(u32::from(c)).map_err(|_| format!("`{c}` is not a character of ISO 8859-1"));
            text.chars().map(byte).collect::<Result<_, _>>()?
        }
    };
    if bytes.len() > length as usize {
        return Err(format!("takes {} bytes, {length} are there", bytes.len()));
    }
    if bytes.last() == Some(&padding) {
        return Err(format!("ends with the padding byte {padding:#04x} and could not be told from a shorter one"));
    }
    bytes.resize(length as usize, padding);
    Ok(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn integers(word: &str, endian: Endian, count: u32) -> Field {
        let integer = Integer::WORDS.iter().find(|(known, _)| *known == word).unwrap().1;
        Field::Integers { integer, endian, count }
    }

    #[test]
    fn integers_lie_in_their_byte_order() {
        assert_eq!(integers("u32", Endian::Little, 1).encode("0x01020304"), Ok(vec![4, 3, 2, 1]));
        assert_eq!(integers("u32", Endian::Big, 1).encode("0x01020304"), Ok(vec![1, 2, 3, 4]));
        assert_eq!(integers("i16", Endian::Big, 2).encode("-2; 5"), Ok(vec![0xFF, 0xFE, 0, 5]));
        assert_eq!(integers("u64", Endian::Little, 1).encode("18446744073709551615"), Ok(vec![0xFF; 8]));
    }

    /// Outside check: the integers of Rust have these limits.
    #[test]
    fn every_integer_takes_its_limits_and_nothing_beyond() {
        let limits: [(i128, i128); 8] = [
            (0, u8::MAX.into()),
            (0, u16::MAX.into()),
            (0, u32::MAX.into()),
            (0, u64::MAX.into()),
            (i8::MIN.into(), i8::MAX.into()),
            (i16::MIN.into(), i16::MAX.into()),
            (i32::MIN.into(), i32::MAX.into()),
            (i64::MIN.into(), i64::MAX.into()),
        ];
        for ((word, integer), (low, high)) in Integer::WORDS.into_iter().zip(limits) {
            let field = Field::Integers { integer, endian: Endian::Little, count: 1 };
            for number in [low, high] {
                let expected = number.to_le_bytes()[..usize::from(integer.bytes)].to_vec();
                assert_eq!(field.encode(&number.to_string()), Ok(expected), "{word} {number}");
            }
            for number in [low - 1, high + 1] {
                assert!(field.encode(&number.to_string()).unwrap_err().contains("does not fit"), "{word} {number}");
            }
        }
    }

    #[test]
    fn what_is_no_number_is_refused() {
        for text in ["", "1 2", "one", "0x", "0x-1", "--1", "+1", "1.5", "0xFFFFFFFFFFFFFFFFFFFFFFFFFFFFFFFFFF"] {
            assert!(integers("u8", Endian::Little, 1).encode(text).is_err(), "{text}");
        }
    }

    #[test]
    fn bytes_are_pairs_of_digits() {
        let field = Field::Bytes { length: 4 };
        for text in ["DEADBEEF", "de ad be ef", "DE-AD-BE-EF", "0xDE 0xAD 0xBE 0xEF", "dead:beef"] {
            assert_eq!(field.encode(text), Ok(vec![0xDE, 0xAD, 0xBE, 0xEF]), "{text}");
        }
        for text in ["", "DEADBEE", "DEADBE", "DEADBEEF00", "DEADBEEG", "+EADBEEF", "dé ad be ef"] {
            assert!(field.encode(text).is_err(), "{text}");
        }
    }

    #[test]
    fn texts_are_padded_and_told_from_their_padding() {
        let text = |length, encoding, padding| Field::Text { length, encoding, padding };
        assert_eq!(text(4, Encoding::Ascii, 0).encode("ab"), Ok(b"ab\0\0".to_vec()));
        assert_eq!(text(4, Encoding::Latin1, 0x20).encode("µ"), Ok(vec![0xB5, 0x20, 0x20, 0x20]));
        assert_eq!(text(4, Encoding::Utf8, 0xFF).encode("µ"), Ok(vec![0xC2, 0xB5, 0xFF, 0xFF]));
        assert!(text(1, Encoding::Utf8, 0).encode("µ").unwrap_err().contains("takes 2 bytes, 1 are there"));
        assert!(text(4, Encoding::Ascii, 0).encode("µ").is_err());
        assert!(text(4, Encoding::Latin1, 0).encode("€").is_err());
        assert!(text(4, Encoding::Ascii, 0x20).encode("a ").unwrap_err().contains("padding"));
    }
}
