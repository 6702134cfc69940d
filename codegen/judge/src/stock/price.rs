//! Money in millionths of its unit: exact for every price that is written with at most six places.

use std::borrow::Cow;
use std::fmt;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Deserializer, Serialize, Serializer, de::Error};

/// A price of at least 0, in millionths of the currency's unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Price(u128);

/// Highest price of a piece: a billion.
const MOST: u128 = 1_000_000_000 * MILLION;
const MILLION: u128 = 1_000_000;

impl Price {
    /// Reads `0.042`, with this decimal mark. Spaces and signs are refused, as are thousands' marks, which mean different
    /// things in different countries.
    ///
    /// # Errors
    /// What is wrong, in words.
    pub fn parse(text: &str, mark: char) -> Result<Self, String> {
        let (whole, places) = text.split_once(mark).unwrap_or((text, ""));
        let digits = |part: &str| part.chars().all(|digit| digit.is_ascii_digit());
        if whole.is_empty() || !digits(whole) || !digits(places) || text.ends_with(mark) {
            return Err(format!("`{text}` is not a price such as 0{mark}042"));
        }
        if places.len() > 6 {
            return Err(format!("`{text}` has more than six places"));
        }
        // A number too long for u128 is above the most anyway.
        let whole: u128 = whole.parse().unwrap_or(u128::MAX);
        let millionths: u128 = format!("{places:0<6}").parse().unwrap_or(0);
        let price = whole.saturating_mul(MILLION).saturating_add(millionths);
        if price > MOST { Err(format!("`{text}` is above a billion")) } else { Ok(Self(price)) }
    }

    /// The price of a number of pieces.
    #[must_use]
    pub fn times(self, pieces: u32) -> Self {
        // 10^15 times 2^32 is far below 2^128.
        Self(self.0 * u128::from(pieces))
    }
}

/// As a decimal with a point and at least two places.
impl fmt::Display for Price {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let places = format!("{:06}", self.0 % MILLION);
        let places = places.trim_end_matches('0');
        f.pad(&format!("{}.{places:0<2}", self.0 / MILLION))
    }
}

/// As text, so that no reader rounds it.
impl Serialize for Price {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl JsonSchema for Price {
    fn schema_name() -> Cow<'static, str> {
        "Price".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": "string", "pattern": "^[0-9]+\\.[0-9]{2,6}$" })
    }
}

impl<'de> Deserialize<'de> for Price {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = String::deserialize(deserializer)?;
        // A yearly cost may lie above the highest price of a piece.
        let (whole, places) = text.split_once('.').unwrap_or((&text, ""));
        let number = |part: &str| part.parse::<u128>().ok();
        let value = number(whole).zip(number(&format!("{places:0<6}"))).filter(|_| places.len() <= 6);
        let price = value.and_then(|(whole, part)| whole.checked_mul(MILLION)?.checked_add(part));
        price.map(Self).ok_or_else(|| D::Error::custom("no price"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn prices_are_exact() {
        let price = Price::parse("0.1", '.').unwrap();
        assert_eq!(price.times(3).to_string(), "0.30", "0.1 + 0.1 + 0.1 in binary is not 0.3");
        assert_eq!(Price::parse("0,042", ',').unwrap().times(150).to_string(), "6.30");
        assert_eq!(Price::parse("12", '.').unwrap().to_string(), "12.00");
        assert_eq!(Price::parse("0.000001", '.').unwrap().times(u32::MAX).to_string(), "4294.967295");
        for text in ["0.1", "12", "0.000001", "1000000000"] {
            let price = Price::parse(text, '.').unwrap().times(u32::MAX);
            let json = serde_json::to_string(&price).unwrap();
            assert_eq!(serde_json::from_str::<Price>(&json).unwrap(), price);
        }
    }

    #[test]
    fn what_is_no_price_is_refused() {
        for text in ["", ".", "1.", ".5", "-1", "+1", "1e3", "1,5", "1.2.3", "1 000", "0.0000001", "1000000001", "NaN"]
        {
            assert!(Price::parse(text, '.').is_err(), "{text}");
        }
        assert!(Price::parse("99999999999999999999999999999999999999999999", '.').is_err());
    }
}
