//! The cards that each board needs.

use std::sync::Arc;

use crate::board::Board;
use crate::stock::Stock;
use crate::swap::Recording;
use pagewise_base::fault::{Fault, Faults};
use pagewise_part::card::{Card, Catalogue};

/// One board, its fitted part and its candidates.
#[derive(Debug, Clone)]
pub struct Job<'c> {
    /// Place of the board in the whole fleet, from 0.
    pub place: usize,
    /// The board.
    pub board: Board,
    /// Card of the fitted part.
    pub old: &'c Card,
    /// Cards of the candidates.
    pub candidates: Vec<&'c Card>,
    /// The program of the board, where it was recorded.
    pub recording: Option<Arc<dyn Recording>>,
}

/// Which parts are considered.
#[derive(Debug, Clone, Copy)]
pub enum Candidates<'n> {
    /// Those that each board file names; every part where it names none.
    OfBoard,
    /// Every part of the catalogue but the fitted one.
    All,
    /// These, for every board, as the user named them on the command line.
    Named(&'n [String]),
    /// Those on the user's stock list, for every board, the fitted part too where it is in the list.
    InStock(&'n Stock),
}

/// Finds the cards that each board needs.
///
/// # Errors
/// Every part that no card describes.
pub fn jobs<'c>(
    catalogue: &'c Catalogue,
    boards: Vec<Board>,
    candidates: Candidates<'_>,
) -> Result<Vec<Job<'c>>, Faults> {
    let mut faults = Vec::new();
    let mut jobs = Vec::new();
    let find = |file: &str, field: &str, name: &str, faults: &mut Vec<Fault>| {
        catalogue.named(name, file, 0, field).map_err(|fault| faults.push(fault)).ok()
    };
    let named = match candidates {
        Candidates::Named(names) => {
            names.iter().filter_map(|name| find("command line", "--to", name, &mut faults)).collect()
        }
        Candidates::InStock(stock) => stock.cards().filter_map(|id| catalogue.find(id)).collect(),
        Candidates::OfBoard | Candidates::All => Vec::new(),
    };
    for (place, board) in boards.into_iter().enumerate() {
        let old = find(&board.file, "fitted", &board.fitted, &mut faults);
        let candidates: Vec<&Card> = match candidates {
            Candidates::Named(_) | Candidates::InStock(_) => named.clone(),
            Candidates::OfBoard if !board.candidates.is_empty() => {
                let names = board.candidates.iter();
                names.filter_map(|name| find(&board.file, "candidates", name, &mut faults)).collect()
            }
            Candidates::OfBoard | Candidates::All => {
                catalogue.parts().filter(|card| Some(card.id.as_str()) != old.map(|old| old.id.as_str())).collect()
            }
        };
        jobs.extend(old.map(|old| Job { place, board, old, candidates, recording: None }));
    }
    Faults(faults).or_ok(jobs)
}
