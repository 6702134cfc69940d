//! Decisions that last: for one board the parts that may be fitted, what each rests on and what settled that, in a file
//! that people review and keep under version control.
//!
//! [`mod@file`] declares the file, [`read`] reads it. A decision is made of judgements ([`Decision::of`]), is held against
//! later ones ([`Decision::changes`]), and says which parts it lets pass ([`Decision::refusals`]).

pub mod file;
mod read;

use std::fs;
use std::path::{Path, PathBuf};

use serde::Serialize;
use sha2::{Digest, Sha256};

use crate::board::Board;
use crate::fleet::since::{self, Change, Said};
use crate::fleet::{BoardAnswer, Outcome};
use crate::swap::{Accept, Judgement};
use file::{Condition, Part, Setting};
pub use file::{DecisionFile, Holds, Image};
use pagewise_base::fault::Fault;
use pagewise_base::words;
use pagewise_part::card::{Card, Catalogue};
use pagewise_templates::render;
pub use read::{parse, read};

/// A decision about one board.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Decision {
    /// File as the user named it.
    pub file: String,
    /// What it says.
    pub said: DecisionFile,
    /// Conditions that nothing has settled.
    pub open: Vec<Open>,
}

/// A condition that is open.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Open {
    /// Place of its part, from 0.
    pub part: usize,
    /// Line of the file, from 1; 0 where it was not read from one.
    pub line: usize,
    /// What is taken for granted.
    pub says: String,
}

#[derive(Serialize)]
struct Page {
    text: String,
}

impl Part {
    fn of(answer: &BoardAnswer, judgement: &Judgement, card: &Card) -> Self {
        let offer = answer.offers.get(&judgement.candidate);
        let outcome = Outcome::of(judgement, None);
        let setting = |setting: &crate::swap::Setting| Setting {
            what: setting.what.to_owned(),
            now: setting.now.clone(),
            then: setting.then.clone(),
        };
        Self {
            order_code: offer.map_or_else(|| card.name.clone(), |offer| offer.part.clone()),
            card: card.id.clone(),
            card_sha256: digest(card),
            verdict: judgement.verdict,
            changes: outcome.needs.iter().map(|need| format!("{}: {}", need.rule, need.text)).collect(),
            setting: judgement.then.iter().map(setting).collect(),
            condition: outcome.provided_that.into_iter().map(|says| Condition { says, settled: None }).collect(),
        }
    }

    /// The verdict with all that it asks for and rests on.
    fn reasons(&self) -> Said {
        let settings = self.setting.iter().map(|it| format!("setting: {}: {}, now {}", it.what, it.then, it.now));
        let conditions = self.condition.iter().map(|it| format!("provided that {}", it.says));
        (self.verdict, self.changes.iter().cloned().chain(settings).chain(conditions).collect())
    }
}

impl Decision {
    /// The decision that accepts the first `most` candidates whose verdict, conditions granted, is taken and that may fit.
    /// `board_file` is how the board is named from the folder of the decision.
    #[must_use]
    pub fn of(
        file: &str,
        board_file: &str,
        answer: &BoardAnswer,
        catalogue: &Catalogue,
        accept: Accept,
        most: usize,
    ) -> Self {
        let accepted = answer.judgements.iter().filter(|it| accept.granting().takes(it.verdict, it.worst_case));
        let cards = accepted.filter(|it| it.may_fit()).filter_map(|it| Some((it, catalogue.find(&it.candidate)?)));
        let part = cards.take(most).map(|(judgement, card)| Part::of(answer, judgement, card)).collect();
        let fitted = catalogue.find(&answer.board.fitted).map_or(&answer.board.fitted, |card| &card.id);
        let said = DecisionFile {
            board: answer.board.name.clone(),
            board_file: board_file.to_owned(),
            fitted: fitted.clone(),
            judged_by: env!("CARGO_PKG_VERSION").to_owned(),
            board_sha256: digest_of_board(&answer.board),
            image: Vec::new(),
            part,
        };
        let mut decision = Self { file: file.to_owned(), said, open: Vec::new() };
        decision.find_open();
        decision
    }

    fn find_open(&mut self) {
        let parts = self.said.part.iter().enumerate();
        let open = parts.flat_map(|(part, it)| {
            let open = it.condition.iter().filter(|condition| condition.settled.is_none());
            open.map(move |condition| Open { part, line: 0, says: condition.says.clone() })
        });
        self.open = open.collect();
    }

    /// Takes over what people settled in an earlier decision, where the same part rests on the same words, and its images
    /// where there are none yet. Returns the order codes of the earlier decision that this one does not accept.
    pub fn take_over(&mut self, earlier: &Self) -> Vec<String> {
        let mut gone = Vec::new();
        for was in &earlier.said.part {
            let Some(part) = self.said.part.iter_mut().find(|part| part.card == was.card) else {
                gone.push(was.order_code.clone());
                continue;
            };
            for condition in &mut part.condition {
                let same = was.condition.iter().find(|other| other.says == condition.says);
                condition.settled = same.and_then(|other| other.settled.clone());
            }
        }
        if self.said.image.is_empty() {
            self.said.image.clone_from(&earlier.said.image);
        }
        self.find_open();
        gone
    }

