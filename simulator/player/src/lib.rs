//! Plays bus programs on simulated chips step by step, forwards and backwards.
//!
//! A program is written in the notation in which the simulator shows its traces, with waits, the supply and the pins as
//! lines of their own ([`notation`]). [`Run`] plays it whole and remembers what each step did; `Run::at` shows the bench
//! after any step. The simulator is deterministic, so going back is playing anew up to there.
//!
//! ```
//! use pagewise_player::{Bench, Program, Run};
//! use pagewise_simulator::ChipModel;
//!
//! let text = "means 0010 80..AF\nS 50W+ 00 10 80..AF P\nwait 5ms";
//! let (board, program) = Program::parse(text).expect("it is well written");
//! let run = Run::new(&Bench { model: ChipModel::example_32_kbit(), board }, &program);
//! assert_eq!(run.lost().len(), 48);
//! assert!(run.log().iter().any(|step| !step.incidents.is_empty()));
//! ```
#![no_std]
#![forbid(unsafe_code)]

extern crate alloc;

pub mod board;
mod controller;
mod cuts;
pub mod goal;
mod layout;
pub mod notation;
mod outcome;
mod play;
mod player;
pub mod program;
pub mod talk;
pub mod values;
pub mod view;

pub use board::{Bench, Board};
pub use goal::{Goal, Graded};
pub use outcome::{BusEvent, End, Outcome, Who};
pub use play::Run;
pub use player::MOST_STEPS;
pub use program::{Fault, Place, Program};
pub use view::{LaneView, Row};
