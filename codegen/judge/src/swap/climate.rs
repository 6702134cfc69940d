//! The temperatures at which the part of a board must work: those of the board file, or else those at which the fitted
//! part does.

use schemars::JsonSchema;
use serde::Serialize;

use crate::board::Board;
use pagewise_part::card::Card;
use pagewise_part::fact::Fact;

/// The widest range in degrees Celsius that published parts are made for (automotive grades): asked for where neither
/// board nor fitted part says one.
const WIDEST: (i32, i32) = (-40, 125);

/// The temperatures at which the part of a board must work.
#[derive(Debug, Clone, Copy, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Climate {
    /// Lowest.
    pub low: End,
    /// Highest.
    pub high: End,
}

/// One end of a range of temperatures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, JsonSchema, Serialize)]
pub struct End {
    /// Degrees Celsius.
    pub celsius: i32,
    /// Who says so.
    pub by: By,
}

/// Who says at which temperatures the part must work.
#[derive(Debug, Clone, Copy, PartialEq, Eq, JsonSchema, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum By {
    /// The board file.
    Board,
    /// The data sheet of the fitted part: who replaces it asks for no less.
    Fitted,
    /// Neither.
    Nobody,
}

impl Climate {
    /// What a board asks of a part in the place of its fitted one.
    #[must_use]
    pub fn of(board: &Board, fitted: &Card) -> Self {
        let end = |stated: Option<f64>, fact: &Fact<i32>, widest: i32| match stated {
            // Board files keep to 200 C.
            Some(celsius) => End { celsius: celsius as i32, by: By::Board },
            None if !fact.is_assumed() => End { celsius: fact.value, by: By::Fitted },
            None => End { celsius: widest, by: By::Nobody },
        };
        Self {
            low: end(board.temperature_min_c.map(f64::floor), &fitted.temperature_min_c, WIDEST.0),
            high: end(board.temperature_max_c.map(f64::ceil), &fitted.temperature_max_c, WIDEST.1),
        }
    }

    /// Lowest and highest temperature in degrees Celsius.
    #[must_use]
    pub const fn range(self) -> (i32, i32) {
        (self.low.celsius, self.high.celsius)
    }
}
