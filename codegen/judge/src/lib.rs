//! Whether one part can take the place of another on a board: boards, verdicts reached by rules and by running the
//! firmware's assumptions on simulated chips, fleets of boards, stock lists, budgets, and hazards shown failing.

#![forbid(unsafe_code)]

pub mod board;
pub mod budget;
pub mod decision;
pub mod fleet;
pub mod hazard;
pub mod stock;
pub mod swap;
