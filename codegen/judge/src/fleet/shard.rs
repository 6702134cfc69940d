//! Dividing a fleet for several machines, and telling whether results belong together.

use std::fmt;
use std::str::FromStr;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use super::Job;
use crate::stock::Stock;
use crate::swap::Accept;
use pagewise_base::words;
use pagewise_part::card::Catalogue;

/// One part of a fleet: every board whose place in the fleet leaves `number` - 1 when divided by `of`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, JsonSchema, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Shard {
    /// Which one, from 1.
    pub number: usize,
    /// How many there are.
    pub of: usize,
}

/// Most shards of a fleet.
const MOST: usize = 10_000;

impl Shard {
    /// The whole fleet.
    pub const WHOLE: Self = Self { number: 1, of: 1 };

    /// Whether the board at a place of the fleet is in it. Neighbours, which are often alike, go to different shards.
    #[must_use]
    pub const fn holds(self, place: usize) -> bool {
        place % self.of == self.number - 1
    }

    /// Whether it can exist.
    #[must_use]
    pub const fn is_sound(self) -> bool {
        1 <= self.number && self.number <= self.of && self.of <= MOST
    }
}

impl fmt::Display for Shard {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.number, self.of)
    }
}

impl FromStr for Shard {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let numbers = text.split_once('/').and_then(|(number, of)| Some((number.parse().ok()?, of.parse().ok()?)));
        let shard = numbers.map(|(number, of)| Self { number, of });
        shard
            .filter(|shard| shard.is_sound())
            .ok_or_else(|| format!("write one of several, such as 2/8; at most {MOST}"))
    }
}

/// Digest of everything that results depend on: version, boards, their candidates, cards, stock list, accepted verdict.
#[must_use]
pub fn digest(jobs: &[Job<'_>], catalogue: &Catalogue, stock: Option<&Stock>, accept: Accept) -> String {
    let mut hash = Sha256::new();
    let mut add = |what: &str, text: &str| {
        // The length keeps one text from running into the next.
        hash.update(format!("{what} {}\n", text.len()));
        hash.update(text);
    };
    add("version", env!("CARGO_PKG_VERSION"));
    add("accept", &accept.to_string());
    for card in catalogue.cards() {
        add("card", &json(card));
    }
    for job in jobs {
        add("board", &json(&job.board));
        add("fitted", &job.old.id);
        job.candidates.iter().for_each(|card| add("candidate", &card.id));
    }
    if let Some(stock) = stock {
        add("currency", &stock.currency);
        for card in stock.cards() {
            // Volumes are in the boards.
            add("stock", &json(&(card, stock.offer(card, None))));
        }
    }
    words::hex(&hash.finalize())
}

fn json<T: Serialize>(value: &T) -> String {
    serde_json::to_string(value).expect("plain data serialises")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_board_is_in_exactly_one_shard() {
        for of in 1..12 {
            for place in 0..50 {
                let holders = (1..=of).filter(|number| Shard { number: *number, of }.holds(place)).count();
                assert_eq!(holders, 1, "board {place} of {of} shards");
            }
        }
    }

    #[test]
    fn what_is_no_shard_is_refused() {
        assert_eq!("2/8".parse(), Ok(Shard { number: 2, of: 8 }));
        for text in ["", "2", "0/8", "9/8", "2/0", "-1/8", "2/8/9", "a/b", "1/10001", " 1/2"] {
            assert!(text.parse::<Shard>().is_err(), "{text}");
        }
    }
}
