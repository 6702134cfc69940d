//! Wear: write cycles at each place of the array against the part's rating.
//!
//! | number | formula | source |
//! |---|---|---|
//! | cycles of a wear unit in a day | sum over the page writes that touch it | the card (AT24CM02: section 7.3) |
//! | days to the rating | rating / cycles in a day | arithmetic, as in the Cypress white paper on F-RAM |
//! | years | days / 365.25 | arithmetic |
//!
//! A rating holds at the temperature that its sheet states and is never carried to another one, nor to another maker's
//! part: at the board's temperature the point stated for the next higher temperature counts, and where none is stated
//! the budget says so.

use std::ops::RangeInclusive;

use schemars::JsonSchema;
use serde::Serialize;

use crate::board::Board;
use pagewise_part::card::{Card, Wear};
use pagewise_part::fact::Basis;

/// Days in a year.
pub const DAYS_PER_YEAR: f64 = 365.25;

/// Bytes that age together.
#[must_use]
pub fn unit_bytes(card: &Card) -> u32 {
    match card.wear_unit.value {
        Wear::Byte => 1,
        Wear::Group4 => 4,
        Wear::Page => card.page_bytes.value,
    }
}

/// Days until `rated` cycles are used up.
#[must_use]
pub fn days_to(rated: u64, cycles_per_day: f64) -> f64 {
    rated as f64 / cycles_per_day
}

/// Cycles per day of the wear units that a board writes at run time.
#[derive(Debug)]
pub struct Load {
    /// Number of the first of them (offset / unit).
    first: u32,
    /// From that one on; 0 where nothing is written.
    per_day: Vec<f64>,
}

impl Load {
    /// What a board's firmware puts on units of so many bytes.
    #[must_use]
    pub fn of(board: &Board, unit: u32) -> Self {
        let written = || board.regions.iter().filter(|region| region.writes_per_day > 0.0);
        let first = written().map(|region| region.offset / unit).min().unwrap_or_default();
        let end = written().map(|region| (region.offset + region.length - 1) / unit + 1).max().unwrap_or_default();
        let mut per_day = vec![0.0; end.saturating_sub(first) as usize];
        for region in written() {
            for piece in board.firmware.write_pieces(region) {
                let places = piece.offset / unit - first..=(piece.offset + piece.length - 1) / unit - first;
                per_day[*places.start() as usize..=*places.end() as usize]
                    .iter_mut()
                    .for_each(|cycles| *cycles += region.writes_per_day);
            }
        }
        Self { first, per_day }
    }

    /// The busiest wear unit among some, the first of several: its number and its cycles per day. `None` where none of
    /// them is written.
    #[must_use]
    pub fn busiest(&self, among: RangeInclusive<u32>) -> Option<(u32, f64)> {
        let written = (self.first..).zip(self.per_day.iter().copied()).filter(|(_, cycles)| *cycles > 0.0);
        let among = written.filter(|(place, _)| among.contains(place));
        among.max_by(|a, b| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0)))
    }

    /// The same among all.
    #[must_use]
    pub fn busiest_of_all(&self) -> Option<(u32, f64)> {
        self.busiest(0..=u32::MAX)
    }
}

/// The rating that counts on a board.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct Rating {
    /// Rated write cycles per wear unit.
    pub cycles: u64,
    /// Temperature that the rating is stated for, in degrees Celsius, where the sheet read tells it.
    pub at_celsius: Option<f64>,
    /// The board's temperature in degrees Celsius, where its file tells it.
    pub board_celsius: Option<f64>,
    /// Whether the rating covers the board's temperature; absent where either is not known.
    pub covers: Option<bool>,
    /// Where the rating came from.
    pub source: Basis,
}

impl Rating {
    /// The rating of a part at a temperature in degrees Celsius and a supply in millivolts.
    #[must_use]
    pub fn of(card: &Card, board_celsius: Option<f64>, supply_mv: u32) -> Self {
        let stated = card.rated_cycles_at(supply_mv);
        let plain = Self { cycles: stated.value, at_celsius: None, board_celsius, covers: None, source: stated.basis };
        let Some(points) = card.endurance_at.as_ref() else { return plain };
        let source = points.basis.clone();
        let (Some(first), Some(last)) = (points.value.first(), points.value.last()) else { return plain };
        let Some(celsius) = board_celsius else {
            return Self { cycles: first.cycles, at_celsius: Some(first.celsius), source, ..plain };
        };
        // Points are coolest first; a rating stated for a higher temperature holds at a lower one.
        let covering = points.value.iter().find(|point| point.celsius >= celsius);
        let point = covering.unwrap_or(last);
        Self {
            cycles: point.cycles,
            at_celsius: Some(point.celsius),
            covers: Some(covering.is_some()),
            source,
            ..plain
        }
    }

