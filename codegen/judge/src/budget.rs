//! What a part costs on a board in resistors, nanoseconds, seconds and write cycles, and what a swap changes in that.
//!
//! [`pull_up`] computes the window of the pull-up resistors, [`timing`] holds the part's grade against the bus,
//! [`wire`] and [`time`] compute how long reading, programming and a production run take, [`wear`] counts write cycles
//! per wear unit. The formulas and their sources stand at the top of each. The rules of a swap use the same arithmetic.
//! [`plot`] draws the pull-up window and the wear.

pub mod compare;
pub mod mode;
pub mod plot;
pub mod pull_up;
pub mod resistor;
pub mod time;
pub mod timing;
pub mod wear;
pub mod wire;

use schemars::JsonSchema;
use serde::Serialize;

use crate::board::Board;
use pagewise_part::card::Card;
use pull_up::{PullUp, Standing};
use time::Times;
use timing::Timing;
use wear::WearBudget;

/// The budget of one part on one board.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct Budget {
    /// Name of the board.
    pub board: String,
    /// Identifier of the part's card.
    pub part: String,
    /// Order code of the part.
    pub part_name: String,
    /// Both ways of saying its density.
    pub density: String,
    /// Supply in millivolts.
    pub supply_mv: u32,
    /// The window of the pull-ups.
    pub pull_up: PullUp,
    /// Bus timing.
    pub timing: Timing,
    /// Times to read and to program.
    pub times: Times,
    /// Wear.
    pub wear: WearBudget,
    /// What these numbers do not cover, or rest on.
    pub remarks: Vec<String>,
}

/// The budget of a part on a board, the board's capacitance taken as it is.
#[must_use]
pub fn compute(board: &Board, card: &Card) -> Budget {
    with_more_pf(board, card, 0.0)
}

/// The budget of a part that takes another's place: where both sheets state the capacitance of a pin, the difference is
/// added to the board's.
#[must_use]
pub fn swapped(board: &Board, old: &Card, new: &Card) -> Budget {
    with_more_pf(board, new, more_pf(old, new))
}

/// What a swap adds to the capacitance of a line, in picofarads; 0 where a sheet does not state it.
#[must_use]
pub fn more_pf(old: &Card, new: &Card) -> f64 {
    match (&old.input_capacitance_pf, &new.input_capacitance_pf) {
        (Some(old), Some(new)) => f64::from(new.value) - f64::from(old.value),
        _ => 0.0,
    }
}

fn with_more_pf(board: &Board, card: &Card, more_pf: f64) -> Budget {
    let hottest = board.temperature_max_c.map_or(card.temperature_max_c.value, |celsius| celsius.ceil() as i32);
    let coldest = board.temperature_min_c.map_or(card.temperature_min_c.value, |celsius| celsius.floor() as i32);
    let card = &card.in_footprint(board.footprint).at_temperatures((coldest, hottest));
    let pull_up = PullUp::of(&board.bus, more_pf);
    let timing = Timing::of(board, card, &pull_up);
    let remarks = remarks(board, card, &pull_up);
    Budget {
        board: board.name.clone(),
        part: card.id.clone(),
        part_name: card.name.clone(),
        density: card.density(),
        supply_mv: board.bus.supply_mv,
        timing,
        times: Times::of(board, card),
        wear: WearBudget::of(board, card),
        pull_up,
        remarks,
    }
}

impl Budget {
    /// Whether the pull-ups, the clock and the wear all stay within the limits that are stated.
    #[must_use]
    pub fn holds(&self) -> bool {
        self.pull_up.standing == Standing::Inside && self.timing.rate_fits != Some(false) && !self.wear.is_spent()
    }
}

fn remarks(board: &Board, card: &Card, pull_up: &PullUp) -> Vec<String> {
    let mut remarks = Vec::new();
    let bus = &board.bus;
    if board.used_bytes() > card.capacity_bytes.value {
        remarks.push(format!("the board uses {} bytes, the part holds {}", board.used_bytes(), card.density()));
    }
    let supply_assumed = card.read_min_mv.is_assumed() || card.max_mv.is_assumed();
    if !supply_assumed && !(card.read_min_mv.value..=card.max_mv.value).contains(&bus.supply_mv) {
        remarks.push(format!(
            "the part is made for {} to {} V; the board's supply is {} V",
            f64::from(card.read_min_mv.value) / 1000.0,
            f64::from(card.max_mv.value) / 1000.0,
            f64::from(bus.supply_mv) / 1000.0
        ));
    }
    if let Some(least) = pull_up.least_at_3_ma_ohm {
        remarks.push(format!(
            "{} promises outputs that sink {} mA; if the part or the controller sinks 3 mA only (see V_OL in its sheet), \
             the least resistor is {:.0} ohm",
            pull_up.mode.name,
            pull_up.mode.sink_ma,
            least.ceil()
        ));
    }
    let cycle = card.write_cycle_at(bus.supply_mv);
    if cycle.is_assumed() {
        remarks.push(format!(
            "the longest write cycle is not stated in the sheet read; {} ms stands in",
            f64::from(cycle.value) / 1000.0
        ));
    }
    if card.wear_unit.is_assumed() {
        remarks.push("what ages together is not stated in the sheet read; the page stands in".to_owned());
    }
    remarks
}