    /// The text of its file.
    ///
    /// # Panics
    /// Never: plain data serialises.
    #[must_use]
    pub fn text(&self) -> String {
        let text = toml::to_string_pretty(&self.said).expect("plain data serialises");
        render("decision.toml.tera", &Page { text })
    }

    /// The board's file or table, as the program finds it from where it runs.
    #[must_use]
    pub fn board_path(&self) -> PathBuf {
        self.folder().join(&self.said.board_file)
    }

    fn folder(&self) -> &Path {
        Path::new(&self.file).parent().unwrap_or(Path::new(""))
    }

    /// How judgements of today differ from those that the decision rests on.
    #[must_use]
    pub fn changes(&self, answer: &BoardAnswer, catalogue: &Catalogue) -> Vec<Change> {
        let parts = self.said.part.iter().filter_map(|part| {
            let judged = answer.judgements.iter().find(|judgement| judgement.candidate == part.card);
            let card = catalogue.find(&part.card);
            let is = judged.zip(card).map(|(judgement, card)| Part::of(answer, judgement, card).reasons());
            since::change(&self.said.board, &part.order_code, Some(part.reasons()), is)
        });
        parts.collect()
    }

    /// What is another one than it was when it was judged, though the judgement may be the same: board, cards, version.
    #[must_use]
    pub fn notes(&self, board: &Board, catalogue: &Catalogue) -> Vec<String> {
        let mut notes = Vec::new();
        if digest_of_board(board) != self.said.board_sha256 {
            notes.push("the board file is another one than was judged".to_owned());
        }
        for part in &self.said.part {
            if catalogue.find(&part.card).is_some_and(|card| digest(card) != part.card_sha256) {
                notes.push(format!("the card {} is another one than was judged", part.card));
            }
        }
        if self.said.judged_by != env!("CARGO_PKG_VERSION") {
            notes.push(format!("judged by version {}, this is {}", self.said.judged_by, env!("CARGO_PKG_VERSION")));
        }
        notes
    }

    /// Images that are not what they were, or cannot be read.
    #[must_use]
    pub fn changed_images(&self) -> Vec<String> {
        let changed = self.said.image.iter().filter_map(|image| match fs::read(self.folder().join(&image.file)) {
            Ok(bytes) if words::hex(&Sha256::digest(&bytes)) == image.sha256 => None,
            Ok(_) => Some(format!("{} is not the file that was decided on", image.file)),
            Err(error) => Some(format!("{} cannot be read: {error}", image.file)),
        });
        changed.collect()
    }

    /// Why a part must not be programmed: it is not in the decision, rests on open conditions, or its card is another one
    /// than was judged. `order_code` is what stands on the reel, where that is known.
    #[must_use]
    pub fn refusals(&self, catalogue: &Catalogue, card: &Card, order_code: Option<&str>) -> Vec<Fault> {
        let same = |part: &Part, code: &str| part.order_code.eq_ignore_ascii_case(code);
        let whole = |part: &Part| part.card == card.id && (card.order_of.is_some() || same(part, &card.name));
        let found = self.said.part.iter().position(|part| match order_code {
            Some(code) => same(part, code) || part.card == card.id && same(part, &card.name),
            None => whole(part),
        });
        let accepted = || words::listed(self.said.part.iter().map(|part| &part.order_code));
        let Some(at) = found else {
            let reason = match order_code {
                Some(code) => format!("does not accept {code}"),
                None => format!("does not accept {}", card.name),
            };
            let remedy = format!("it accepts {}; name the order code on the reel with --order-code", accepted());
            return vec![Fault::of_file(&self.file, reason, remedy)];
        };
        let part = &self.said.part[at];
        let mut faults: Vec<Fault> =
            self.open.iter().filter(|open| open.part == at).map(|open| self.refused(open)).collect();
        if catalogue.find(&part.card).is_none_or(|card| digest(card) != part.card_sha256) {
            let reason = format!("the card {} is another one than was judged", part.card);
            let remedy = "judge again with `pagewise decide --check`, then write it anew";
            faults.push(Fault::of_file(&self.file, reason, remedy));
        }
        faults
    }

    fn refused(&self, open: &Open) -> Fault {
        Fault {
            line: open.line,
            field: format!("part[{}].condition", open.part),
            ..Fault::of_file(
                &self.file,
                format!("a condition of {} is open: {}", self.said.part[open.part].order_code, open.says),
                "settle it by a sheet, a measurement or a signature",
            )
        }
    }
}

/// SHA-256 of a card, of everything that it says.
fn digest(card: &Card) -> String {
    sealed(card)
}

/// SHA-256 of a board, wherever its file lies.
fn digest_of_board(board: &Board) -> String {
    sealed(&Board { file: String::new(), ..board.clone() })
}

fn sealed<T: Serialize>(value: &T) -> String {
    let text = serde_json::to_string(value).expect("plain data serialises");
    words::hex(&Sha256::digest(text))
}