    /// What one has to know about it, in words.
    #[must_use]
    pub fn words(&self) -> String {
        if matches!(self.source, Basis::Assumed { .. }) {
            return "not stated in the sheet read; the lowest rating met in published parts stands in".to_owned();
        }
        match (self.at_celsius, self.board_celsius, self.covers) {
            (Some(at), Some(board), Some(true)) => format!("stated for {at} C, which covers the board's {board} C"),
            (Some(at), Some(board), _) => format!(
                "stated for {at} C only: at the board's {board} C it is lower by an amount that the sheet read does \
                 not state"
            ),
            (Some(at), None, _) => format!("stated for {at} C; the board file tells no temperature_max_c"),
            (None, Some(board), _) => {
                format!("the sheet read does not tell at which temperature; the board's is {board} C")
            }
            (None, None, _) => "the sheet read does not tell at which temperature".to_owned(),
        }
    }
}

/// Wear of one region.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct RegionWear {
    /// Its name.
    pub region: String,
    /// First byte.
    pub offset: u32,
    /// Bytes.
    pub length: u32,
    /// Writes of the whole region per day.
    pub writes_per_day: f64,
    /// First byte of its busiest wear unit.
    pub worst_offset: u32,
    /// Cycles per day there, neighbours included.
    pub cycles_per_day: f64,
    /// Other regions that have bytes in its wear units, as written or as silent neighbours.
    pub shares_with: Vec<String>,
    /// Years to the rating; absent when nothing is written there at run time.
    pub years_to_rating: Option<f64>,
    /// Part of the rating that is used over the board's years of life.
    pub used: f64,
}

/// Wear of a board's part.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct WearBudget {
    /// What ages together, in words of the cards.
    pub unit: Wear,
    /// The same in bytes.
    pub unit_bytes: u32,
    /// Where that came from.
    pub unit_source: Basis,
    /// The rating that counts.
    pub rating: Rating,
    /// Years that the board must last.
    pub years_of_life: f64,
    /// Regions, worst first.
    pub regions: Vec<RegionWear>,
    /// First byte of the busiest wear unit of the whole array; absent when nothing is written at run time.
    pub worst_offset: Option<u32>,
    /// Years to the rating there.
    pub years_to_rating: Option<f64>,
    /// Whether the rating lasts for the board's years of life.
    pub lasts: bool,
}

impl WearBudget {
    /// Whether it does not last by a rating that is stated; an assumed rating is the lowest met in published parts.
    #[must_use]
    pub const fn is_spent(&self) -> bool {
        !self.lasts && !matches!(self.rating.source, Basis::Assumed { .. })
    }
}

impl WearBudget {
    /// The wear that a board puts on a part.
    #[must_use]
    pub fn of(board: &Board, card: &Card) -> Self {
        let unit = unit_bytes(card);
        let rating = Rating::of(card, board.temperature_max_c, board.bus.supply_mv);
        let load = Load::of(board, unit);
        let years = |cycles: f64| (cycles > 0.0).then(|| days_to(rating.cycles, cycles) / DAYS_PER_YEAR);
        let mut regions: Vec<RegionWear> = Vec::new();
        for region in &board.regions {
            let (first, last) = (region.offset / unit, (region.offset + region.length - 1) / unit);
            let (place, cycles) = load.busiest(first..=last).unwrap_or((first, 0.0));
            let shares_with = board.regions.iter().filter(|other| {
                other.name != region.name
                    && other.offset / unit <= last
                    && first <= (other.offset + other.length - 1) / unit
            });
            regions.push(RegionWear {
                region: region.name.clone(),
                offset: region.offset,
                length: region.length,
                writes_per_day: region.writes_per_day,
                worst_offset: place * unit,
                cycles_per_day: cycles,
                shares_with: shares_with.map(|other| other.name.clone()).collect(),
                years_to_rating: years(cycles),
                used: cycles * DAYS_PER_YEAR * board.years / rating.cycles as f64,
            });
        }
        regions.sort_by(|a, b| b.used.total_cmp(&a.used));
        let worst = load.busiest_of_all();
        let years_to_rating = worst.and_then(|(_, cycles)| years(cycles));
        Self {
            unit: card.wear_unit.value,
            unit_bytes: unit,
            unit_source: card.wear_unit.basis.clone(),
            years_of_life: board.years,
            regions,
            worst_offset: worst.map(|(place, _)| place * unit),
            years_to_rating,
            lasts: worst.is_none_or(|(_, cycles)| cycles * DAYS_PER_YEAR * board.years <= rating.cycles as f64),
            rating,
        }
    }
}
