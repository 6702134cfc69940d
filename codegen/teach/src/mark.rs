//! Marks for what students hand in: each program is tried on every part of its lesson, also on those that the page does not
//! know. What the page said is not looked at.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use data_encoding::BASE64URL_NOPAD;
use pagewise_base::fault::{Fault, Faults};
use pagewise_player::{Goal, program, values};
use serde::{Deserialize, Serialize};

use crate::lesson::{Checked, Lesson, Lessons};
use crate::texts::Texts;

/// Files that are marked at once.
const MOST_FILES: usize = 5_000;
/// Bytes of one.
const MOST_BYTES: u64 = 1 << 20;

/// What a page saves, or puts into a link. What it says besides is not looked at.
#[derive(Debug, Clone, Deserialize)]
struct Place {
    #[serde(default)]
    lesson: String,
    #[serde(default)]
    who: String,
    #[serde(default)]
    program: String,
}

/// One line of the table of marks.
#[derive(Debug, Clone, PartialEq, Eq, schemars::JsonSchema, Serialize)]
pub struct Mark {
    /// File that was handed in.
    pub file: String,
    /// Name that it says.
    pub name: String,
    /// The lesson.
    pub lesson: String,
    /// Points from 0 to 100: the share of the checks that were passed.
    pub points: u32,
    /// Checks passed.
    pub passed: usize,
    /// Checks tried.
    pub checks: usize,
    /// The first part on which it failed; empty for none.
    pub failed_on: String,
    /// The line in which it first went wrong there, as it stands in the program.
    pub first_failing: String,
    /// A sentence.
    pub feedback: String,
    /// Others whose text is the same, letter for letter, the values of each put aside. Short programs often are.
    pub same_text_as: String,
}

/// Marks every file of a folder, in the order of lesson, name and file.
///
/// # Errors
/// A folder that cannot be read, holds no file, or too many.
pub fn folder(folder: &Path, lessons: &Lessons, texts: &Texts) -> Result<Vec<Mark>, Faults> {
    let shown = folder.display().to_string();
    let unreadable = |error| Faults::from(Fault::unreadable(&shown, &error));
    let mut files = Vec::new();
    for entry in fs::read_dir(folder).map_err(unreadable)? {
        let entry = entry.map_err(unreadable)?;
        if entry.file_type().map_err(unreadable)?.is_file() {
            files.push(entry.path());
        }
    }
    files.sort();
    if files.is_empty() || files.len() > MOST_FILES {
        let reason = format!("holds {} files", files.len());
        return Err(Fault::of_file(&shown, reason, format!("hand in 1 to {MOST_FILES} files, one each")).into());
    }
    let mut handed = Vec::new();
    for path in &files {
        let file = path.file_name().map_or_else(String::new, |name| name.to_string_lossy().into_owned());
        let too_large = fs::metadata(path).map_err(unreadable)?.len() > MOST_BYTES;
        let place = if too_large { None } else { fs::read(path).ok().and_then(|bytes| read(&bytes)) };
        handed.push((file, place));
    }
    let students: Vec<(&str, &str)> =
        handed.iter().flat_map(|(_, place)| place).map(|place| (place.who.as_str(), place.lesson.as_str())).collect();
    let mut marks: Vec<(Mark, String)> =
        handed.iter().map(|(file, place)| mark(file, place.as_ref(), lessons, texts, &students)).collect();
    name_copies(&mut marks);
    let mut marks: Vec<Mark> = marks.into_iter().map(|(mark, _)| mark).collect();
    marks.sort_by(|a, b| (&a.lesson, &a.name, &a.file).cmp(&(&b.lesson, &b.name, &b.file)));
    Ok(marks)
}

/// A file of the page, or a text with its link.
fn read(bytes: &[u8]) -> Option<Place> {
    if let Ok(place) = serde_json::from_slice(bytes) {
        return Some(place);
    }
    let text = std::str::from_utf8(bytes).ok()?;
    text.split_whitespace().find_map(|word| {
        let (_, link) = word.split_once('#')?;
        let link = link.trim_end_matches(|c: char| !c.is_ascii_alphanumeric() && c != '-' && c != '_');
        serde_json::from_slice(&BASE64URL_NOPAD.decode(link.as_bytes()).ok()?).ok()
    })
}

/// The mark, and the text.
fn mark(
    file: &str,
    place: Option<&Place>,
    lessons: &Lessons,
    texts: &Texts,
    students: &[(&str, &str)],
) -> (Mark, String) {
    let mut mark = Mark {
        file: file.to_owned(),
        name: String::new(),
        lesson: String::new(),
        points: 0,
        passed: 0,
        checks: 0,
        failed_on: String::new(),
        first_failing: String::new(),
        feedback: String::new(),
        same_text_as: String::new(),
    };
    let faulty = |reason: &str| texts.say("graded_faulty", &[("reason", reason)]);
    let Some(place) = place else {
        mark.feedback = faulty("the file is neither saved by the page nor holds a link to it");
        return (mark, String::new());
    };
    (mark.name, mark.lesson) = (place.who.trim().to_owned(), place.lesson.clone());
    let Some(lesson) = lessons.find(&place.lesson) else {
        mark.feedback = faulty(&format!("no lesson is called `{}`", place.lesson));
        return (mark, String::new());
    };
    mark.checks = lesson.checks.len();
    match tried(lesson, &place.who, &place.program) {
        Err(faults) => {
            let first = faults.first().map_or_else(String::new, ToString::to_string);
            mark.feedback = faulty(&first);
        }
        Ok(checked) => {
            mark.passed = checked.iter().filter(|one| one.graded.passed()).count();
            mark.points = (100 * mark.passed).checked_div(mark.checks).unwrap_or(0) as u32;
            mark.feedback = texts.say("graded_passed", &[]);
            if let Some(failed) = checked.iter().find(|one| !one.graded.passed()) {
                mark.failed_on = failed.part.clone();
                let line = failed.place.filter(|place| place.line > 0).map(|place| place.line);
                mark.first_failing =
                    line.and_then(|line| place.program.lines().nth(line - 1)).unwrap_or("").trim().to_owned();
                mark.feedback = texts.graded(&failed.graded);
                if let Some(other) = whose(lesson, place, students) {
                    mark.feedback = format!("{} {}", mark.feedback, texts.say("graded_values", &[("name", other)]));
                }
            }
        }
    }
    (mark, place.program.clone())
}

