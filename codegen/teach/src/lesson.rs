//! Lessons: read, checked, played.

pub mod file;

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use pagewise_base::fault::{Fault, Faults};
use pagewise_base::form::Document;
use pagewise_base::words;
use pagewise_part::card::{Card, Catalogue};
use pagewise_player::{Bench, Board, Goal, Graded, Place, Program, Run, program, values};
use pagewise_simulator::Hazard;

pub use file::{Choice, GoalFile, Question, Teacher};

macro_rules! embedded {
    ($($name:literal),* $(,)?) => {
        &[$((concat!($name, ".toml"), include_str!(concat!("../lessons/", $name, ".toml")))),*]
    };
}

/// File and text of every lesson that comes with the program, in the order in which they are taught.
pub const EMBEDDED: &[(&str, &str)] = embedded![
    "offset-to-address",
    "page-wrap",
    "address-width-short",
    "address-width-long",
    "misplaced-write",
    "block-alias",
    "capacity-alias",
    "read-rollover",
    "busy-access",
    "restart-abort",
    "write-protect",
    "torn-write",
    "power-cut",
    "wear-out",
    "address-conflict",
    "floating-pin",
    "overclock",
    "undervoltage",
    "overvoltage",
    "bus-timing",
    "wrong-family",
    "stuck-bus",
];

/// A part with what it is on a lesson.
#[derive(Debug, Clone)]
pub struct Fitted {
    /// Identifier of its card.
    pub id: String,
    /// The simulated chip.
    pub model: pagewise_simulator::ChipModel,
}

impl Fitted {
    fn of(card: &Card) -> Self {
        Self { id: card.id.clone(), model: card.chip_model() }
    }
}

/// Where a student's program is tried.
#[derive(Debug, Clone)]
pub struct Check {
    /// The part.
    pub part: Fitted,
    /// Lines that come to the board here.
    pub board: String,
    /// The page does not know it.
    pub hidden: bool,
}

/// What a program came to in one check.
#[derive(Debug, Clone)]
pub struct Checked {
    /// The part.
    pub part: String,
    /// The page does not know it.
    pub hidden: bool,
    /// What it came to.
    pub graded: Graded,
    /// Where the program first went wrong.
    pub place: Option<Place>,
}

/// A lesson.
#[derive(Debug, Clone)]
pub struct Lesson {
    /// Name, unique.
    pub name: String,
    /// What happens, in one line.
    pub title: String,
    /// The hazard that it shows.
    pub hazard: Option<Hazard>,
    /// The part.
    pub part: Fitted,
    /// The part for which the program was right.
    pub beside: Option<Fitted>,
    /// What the program believes.
    pub belief: String,
    /// The board.
    pub board: String,
    /// The failing program.
    pub program: String,
    /// Where the bytes went.
    pub went: String,
    /// What the student is to do.
    pub task: String,
    /// The board of the task.
    pub task_board: String,
    /// A program that does it.
    pub solution: String,
    /// The question before the reveal.
    pub question: Question,
    /// What the student's program must reach.
    pub goal: GoalFile,
    /// Where it is tried.
    pub checks: Vec<Check>,
    /// For the teacher.
    pub teacher: Teacher,
}

/// Reads a lesson; parts are looked up in the catalogue.
///
/// # Errors
/// Everything that is wrong with it.
pub fn parse(file: &str, text: &str, catalogue: &Catalogue) -> Result<Lesson, Faults> {
    let lesson = file::SHAPE.complete(file, text, |form, read| build(read, form, catalogue))?;
    // What could not be built has noted why.
    lesson.ok_or_else(Faults::default)
}

