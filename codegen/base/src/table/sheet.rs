//! Rows of a spreadsheet's first sheet.

use std::io::Cursor;
use std::path::Path;

use calamine::{Reader, open_workbook_auto_from_rs};
use rust_xlsxwriter::{Format, Workbook, XlsxError};

/// Whether the file's name says that it is a spreadsheet.
pub(super) fn is_one(path: &Path) -> bool {
    let extension = path.extension().map(|extension| extension.to_string_lossy().to_lowercase());
    extension.is_some_and(|extension| extension == "xlsx" || extension == "ods")
}

/// Rows with their numbers from 1, each as wide as the sheet; numbers as decimals, without blanks around texts.
pub(super) fn rows(contents: Vec<u8>) -> Result<Vec<(usize, Vec<String>)>, String> {
    let bad = |error: &dyn std::fmt::Display| format!("cannot be read as a spreadsheet: {error}");
    let mut book = open_workbook_auto_from_rs(Cursor::new(contents)).map_err(|error| bad(&error))?;
    let sheet = book.worksheet_range_at(0).ok_or("has no sheet")?.map_err(|error| bad(&error))?;
    let (first_row, first_column) = sheet.start().unwrap_or_default();
    let before = vec![String::new(); first_column as usize];
    let rows = sheet.rows().zip(first_row as usize + 1..);
    Ok(rows
        .map(|(cells, line)| {
            let cells = cells.iter().map(|cell| cell.to_string().trim().to_owned());
            (line, before.iter().cloned().chain(cells).collect())
        })
        .collect())
}

/// An `.xlsx` file with one sheet: the first row bold and kept in view, cells that are numbers as numbers.
pub(super) fn written(rows: &[Vec<String>]) -> Result<Vec<u8>, XlsxError> {
    let mut book = Workbook::new();
    let sheet = book.add_worksheet();
    for (row, cells) in (0u32..).zip(rows) {
        for (column, cell) in (0u16..).zip(cells) {
            match cell.parse::<f64>() {
                _ if row == 0 => sheet.write_string_with_format(row, column, cell, &Format::new().set_bold())?,
                Ok(number) if number.is_finite() && !cell.starts_with('+') => {
                    sheet.write_number(row, column, number)?
                }
                // A text is never a formula.
                _ => sheet.write_string(row, column, cell)?,
            };
        }
    }
    sheet.set_freeze_panes(1, 0)?;
    sheet.autofit();
    book.save_to_buffer()
}
