//! Tables in the driver's README that a test prints.

use std::path::Path;
use std::sync::{Mutex, PoisonError};

/// The tests of one file run at the same time.
static ONE_AT_A_TIME: Mutex<()> = Mutex::new(());

/// Holds the table between the marks of this name against `table`; with `PAGEWISE_BLESS=1` writes it there instead.
///
/// # Panics
/// If the README has no such marks, or an old table.
pub fn stands_in_driver_readme(name: &str, test: &str, table: &str) {
    let _held = ONE_AT_A_TIME.lock().unwrap_or_else(PoisonError::into_inner);
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../driver/README.md");
    let readme = std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    let begin = format!("<!-- {name}, printed by tests/{test}: begin -->\n");
    let end = format!("<!-- {name}: end -->\n");
    let (before, rest) = readme.split_once(&begin).unwrap_or_else(|| panic!("the README has no line {begin}"));
    let (found, after) = rest.split_once(&end).unwrap_or_else(|| panic!("the README has no line {end}"));
    if std::env::var_os("PAGEWISE_BLESS").is_some() {
        let whole = format!("{before}{begin}{table}{end}{after}");
        std::fs::write(&path, whole).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    } else {
        assert_eq!(found, table, "the table `{name}` in driver/README.md is old; PAGEWISE_BLESS=1 writes it anew");
    }
}