fn tried(lesson: &Lesson, who: &str, text: &str) -> Result<Vec<Checked>, Vec<program::Fault>> {
    lesson.checks.iter().map(|check| lesson.grade(who, text, check)).collect()
}

/// The other student with whose values the program would pass.
fn whose<'s>(lesson: &Lesson, place: &Place, students: &[(&'s str, &str)]) -> Option<&'s str> {
    let check = lesson.checks.first()?;
    let own = values::first_byte(values::seed_of(&place.who));
    let mut seen = vec![own];
    students.iter().filter(|(_, of)| *of == lesson.name).map(|(other, _)| *other).find(|other| {
        let first = values::first_byte(values::seed_of(other));
        if seen.contains(&first) {
            return false;
        }
        seen.push(first);
        lesson.bench(other, &place.program, true, Some(check)).is_ok_and(|(board, program)| {
            let bench = pagewise_player::Bench { model: check.part.model.clone(), board };
            let goal = Goal { either: Vec::new(), ..lesson.goal(other) };
            pagewise_player::Run::new(&bench, &program).grade(&goal).passed()
        })
    })
}

/// The bytes that a token of a program spells, as `80` or `80..8F`.
fn spelled(token: &str) -> Option<(u8, u8)> {
    let byte = |text: &str| (text.len() == 2).then(|| u8::from_str_radix(text, 16).ok()).flatten();
    match token.split_once("..") {
        Some((from, to)) => byte(from).zip(byte(to)),
        None => byte(token).map(|byte| (byte, byte)),
    }
}

/// A text piece by piece, blanks and line ends included.
fn pieces(text: &str) -> impl Iterator<Item = (&str, &str)> {
    text.split_inclusive(char::is_whitespace).map(|piece| piece.split_at(piece.trim_end().len()))
}

/// The text without any bytes: equal for texts that may be the same.
fn skeleton(text: &str) -> String {
    pieces(text).map(|(token, blank)| [if spelled(token).is_some() { "#" } else { token }, blank].concat()).collect()
}

/// Whether two texts of one skeleton are the same, each student's own values put aside.
fn same(one: (&str, u8), other: (&str, u8)) -> bool {
    let own = |value: u8, first: u8| Some(value.wrapping_sub(first)).filter(|at| u32::from(*at) < values::MOST);
    pieces(one.0).zip(pieces(other.0)).all(|((a, _), (b, _))| {
        let put_aside = |(from, to), first| own(from, first).zip(own(to, first));
        a == b
            || spelled(a).zip(spelled(b)).is_some_and(|(a, b)| {
                let (a, b) = (put_aside(a, one.1), put_aside(b, other.1));
                a.is_some() && a == b
            })
    })
}

fn name_copies(marks: &mut [(Mark, String)]) {
    let mut alike: BTreeMap<(String, String), Vec<usize>> = BTreeMap::new();
    for (at, (mark, text)) in marks.iter().enumerate().filter(|(_, (_, text))| !text.trim().is_empty()) {
        alike.entry((mark.lesson.clone(), skeleton(text))).or_default().push(at);
    }
    for group in alike.into_values().filter(|group| group.len() > 1) {
        let own = |at: usize| (marks[at].1.as_str(), values::first_byte(values::seed_of(&marks[at].0.name)));
        let others = |at: usize| group.iter().filter(move |other| **other != at && same(own(at), own(**other)));
        let name = |at: &usize| {
            let mark = &marks[*at].0;
            if mark.name.is_empty() { mark.file.clone() } else { mark.name.clone() }
        };
        let named: Vec<(usize, String)> =
            group.iter().map(|at| (*at, others(*at).map(name).collect::<Vec<_>>().join("; "))).collect();
        for (at, names) in named {
            marks[at].0.same_text_as = names;
        }
    }
}

/// The marks as a table of comma-separated values. What a spreadsheet would take for a formula is put behind an apostrophe.
///
/// # Panics
/// Never: it is written to memory.
#[must_use]
pub fn csv(marks: &[Mark]) -> Vec<u8> {
    let safe = |text: &str| {
        if text.starts_with(['=', '+', '-', '@', '\t', '\r']) { format!("'{text}") } else { text.to_owned() }
    };
    let mut table = csv::Writer::from_writer(Vec::new());
    let heading = [
        "file",
        "name",
        "lesson",
        "points",
        "passed",
        "checks",
        "failed_on",
        "first_failing",
        "feedback",
        "same_text_as",
    ];
    table.write_record(heading).expect("it is memory");
    for mark in marks {
        let (points, passed, checks) = (mark.points.to_string(), mark.passed.to_string(), mark.checks.to_string());
        let texts = [&mark.failed_on, &mark.first_failing, &mark.feedback, &mark.same_text_as].map(|text| safe(text));
        let [failed_on, first_failing, feedback, same] = texts;
        let record = [
            safe(&mark.file),
            safe(&mark.name),
            safe(&mark.lesson),
            points,
            passed,
            checks,
            failed_on,
            first_failing,
            feedback,
            same,
        ];
        table.write_record(&record).expect("it is memory");
    }
    table.into_inner().expect("it is memory")
}
