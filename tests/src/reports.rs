//! Judged boards for the tests of reports, harmless and with texts exchanged.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::OnceLock;

use pagewise_judge::fleet::{self, BoardAnswer, Candidates};
use pagewise_part::card::Catalogue;

/// The embedded cards.
///
/// # Panics
///
/// If they are faulty.
pub fn catalogue() -> &'static Catalogue {
    static CATALOGUE: OnceLock<Catalogue> = OnceLock::new();
    CATALOGUE.get_or_init(|| Catalogue::embedded().expect("the embedded cards are good"))
}

/// The example boards with the candidates that they name, judged once.
///
/// # Panics
///
/// If they cannot be read.
pub fn examples() -> &'static [BoardAnswer] {
    static EXAMPLES: OnceLock<Vec<BoardAnswer>> = OnceLock::new();
    EXAMPLES.get_or_init(|| {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../examples/boards");
        let read = fleet::files::read(&[folder], catalogue(), &BTreeMap::new()).expect("the example boards are good");
        let boards = read.boards.into_iter().map(|(board, _)| board).collect();
        fleet::judge_all(fleet::jobs(catalogue(), boards, Candidates::OfBoard).expect("their parts have cards"))
    })
}

/// The example called so by its file, with the user's texts exchanged.
///
/// # Panics
///
/// If no example has such a file.
#[must_use]
pub fn example(file: &str, name: &str, path: &str, region: &str) -> BoardAnswer {
    let mut answer = examples().iter().find(|answer| answer.board.file.ends_with(file)).expect("it is there").clone();
    let old = answer.board.regions[0].name.clone();
    answer.board.name = name.to_owned();
    answer.board.file = path.to_owned();
    answer.board.regions[0].name = region.to_owned();
    for judgement in &mut answer.judgements {
        judgement.board = name.to_owned();
        for finding in &mut judgement.findings {
            finding.compared = finding.compared.replace(&format!("`{old}`"), &format!("`{region}`"));
        }
    }
    answer
}
