//! Reading a decision file; every fault comes with its line.

use std::fs;
use std::path::Path;

use toml::value::Datetime;

use super::file::{DecisionFile, SHAPE};
use super::{Decision, Open};
use pagewise_base::fault::{Fault, Faults};
use pagewise_base::form::Document;

/// Reads a decision file.
///
/// # Errors
/// The file cannot be read, or everything that is wrong in it.
pub fn read(path: &Path) -> Result<Decision, Faults> {
    let file = path.display().to_string();
    let text = fs::read_to_string(path).map_err(|error| Fault::unreadable(&file, &error))?;
    parse(&file, &text)
}

/// Reads a decision from the text of `file`.
///
/// # Errors
/// Everything that is wrong in it.
pub fn parse(file: &str, text: &str) -> Result<Decision, Faults> {
    SHAPE.complete(file, text, |form, said| decision(form, file, said))
}

fn decision(form: &Document<'_>, file: &str, said: DecisionFile) -> Decision {
    let digest = |path: &str, text: &str| {
        let sound = text.len() == 64 && text.bytes().all(|byte| matches!(byte, b'0'..=b'9' | b'a'..=b'f'));
        if !sound {
            form.fault(path, "is not a digest", "let `pagewise decide` write it: 64 hexadecimal digits in lower case");
        }
    };
    digest("board_sha256", &said.board_sha256);
    for (at, image) in said.image.iter().enumerate() {
        digest(&format!("image[{at}].sha256"), &image.sha256);
    }
    let mut open = Vec::new();
    for (at, part) in said.part.iter().enumerate() {
        digest(&format!("part[{at}].card_sha256"), &part.card_sha256);
        if said.part[..at].iter().any(|other| other.order_code.eq_ignore_ascii_case(&part.order_code)) {
            let reason = format!("`{}` stands there already", part.order_code);
            form.fault(&format!("part[{at}].order_code"), reason, "name each part once");
        }
        for (number, condition) in part.condition.iter().enumerate() {
            let path = format!("part[{at}].condition[{number}]");
            match &condition.settled {
                Some(settled) if !is_day(&settled.on) => {
                    form.fault(&format!("{path}.settled.on"), "is not a day", "write it as 2026-01-31");
                }
                Some(_) => {}
                None => open.push(Open { part: at, line: form.line_of(&path), says: condition.says.clone() }),
            }
        }
    }
    Decision { file: file.to_owned(), said, open }
}

/// Whether a text is a day of the calendar, as 2026-01-31.
fn is_day(text: &str) -> bool {
    text.len() == 10 && text.parse::<Datetime>().is_ok_and(|day| day.date.is_some() && day.time.is_none())
}
