//! Bus timing: the part's grade at this supply against the board's SCL rate and the bus mode.
//!
//! | number | formula | source |
//! |---|---|---|
//! | least period | `t_LOW + t_HIGH + t_r + t_f` | bus table: the minima fill one period at each mode's full rate |
//! | SCL low that a read needs | `t_AA + t_SU;DAT` | bus table, the part's t_AA in place of t_VD;DAT |
//!
//! t_r is computed from the board's resistor and capacitance, t_f is the most that the mode allows. t_AA is stated by
//! sheets for their own test load.

use schemars::JsonSchema;
use serde::Serialize;

use super::mode::{self, Mode};
use super::pull_up::PullUp;
use crate::board::Board;
use pagewise_part::card::{Ac, Card, Grade};
use pagewise_part::fact::Basis;

/// One AC limit: the bus mode's and the part's, in nanoseconds.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct AcLine {
    /// Its symbol.
    pub symbol: &'static str,
    /// What it is.
    pub what: &'static str,
    /// Whether it is a maximum; minima are what the controller must keep, maxima what the part keeps.
    pub is_maximum: bool,
    /// The bus mode's.
    pub mode_ns: u32,
    /// The part's at this supply, where the sheet read states it.
    pub part_ns: Option<u32>,
    /// The part asks for more than the mode promises: a controller set up for the mode does not suit it.
    pub beyond_mode: bool,
}

/// Timing of a part on a board.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct Timing {
    /// The bus mode of the board's SCL rate.
    pub mode: &'static str,
    /// The board's SCL rate in kHz.
    pub scl_khz: u32,
    /// The board's SCL period in nanoseconds.
    pub period_ns: u64,
    /// The fastest rate in kHz of the part at the board's supply; 0 where no grade covers it.
    pub part_scl_khz: u32,
    /// The slowest rate in kHz of the part; 0 for no floor.
    pub part_min_scl_khz: u32,
    /// Where the part's rate came from.
    pub source: Basis,
    /// Whether the board's rate lies within the part's; absent where that rests on a supply or a rate that the sheet read
    /// does not state.
    pub rate_fits: Option<bool>,
    /// AC limits.
    pub limits: Vec<AcLine>,
    /// SCL low that is needed, in nanoseconds: the stricter of mode, part, and what a read needs.
    pub low_ns: u32,
    /// SCL high that is needed, in nanoseconds.
    pub high_ns: u32,
    /// Rise time on this board, in nanoseconds.
    pub rise_ns: f64,
    /// Fall time that the mode allows, in nanoseconds.
    pub fall_ns: u32,
    /// Least period in nanoseconds: the sum of these four.
    pub least_period_ns: f64,
    /// What is left of the board's period, in nanoseconds; negative when the sum does not fit.
    pub slack_ns: f64,
    /// The fastest SCL rate in kHz that the sum allows.
    pub fastest_khz: f64,
}

impl Timing {
    /// The timing of a part on a board with this pull-up window.
    #[must_use]
    pub fn of(board: &Board, card: &Card, pull_up: &PullUp) -> Self {
        let bus = &board.bus;
        let mode = mode::for_rate(bus.scl_khz);
        let grade = grade_for(card, bus.supply_mv, bus.scl_khz);
        let nothing = Ac::default();
        let ac = grade.map_or(&nothing, |grade| &grade.ac);
        let part_scl_khz = card.scl_khz_at(bus.supply_mv);
        let fits = bus.scl_khz <= part_scl_khz && bus.scl_khz >= card.min_scl_khz;
        let assumed = card.speed.is_assumed() || card.read_min_mv.is_assumed() || card.max_mv.is_assumed();
        let read_low = ac.t_aa_max.map_or(0, |valid| valid + mode.t_su_dat);
        let low_ns = mode.t_low.max(ac.t_low.unwrap_or(0)).max(read_low);
        let high_ns = mode.t_high.max(ac.t_high.unwrap_or(0));
        let least_period_ns = f64::from(low_ns) + f64::from(high_ns) + pull_up.rise_ns + f64::from(mode.t_f_max);
        let period_ns = super::wire::Clock::of_khz(bus.scl_khz).period_ns;
        Self {
            mode: mode.name,
            scl_khz: bus.scl_khz,
            period_ns,
            part_scl_khz,
            part_min_scl_khz: card.min_scl_khz,
            source: card.speed.basis.clone(),
            rate_fits: if !fits && assumed { None } else { Some(fits) },
            limits: lines(&mode, ac),
            low_ns,
            high_ns,
            rise_ns: pull_up.rise_ns,
            fall_ns: mode.t_f_max,
            least_period_ns,
            slack_ns: period_ns as f64 - least_period_ns,
            fastest_khz: 1e6 / least_period_ns,
        }
    }
}

/// The grade whose limits hold: the slowest that covers supply and rate, or the fastest at this supply.
fn grade_for(card: &Card, supply_mv: u32, scl_khz: u32) -> Option<&Grade> {
    let covering = || card.grades_at(supply_mv);
    let enough = covering().filter(|grade| grade.scl_khz >= scl_khz).min_by_key(|grade| grade.scl_khz);
    enough.or_else(|| covering().max_by_key(|grade| grade.scl_khz))
}

fn lines(mode: &Mode, ac: &Ac) -> Vec<AcLine> {
    let minimum = |symbol, what, mode_ns: u32, part_ns: Option<u32>| AcLine {
        symbol,
        what,
        is_maximum: false,
        mode_ns,
        part_ns,
        beyond_mode: part_ns.is_some_and(|part| part > mode_ns),
    };
    vec![
        minimum("t_LOW", "SCL low", mode.t_low, ac.t_low),
        minimum("t_HIGH", "SCL high", mode.t_high, ac.t_high),
        minimum("t_HD;STA", "START hold", mode.t_hd_sta, ac.t_hd_sta),
        minimum("t_SU;STA", "repeated START set-up", mode.t_su_sta, ac.t_su_sta),
        minimum("t_HD;DAT", "data hold", 0, ac.t_hd_dat),
        minimum("t_SU;DAT", "data set-up", mode.t_su_dat, ac.t_su_dat),
        minimum("t_SU;STO", "STOP set-up", mode.t_su_sto, ac.t_su_sto),
        minimum("t_BUF", "bus free", mode.t_buf, ac.t_buf),
        AcLine { is_maximum: true, ..minimum("t_AA", "SCL low to data valid, maximum", mode.t_vd_max, ac.t_aa_max) },
    ]
}
