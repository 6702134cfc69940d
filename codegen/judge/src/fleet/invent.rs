//! Makes up fleets, for benches and demonstrations: boards of an invented maker with parts of the catalogue on them.
//!
//! A fleet follows from its seed and the cards alone. Most boards suit their fitted part, some carry what boards carry in
//! practice: a page taken too large, open straps, a short fixed wait. No board of any kind exists; names, volumes and
//! settings are drawn, with weights that are our choice.

mod board;
mod draw;

use schemars::JsonSchema;
use serde::Serialize;

use draw::Draw;
use pagewise_part::card::{Card, Catalogue, Kind};

/// Most boards of a fleet.
pub const MOST: usize = 100_000;

/// One invented board file.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
pub struct BoardFile {
    /// File name.
    pub name: String,
    /// Text of the file.
    pub text: String,
}

/// Invents a fleet of at most [`MOST`] boards. The first boards of a larger fleet with the same seed are the same.
///
/// # Panics
/// Never with the template that is embedded; tests render it.
#[must_use]
pub fn fleet(catalogue: &Catalogue, boards: usize, seed: u64) -> Vec<BoardFile> {
    let cards: Vec<&Card> = catalogue.parts().filter(|card| card.kind == Kind::Eeprom).filter(can_be_driven).collect();
    (0..boards.min(MOST))
        .map(|place| {
            // Every board draws for itself, so that none depends on how many came before.
            let mut draw = Draw::new(seed, place as u64);
            let values = board::draw(&mut draw, &cards, place, seed);
            BoardFile {
                name: format!("{}.toml", values.stem),
                text: pagewise_templates::render("board.toml.tera", &values),
            }
        })
        .collect()
}

/// Firmware as board files describe it can drive the part: block-select bits side by side, no bank select.
fn can_be_driven(card: &&Card) -> bool {
    card.parameters([false; 3]).is_ok() && card.reachable_bytes() == card.capacity_bytes.value
}
