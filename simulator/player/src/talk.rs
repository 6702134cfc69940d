//! Questions and answers as JSON, for a page in the browser.

use alloc::boxed::Box;
use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use pagewise_simulator::ChipModel;
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

use crate::layout::header;
use crate::program::{Action, Fault, Program};
use crate::view::first_difference;
use crate::{Bench, Board, Goal, Run, values};

/// Chips side by side.
const MOST_LANES: usize = 2;
/// Bytes of a question.
const MOST_BYTES: usize = 1 << 20;
/// Events and steps that are listed.
const MOST_LISTED: usize = 4_000;

/// A lesson's program, or one of one's own.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Task {
    /// What surrounds the chip, in a lesson; its values are filled in.
    #[serde(default)]
    board: String,
    /// The program.
    program: String,
    /// Whose values.
    #[serde(default)]
    who: String,
    /// Words of the board that the program may set; absent: all.
    may_set: Option<Vec<String>>,
}

#[derive(Debug, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "do", deny_unknown_fields)]
enum Question {
    /// Plays a program on one chip or two.
    Open { models: Vec<ChipModel>, task: Task },
    /// Shows the chips after so many steps.
    Show { step: usize },
    /// Whether a program reaches a goal.
    Grade {
        model: Box<ChipModel>,
        task: Task,
        #[serde(default)]
        reads: String,
        #[serde(default)]
        either: Vec<String>,
        #[serde(default)]
        tolerates: Vec<String>,
        #[serde(default)]
        cycles: usize,
        /// Lines of the board that this check adds.
        #[serde(default)]
        extra: String,
    },
    /// The text with a student's values.
    Fill { text: String, who: String },
    /// How an offset becomes an address.
    Address { model: Box<ChipModel>, pins: [bool; 3], offset: u32 },
    /// Whether a model is one.
    Check { model: Box<ChipModel> },
}

#[derive(Serialize)]
struct FaultIn<'f> {
    part: &'static str,
    #[serde(flatten)]
    fault: &'f Fault,
}

/// Answers questions; holds the runs that are open.
#[derive(Default)]
pub struct Desk {
    runs: Vec<Run>,
}

impl Desk {
    /// Answers one question. A question that is not one is answered with `error`; nothing a page can ask makes it fail.
    #[must_use]
    pub fn ask(&mut self, question: &[u8]) -> String {
        if question.len() > MOST_BYTES {
            return json!({ "error": "the question is too long" }).to_string();
        }
        match serde_json::from_slice::<Question>(question) {
            Ok(question) => self.answer(question).unwrap_or_else(|error| error).to_string(),
            Err(error) => json!({ "error": error.to_string() }).to_string(),
        }
    }

    fn answer(&mut self, question: Question) -> Result<Value, Value> {
        match question {
            Question::Open { models, task } => self.open(models, &task),
            Question::Show { step } => {
                Ok(json!({ "lanes": self.runs.iter().map(|run| run.view(step)).collect::<Vec<_>>() }))
            }
            Question::Grade { model, task, reads, either, tolerates, cycles, extra } => {
                sound(&model)?;
                let (board, program) = read(&task, &extra)?;
                let goal = Goal::read(&reads, &either, &tolerates, values::seed_of(&task.who))
                    .map(|goal| Goal { cycles, ..goal });
                let goal = goal.map_err(|reason| json!({ "error": reason }))?;
                let run = Run::new(&Bench { model: *model, board }, &program);
                let graded = run.grade(&goal);
                let place = run.first_failing().map(|(_, place)| place);
                Ok(json!({ "graded": graded, "place": place }))
            }
            Question::Fill { text, who } => Ok(json!({ "text": values::filled(&text, values::seed_of(&who)) })),
            Question::Address { model, pins, offset } => {
                sound(&model)?;
                Ok(json!({ "header": header(&model, pins, offset) }))
            }
            Question::Check { model } => {
                sound(&model).map(|()| json!({ "name": model.name, "capacity": model.capacity }))
            }
        }
    }

    fn open(&mut self, models: Vec<ChipModel>, task: &Task) -> Result<Value, Value> {
        self.runs.clear();
        if models.is_empty() || models.len() > MOST_LANES {
            return Err(json!({ "error": "one chip or two" }));
        }
        models.iter().try_for_each(sound)?;
        let (board, program) = read(task, "")?;
        for model in models {
            self.runs.push(Run::new(&Bench { model, board: board.clone() }, &program));
        }
        let longest = self.runs.iter().map(|run| run.log().len()).max().unwrap_or(0);
        let difference = match &self.runs[..] {
            [one, other] => first_difference(one, other),
            _ => None,
        };
        let lanes: Vec<Value> = self.runs.iter().map(lane).collect();
        let scl_hz = board.scl_hz;
        Ok(json!({ "steps": longest, "difference": difference, "lanes": lanes, "scl_hz": scl_hz }))
    }
}

fn lane(run: &Run) -> Value {
    let steps = run.log().iter().enumerate();
    let events: Vec<usize> =
        steps.clone().filter(|(_, it)| it.is_event()).map(|(at, _)| at + 1).take(MOST_LISTED).collect();
    // Transfers one can jump to.
    let starts = steps.filter(|(_, it)| matches!(it.action, Action::Start { again: false }));
    let starts: Vec<usize> = starts.map(|(at, _)| at + 1).take(MOST_LISTED).collect();
    json!({
        "events": events,
        "starts": starts,
        "end": run.end(),
        "lost": run.lost().len(),
        "wrong_reads": run.wrong_reads(),
    })
}

fn sound(model: &ChipModel) -> Result<(), Value> {
    model.check().map_err(|reason| json!({ "error": reason.to_string() }))
}

/// The board and the program of a task, or their faults.
fn read(task: &Task, extra: &str) -> Result<(Board, Program), Value> {
    let seed = values::seed_of(&task.who);
    let told = |part: &'static str| move |faults: Vec<Fault>| json!({ "faults": faults.iter().map(|fault| FaultIn { part, fault }).collect::<Vec<_>>() });
    let Some(may_set) = &task.may_set else {
        return Program::parse(&task.program).map_err(told("program"));
    };
    let given = format!("{}\n{extra}", values::filled(&task.board, seed));
    let (board, before) = Program::parse_board(&given).map_err(told("board"))?;
    let (board, program) = Program::parse_on(board, &task.program, may_set).map_err(told("program"))?;
    Ok((board, program.after(&before)))
}