fn build(read: file::LessonFile, document: &Document<'_>, catalogue: &Catalogue) -> Option<Lesson> {
    let part = |id: &str, field: &str| match catalogue.named(id, "", 0, field) {
        Ok(card) => Some(Fitted::of(card)),
        Err(fault) => {
            document.fault(field, fault.reason, fault.remedy);
            None
        }
    };
    let hazard = read.hazard.as_deref().and_then(|name| {
        let found = name.parse().ok();
        if found.is_none() {
            let near = words::near(name, Hazard::ALL.iter().map(|hazard| hazard.name()), usize::MAX, 3);
            document.fault("hazard", format!("no hazard is called `{name}`"), format!("near: {}", near.join(", ")));
        }
        found
    });
    let fitted = part(&read.part, "part");
    let beside = read.beside.as_deref().and_then(|id| part(id, "beside"));
    let checks: Vec<Check> = read
        .check
        .iter()
        .enumerate()
        .filter_map(|(at, check)| {
            let fitted = part(&check.part, &format!("check[{at}].part"))?;
            Some(Check { part: fitted, board: check.board.clone(), hidden: check.hidden })
        })
        .collect();
    let task_board = read.new_board.clone().unwrap_or_else(|| read.board.clone());
    sound(&read, &task_board, document);
    Some(Lesson {
        name: read.name,
        title: read.title,
        hazard,
        part: fitted?,
        beside,
        belief: read.belief,
        board: read.board,
        program: read.program,
        went: read.went,
        task: read.task,
        task_board,
        solution: read.solution,
        question: read.question,
        goal: read.goal,
        checks,
        teacher: read.teacher,
    })
}

/// What depends on several fields, or on the notation.
fn sound(read: &file::LessonFile, task_board: &str, document: &Document<'_>) {
    let right = read.question.choice.iter().filter(|choice| choice.right).count();
    if right != 1 || read.question.choice.len() < 2 {
        let reason = format!("has {} of which {right} are right", words::counted(read.question.choice.len(), "choice"));
        document.fault("question.choice", reason, "give two or more, one of them with `right = true`");
    }
    if read.check.iter().all(|check| check.hidden) {
        document.fault("check", "the page would try nothing", "leave `hidden` out of one check at least");
    }
    let seed = values::seed_of("");
    let told = |field: &str, faults: Vec<program::Fault>| {
        for fault in faults {
            document.fault(field, format!("{} of it: {}", fault.place.line, fault.reason), fault.remedy);
        }
    };
    let boards = [("board", read.board.as_str(), read.program.as_str(), "program")];
    let tasks = [("new_board", task_board, read.solution.as_str(), "solution")];
    for (board_field, board, text, field) in boards.into_iter().chain(tasks) {
        match Program::parse_board(&values::filled(board, seed)) {
            Err(faults) => told(board_field, faults),
            Ok((board, _)) => {
                if let Err(faults) = Program::parse_on(board, &values::filled(text, seed), &read.goal.may_set) {
                    told(field, faults);
                }
            }
        }
    }
    for (at, check) in read.check.iter().enumerate() {
        if let Err(faults) = Program::parse_board(&values::filled(&check.board, seed)) {
            told(&format!("check[{at}].board"), faults);
        }
    }
    if let Err(reason) = Goal::read(&read.goal.reads, &read.goal.either, &read.goal.tolerates, seed) {
        document.fault("goal", reason, "write bytes as in programs, and hazards by their names");
    }
}

impl Lesson {
    /// The failing program with a student's values.
    #[must_use]
    pub fn filled_program(&self, who: &str) -> String {
        values::filled(&self.program, values::seed_of(who))
    }

    /// The program that does it with a student's values.
    #[must_use]
    pub fn filled_solution(&self, who: &str) -> String {
        values::filled(&self.solution, values::seed_of(who))
    }

    /// A program on this lesson's board, as it was before the task or as it is in it.
    ///
    /// # Errors
    /// Everything that is wrong with the program.
    pub fn bench(
        &self,
        who: &str,
        text: &str,
        in_task: bool,
        check: Option<&Check>,
    ) -> Result<(Board, Program), Vec<program::Fault>> {
        let board = if in_task { &self.task_board } else { &self.board };
        let given = format!("{board}\n{}", check.map_or("", |check| &check.board));
        let (board, before) = Program::parse_board(&values::filled(&given, values::seed_of(who)))?;
        let (board, program) = Program::parse_on(board, text, &self.goal.may_set)?;
        Ok((board, program.after(&before)))
    }

