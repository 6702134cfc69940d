//! What may stand in the file of a lesson: the one declaration of its fields.

use std::sync::LazyLock;

use pagewise_base::form::Shape;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The shape of lesson files.
pub static SHAPE: LazyLock<Shape<LessonFile>> = LazyLock::new(Shape::new);

/// A lesson: what a program believes, what becomes of it, and how it is repaired. Programs are in the notation of the traces;
/// `{0..15}` stands for sixteen bytes that are each student's own.
#[derive(JsonSchema, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LessonFile {
    /// Name, unique.
    #[schemars(regex(pattern = r"\S"))]
    pub(super) name: String,
    /// What happens, in one line.
    #[schemars(regex(pattern = r"\S"))]
    pub(super) title: String,
    /// The hazard that it shows, by its name; absent for a lesson that shows none.
    pub(super) hazard: Option<String>,
    /// The part: identifier or order code of a card.
    #[schemars(regex(pattern = r"\S"))]
    pub(super) part: String,
    /// The part for which the program was right, beside it.
    pub(super) beside: Option<String>,
    /// What the program believes.
    #[schemars(regex(pattern = r"\S"))]
    pub(super) belief: String,
    /// What surrounds the part, and what has happened to it before the program starts.
    #[serde(default)]
    pub(super) board: String,
    /// The failing program.
    #[schemars(regex(pattern = r"\S"))]
    pub(super) program: String,
    /// Where the bytes went.
    #[schemars(regex(pattern = r"\S"))]
    pub(super) went: String,
    /// What the student is to do.
    #[schemars(regex(pattern = r"\S"))]
    pub(super) task: String,
    /// What surrounds the part in the task, if it is not `board`.
    pub(super) new_board: Option<String>,
    /// A program that does it.
    #[schemars(regex(pattern = r"\S"))]
    pub(super) solution: String,
    /// The question before the reveal.
    pub(super) question: Question,
    /// What the student's program must reach, besides that everything meant is stored and everything held is kept.
    #[serde(default)]
    pub(super) goal: GoalFile,
    /// Where the student's program is tried.
    pub(super) check: Vec<Check>,
    /// For the teacher.
    pub(super) teacher: Teacher,
}

/// A question with choices, one of which is right.
#[derive(JsonSchema, Deserialize, Serialize, Debug, Clone)]
#[serde(deny_unknown_fields)]
pub struct Question {
    /// The question.
    #[schemars(regex(pattern = r"\S"))]
    pub ask: String,
    /// The choices.
    pub choice: Vec<Choice>,
}

/// One choice.
#[derive(JsonSchema, Deserialize, Serialize, Debug, Clone)]
#[serde(deny_unknown_fields)]
pub struct Choice {
    /// What it says.
    #[schemars(regex(pattern = r"\S"))]
    pub text: String,
    /// It is the right one.
    #[serde(default)]
    pub right: bool,
    /// Why it is right or not.
    #[schemars(regex(pattern = r"\S"))]
    pub why: String,
}

/// What a program must reach.
#[derive(JsonSchema, Deserialize, Serialize, Debug, Clone, Default)]
#[serde(deny_unknown_fields)]
pub struct GoalFile {
    /// Bytes that all reads together must return.
    #[serde(default)]
    pub reads: String,
    /// Offsets and bytes, such as `0040 11..18`: one of them must be whole after a loss of the supply at any place; empty:
    /// none is tried.
    #[serde(default)]
    pub either: Vec<String>,
    /// Hazards that detectors may name all the same.
    #[serde(default)]
    pub tolerates: Vec<String>,
    /// Words of the board that the student's program may set.
    #[serde(default)]
    pub may_set: Vec<String>,
    /// Write cycles that must be run at least.
    #[schemars(range(min = 0, max = 5000))]
    #[serde(default)]
    pub cycles: usize,
}

/// Where the student's program is tried.
#[derive(JsonSchema, Deserialize, Debug, Clone)]
#[serde(deny_unknown_fields)]
pub(super) struct Check {
    /// The part: identifier or order code of a card.
    #[schemars(regex(pattern = r"\S"))]
    pub(super) part: String,
    /// Lines that come to the board here.
    #[serde(default)]
    pub(super) board: String,
    /// The page does not know it: it is tried when marks are given.
    #[serde(default)]
    pub(super) hidden: bool,
}

/// For the teacher.
#[derive(JsonSchema, Deserialize, Serialize, Debug, Clone)]
#[serde(deny_unknown_fields)]
pub struct Teacher {
    /// Minutes that it takes.
    #[schemars(range(min = 1, max = 240))]
    pub minutes: u32,
    /// What students usually get wrong.
    #[serde(default)]
    pub errors: Vec<String>,
    /// The answer in words.
    #[schemars(regex(pattern = r"\S"))]
    pub answer: String,
}
