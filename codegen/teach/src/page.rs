//! The classroom as one page, and the pages for the teacher.

use std::collections::BTreeMap;

use data_encoding::BASE64;
use pagewise_part::card::Catalogue;
use pagewise_simulator::ChipModel;
use pagewise_templates::{classroom, render};
use serde::Serialize;

use crate::lesson::{Choice, Lesson, Lessons};
use crate::texts::Texts;

/// Lines that a student picks from a list.
const WORDS: [&str; 12] = [
    "S 50W 00 00 A5 P",
    "S 50W 00 00 Sr 50R ??x8 P",
    "wait 5ms",
    "poll 50W 10ms",
    "WP high",
    "WP low",
    "cut",
    "supply off",
    "supply 3.3V",
    "SCL 100kHz",
    "repeat 10\nend",
    "recover",
];

/// What the page opens with.
#[derive(Debug, Clone, Serialize)]
pub struct Opening {
    /// A program.
    pub program: String,
    /// The part: identifier of a card, or of one of `parts`.
    pub part: String,
    /// The part beside it.
    pub beside: Option<String>,
    /// Steps that are played already.
    pub step: usize,
    /// Parts that are not cards.
    #[serde(skip)]
    pub parts: Vec<Part>,
}

impl Opening {
    /// A page write that is too long for the page.
    #[must_use]
    pub fn of_the_house() -> Self {
        let program = "means 0010 80..AF\nS 50W 00 10 80..AF P\nwait 5ms\nS 50W 00 10 Sr 50R ??x16 P\n";
        Self { program: program.to_owned(), part: "at24c32e".to_owned(), beside: None, step: 0, parts: Vec::new() }
    }

    /// A program on the first of two parts, beside the other.
    pub(crate) fn of_case(program: String, parts: Vec<Part>, step: usize) -> Self {
        let id = |at: usize| parts.get(at).map(|part| part.id.clone());
        Self { program, part: id(0).unwrap_or_default(), beside: id(1), step, parts }
    }
}

/// A part of the page.
#[derive(Debug, Clone, Serialize)]
pub struct Part {
    /// Identifier.
    pub id: String,
    /// Name.
    pub name: String,
    /// The simulated chip.
    pub model: ChipModel,
}

#[derive(Serialize)]
struct Data<'a> {
    texts: &'a BTreeMap<String, String>,
    parts: Vec<Part>,
    lessons: Vec<LessonData<'a>>,
    words: &'a [&'a str],
    opening: &'a Opening,
}

#[derive(Serialize)]
struct LessonData<'a> {
    name: &'a str,
    title: &'a str,
    part: &'a str,
    beside: Option<&'a str>,
    belief: &'a str,
    board: &'a str,
    program: &'a str,
    went: &'a str,
    task: &'a str,
    task_board: &'a str,
    ask: &'a str,
    choices: &'a [Choice],
    checks: Vec<CheckData<'a>>,
    goal: Goal<'a>,
    may_set: &'a [String],
}

#[derive(Serialize)]
struct Goal<'a> {
    reads: &'a str,
    either: &'a [String],
    tolerates: &'a [String],
    cycles: usize,
}

#[derive(Serialize)]
struct CheckData<'a> {
    part: &'a str,
    board: &'a str,
}

impl<'a> LessonData<'a> {
    fn of(lesson: &'a Lesson) -> Self {
        let shown = lesson.checks.iter().filter(|check| !check.hidden);
        let goal = &lesson.goal;
        Self {
            name: &lesson.name,
            title: &lesson.title,
            part: &lesson.part.id,
            beside: lesson.beside.as_ref().map(|part| part.id.as_str()),
            belief: &lesson.belief,
            board: &lesson.board,
            program: &lesson.program,
            went: &lesson.went,
            task: &lesson.task,
            task_board: &lesson.task_board,
            ask: &lesson.question.ask,
            choices: &lesson.question.choice,
            checks: shown.map(|check| CheckData { part: &check.part.id, board: &check.board }).collect(),
            goal: Goal { reads: &goal.reads, either: &goal.either, tolerates: &goal.tolerates, cycles: goal.cycles },
            may_set: &goal.may_set,
        }
    }
}

#[derive(Serialize)]
struct Page<'a> {
    texts: &'a BTreeMap<String, String>,
    version: &'static str,
    style: &'static str,
    /// JSON in which nothing ends a script element.
    data: String,
    wasm: String,
    script: String,
}

/// The page: all cards as simulated chips, the lessons, the simulator.
///
/// # Panics
/// Never: what is serialised are structs with named fields.
#[must_use]
pub fn classroom(catalogue: &Catalogue, lessons: &Lessons, texts: &Texts, opening: &Opening) -> String {
    let cards = catalogue.parts().filter_map(|card| {
        let model = card.chip_model();
        model.check().is_ok().then(|| Part { id: card.id.clone(), name: card.name.clone(), model })
    });
    let parts = opening.parts.iter().cloned().chain(cards).collect();
    let data = Data {
        texts: texts.all(),
        parts,
        lessons: lessons.0.iter().map(LessonData::of).collect(),
        words: &WORDS,
        opening,
    };
    let data = serde_json::to_string(&data).expect("structs with named fields");
    let page = Page {
        texts: texts.all(),
        version: env!("CARGO_PKG_VERSION"),
        style: classroom::STYLE,
        data: data.replace('<', "\\u003c"),
        wasm: BASE64.encode(classroom::SIMULATOR),
        script: classroom::SCRIPTS.join("\n"),
    };
    render("classroom.html.tera", &page)
}

#[derive(Serialize)]
struct TeacherPage<'a> {
    texts: &'a BTreeMap<String, String>,
    version: &'static str,
    style: &'static str,
    lessons: Vec<TeacherLesson<'a>>,
}

#[derive(Serialize)]
struct TeacherLesson<'a> {
    name: &'a str,
    title: &'a str,
    part: &'a str,
    minutes: String,
    belief: &'a str,
    program: String,
    ask: &'a str,
    choices: &'a [Choice],
    went: &'a str,
    task: &'a str,
    answer: &'a str,
    solution: String,
    errors: &'a [String],
    checks: Vec<String>,
}

/// One page for each lesson, with minutes, usual errors and answers.
#[must_use]
pub fn teacher(lessons: &Lessons, texts: &Texts) -> String {
    let lesson = |lesson: &'_ Lesson| {
        let check = |check: &crate::lesson::Check| {
            let board = if check.board.is_empty() { String::new() } else { format!(" ({})", check.board) };
            let hidden = if check.hidden { format!(", {}", texts.say("teacher_hidden", &[])) } else { String::new() };
            format!("{}{board}{hidden}", check.part.id)
        };
        (lesson.checks.iter().map(check).collect::<Vec<_>>(), lesson.filled_program(""), lesson.filled_solution(""))
    };
    let lessons = lessons.0.iter().map(|one| {
        let (checks, program, solution) = lesson(one);
        TeacherLesson {
            name: &one.name,
            title: &one.title,
            part: &one.part.id,
            minutes: texts.say("teacher_minutes", &[("minutes", &one.teacher.minutes.to_string())]),
            belief: &one.belief,
            program,
            ask: &one.question.ask,
            choices: &one.question.choice,
            went: &one.went,
            task: &one.task,
            answer: &one.teacher.answer,
            solution,
            errors: &one.teacher.errors,
            checks,
        }
    });
    let page = TeacherPage {
        texts: texts.all(),
        version: env!("CARGO_PKG_VERSION"),
        style: classroom::STYLE,
        lessons: lessons.collect(),
    };
    render("classroom_teacher.html.tera", &page)
}
