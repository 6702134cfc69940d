//! The user's stock list, as every command reads it.

use std::path::Path;

use super::progress;
use pagewise_base::fault::Faults;
use pagewise_judge::stock::{Columns, Stock, read};
use pagewise_part::card::Catalogue;

/// Rows from which on a bar is shown: what is on no card is compared with all.
const LONG: usize = 20_000;

/// Reads a stock list and matches it with the cards.
///
/// # Errors
/// Everything that is wrong with it.
pub(super) fn read_stock(file: &Path, columns: &Columns, catalogue: &Catalogue) -> Result<Stock, Faults> {
    let rows = read::read(file, columns)?;
    let bar = progress::bar(rows.len(), "rows of the stock list", rows.len() >= LONG);
    let stock = Stock::of_telling(&file.display().to_string(), &columns.currency, rows, catalogue, &|| bar.inc(1));
    bar.finish_and_clear();
    stock
}