    /// What the program must reach, with a student's values.
    ///
    /// # Panics
    /// Never for a lesson that was read: its goal was read with it.
    #[must_use]
    pub fn goal(&self, who: &str) -> Goal {
        let GoalFile { reads, either, tolerates, cycles, .. } = &self.goal;
        let goal = Goal::read(reads, either, tolerates, values::seed_of(who)).expect("it was read with its lesson");
        Goal { cycles: *cycles, ..goal }
    }

    /// A student's program in every check, hidden ones too. A program with faults passes none, and has no results.
    #[must_use]
    pub fn grade_all(&self, who: &str, text: &str) -> Vec<Checked> {
        self.checks.iter().filter_map(|check| self.grade(who, text, check).ok()).collect()
    }

    /// A student's program in one check.
    ///
    /// # Errors
    /// Everything that is wrong with the program.
    pub fn grade(&self, who: &str, text: &str, check: &Check) -> Result<Checked, Vec<program::Fault>> {
        let (board, program) = self.bench(who, text, true, Some(check))?;
        let run = Run::new(&Bench { model: check.part.model.clone(), board }, &program);
        let graded = run.grade(&self.goal(who));
        let place = run.first_failing().map(|(_, place)| place).filter(|_| !graded.passed());
        Ok(Checked { part: check.part.id.clone(), hidden: check.hidden, graded, place })
    }
}

/// Lessons in the order in which they are taught.
#[derive(Debug, Clone)]
pub struct Lessons(pub Vec<Lesson>);

impl Lessons {
    /// Those that come with the program.
    ///
    /// # Errors
    /// Everything that is wrong with them: with the embedded cards nothing is, a test reads them.
    pub fn embedded(catalogue: &Catalogue) -> Result<Self, Faults> {
        Self::from_texts(
            EMBEDDED.iter().map(|(file, text)| ((*file).to_owned(), (*text).to_owned())).collect(),
            catalogue,
        )
    }

    /// Those that come with the program, and every *.toml file of a folder; one of the same name takes its place.
    ///
    /// # Errors
    /// Everything that is wrong with them, and a folder that cannot be read.
    pub fn with_folder(folder: &Path, catalogue: &Catalogue) -> Result<Self, Faults> {
        let unreadable = |error| Faults::from(Fault::unreadable(&folder.display().to_string(), &error));
        let mut paths = Vec::new();
        for entry in fs::read_dir(folder).map_err(unreadable)? {
            let path = entry.map_err(unreadable)?.path();
            if path.extension().is_some_and(|ending| ending == "toml") {
                paths.push(path);
            }
        }
        paths.sort();
        let mut texts: Vec<(String, String)> =
            EMBEDDED.iter().map(|(file, text)| ((*file).to_owned(), (*text).to_owned())).collect();
        for path in paths {
            let shown = path.display().to_string();
            texts.push((shown.clone(), fs::read_to_string(&path).map_err(|error| Fault::unreadable(&shown, &error))?));
        }
        Self::from_texts(texts, catalogue)
    }

    fn from_texts(texts: Vec<(String, String)>, catalogue: &Catalogue) -> Result<Self, Faults> {
        let (mut lessons, mut faults): (Vec<Lesson>, Vec<Fault>) = (Vec::new(), Vec::new());
        let mut seen: BTreeMap<String, usize> = BTreeMap::new();
        for (file, text) in texts {
            match parse(&file, &text, catalogue) {
                Ok(lesson) => match seen.get(&lesson.name) {
                    Some(&at) => lessons[at] = lesson,
                    None => {
                        seen.insert(lesson.name.clone(), lessons.len());
                        lessons.push(lesson);
                    }
                },
                Err(told) => faults.extend(told.0),
            }
        }
        Faults(faults).or_ok(Self(lessons))
    }

    /// The lesson of this name.
    #[must_use]
    pub fn find(&self, name: &str) -> Option<&Lesson> {
        self.0.iter().find(|lesson| lesson.name == name)
    }

    /// Names that resemble one, nearest first.
    #[must_use]
    pub fn near(&self, name: &str) -> Vec<&str> {
        words::near(name, self.0.iter().map(|lesson| lesson.name.as_str()), 4, 3)
    }
}
