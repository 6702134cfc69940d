//! What is judged, and by whom.

use std::fmt;
use std::sync::Arc;

use super::{Climate, Finding};
use crate::board::Board;
use pagewise_part::card::Card;
use pagewise_simulator::ChipModel;

/// One board, the card of its fitted part and a candidate's card, each as it is in the board's footprint and climate.
#[derive(Debug, Clone)]
pub struct Case<'a> {
    /// The board.
    pub board: &'a Board,
    /// The temperatures at which the part must work.
    pub climate: Climate,
    /// The fitted part, the same for many candidates.
    pub old: Arc<Card>,
    /// The candidate.
    pub new: Arc<Card>,
    /// The rules find nothing against the fitted part itself: what the firmware relies on today works.
    pub fitted_works: bool,
}

impl<'a> Case<'a> {
    /// Puts the candidate into the board's footprint and climate; the fitted part is in them.
    #[must_use]
    pub fn new(board: &'a Board, climate: Climate, fitted: &Arc<Card>, new: &Card) -> Self {
        let new = new.in_footprint(board.footprint).at_temperatures(climate.range());
        Self { board, climate, old: Arc::clone(fitted), new: Arc::new(new), fitted_works: true }
    }

    /// Whether the candidate is the fitted part.
    #[must_use]
    pub fn is_of_fitted(&self) -> bool {
        self.new.id == self.old.id
    }
}

/// What finds something in a case.
pub type Rules = Box<dyn Fn(&Case<'_>) -> Vec<Finding> + Send + Sync>;

/// What makes a simulated chip of a card.
pub type Chips = Box<dyn Fn(&Card) -> ChipModel + Send + Sync>;

/// The two that judge, told nothing of each other. Tests seed errors into one of them and see whether the other notices.
pub struct Judges {
    /// What the rules find in a case: [`crate::swap::rule::all`].
    pub rules: Rules,
    /// The chip that is simulated for a card: [`Card::chip_model`].
    pub chips: Chips,
}

impl fmt::Debug for Judges {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Judges").finish_non_exhaustive()
    }
}
