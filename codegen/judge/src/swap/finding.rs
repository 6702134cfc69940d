//! One thing that a swap check says: what was compared, the numbers, where they came from, what to do.

use pagewise_simulator::Hazard;
use schemars::JsonSchema;
use serde::Serialize;

use super::{Change, Verdict};
use pagewise_part::card::{Busy, Card, Footprint, Open, Span};
use pagewise_part::fact::{Basis, Fact};

/// One thing that a swap check says.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct Finding {
    /// Identifier of the rule.
    pub rule: &'static str,
    /// What it asks for.
    pub verdict: Verdict,
    /// What was compared, with both numbers.
    pub compared: String,
    /// Where the candidate's number came from.
    pub source: Basis,
    /// What to do.
    pub remedy: String,
    /// How data would be lost otherwise.
    pub hazard: Option<Hazard>,
    /// When the finding rests on an assumption: what would make it go away.
    pub proviso: Option<Proviso>,
    /// Whether the simulation can show it; a footprint cannot be simulated.
    pub simulated: bool,
    /// How far the part is from what the board asks, to compare parts by; where that is more than yes or no.
    #[serde(skip)]
    pub measure: Option<f64>,
    /// What would settle it.
    #[serde(skip)]
    pub changes: Vec<Change>,
    /// The board has this fault with its fitted part too: it is not held against the candidate.
    pub with_fitted: bool,
}

/// A condition under which a finding goes away.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct Proviso {
    /// In words, to stand after "provided that".
    pub text: String,
    /// The same as a change to the card.
    #[serde(skip)]
    pub amend: Amend,
}

/// A card's value that a proviso replaces.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Amend {
    /// Page in bytes.
    Page(u32),
    /// Longest write cycle in microseconds.
    WriteCycleUs(u32),
    /// SCL rate in kHz at every supply.
    SclKhz(u32),
    /// A supply in millivolts at which it must run.
    Supply(u32),
    /// Sequential reads run over the whole array.
    ReadWholeArray,
    /// Rated write cycles.
    Endurance(u64),
    /// How open address pins read.
    OpenStrap(Open),
    /// How an open WP reads.
    OpenWp(Open),
    /// What WP protects.
    Protects(Span),
    /// Which accesses are refused in a write cycle.
    Busy(Busy),
    /// The low address bits are as assumed.
    AddressBits,
    /// Power good to first access in microseconds.
    PowerUpUs(u32),
    /// Pointer after a write as on the old part.
    PointerAsOld(pagewise_part::card::Pointer),
    /// The package exists.
    Package(Footprint),
    /// Operating temperatures in degrees Celsius that it covers.
    Temperatures(i32, i32),
    /// Retention in years.
    Retention(u32),
    /// A fact of the board, not of the card.
    Board,
}

impl Amend {
    /// The card with the value replaced.
    pub fn apply(self, card: &mut Card) {
        match self {
            // No value of the card hangs on it.
            Self::Package(_) | Self::Board | Self::AddressBits => {}
            Self::WriteCycleUs(us) => {
                let us = match card.write_cycle_per.value {
                    pagewise_part::card::CyclePer::Page => us,
                    pagewise_part::card::CyclePer::Byte => us / card.page_bytes.value,
                };
                card.write_cycle_max_us.value = us;
                card.write_cycle_typ_us.value = card.write_cycle_typ_us.value.min(us);
                for limits in &mut card.grades.value {
                    limits.write_cycle_us = limits.write_cycle_us.map(|graded| graded.min(us));
                }
            }
            Self::SclKhz(khz) => {
                for grade in &mut card.speed.value {
                    grade.scl_khz = grade.scl_khz.max(khz);
                    grade.min_mv = grade.min_mv.min(card.read_min_mv.value);
                    grade.max_mv = grade.max_mv.max(card.max_mv.value);
                }
            }
            Self::Supply(mv) => {
                card.read_min_mv.value = card.read_min_mv.value.min(mv);
                card.write_min_mv.value = card.write_min_mv.value.min(mv);
                card.max_mv.value = card.max_mv.value.max(mv);
                // A card without stated supply has no grade at that supply either.
                if card.scl_khz_at(mv) == 0 {
                    for grade in &mut card.speed.value {
                        grade.min_mv = grade.min_mv.min(mv);
                        grade.max_mv = grade.max_mv.max(mv);
                    }
                }
            }
            Self::Page(bytes) => card.page_bytes.value = card.page_bytes.value.max(bytes),
            Self::ReadWholeArray => card.read_wrap_bytes.value = card.capacity_bytes.value,
            Self::Endurance(cycles) => {
                card.endurance_cycles.value = cycles;
                card.endurance_at = None;
            }
            Self::OpenStrap(open) => card.open_strap.value = open,
            Self::OpenWp(open) => card.open_wp.value = open,
            Self::Protects(span) => card.protect_range.value = span,
            Self::Busy(busy) => card.busy_answer.value = busy,
            Self::PowerUpUs(us) => card.power_up_us.value = us,
            Self::Temperatures(low, high) => {
                card.temperature_min_c.value = card.temperature_min_c.value.min(low);
                card.temperature_max_c.value = card.temperature_max_c.value.max(high);
            }
            Self::Retention(years) => card.retention_years.value = years,
            Self::PointerAsOld(pointer) => card.pointer_after_write.value = pointer,
        }
    }
}

impl Finding {
    /// A finding about a fact of the candidate that the simulation can show.
    #[must_use]
    pub fn new<T>(rule: &'static str, verdict: Verdict, fact: &Fact<T>, compared: String, remedy: String) -> Self {
        Self {
            rule,
            verdict,
            compared,
            source: fact.basis.clone(),
            remedy,
            hazard: None,
            proviso: None,
            simulated: true,
            measure: None,
            changes: Vec::new(),
            with_fitted: false,
        }
    }

    /// Names the way in which data would be lost.
    #[must_use]
    pub fn hazard(mut self, hazard: Hazard) -> Self {
        self.hazard = Some(hazard);
        self
    }

    /// Marks what no simulation of chip and bus can show.
    #[must_use]
    pub fn not_simulated(mut self) -> Self {
        self.simulated = false;
        self
    }

    /// Says what would settle it.
    #[must_use]
    pub fn change(mut self, changes: impl IntoIterator<Item = Change>) -> Self {
        self.changes.extend(changes);
        self
    }

    /// Whether it stands and asks for something.
    #[must_use]
    pub fn asks(&self) -> bool {
        self.proviso.is_none() && !self.with_fitted && self.verdict > Verdict::DropIn
    }

    /// Says how far the part is from what the board asks; more is worse.
    #[must_use]
    pub fn measured(mut self, measure: f64) -> Self {
        self.measure = Some(measure);
        self
    }

    /// When the finding rests on an assumption, says what would make it go away.
    #[must_use]
    pub fn unless(mut self, text: impl Into<String>, amend: Amend) -> Self {
        if matches!(self.source, Basis::Assumed { .. }) {
            self.proviso = Some(Proviso { text: text.into(), amend });
        }
        self
    }
}
