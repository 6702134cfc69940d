//! A swap is judged twice: random boards on which both judges must come to one verdict, runs that must not depend on
//! what a board cannot notice, and errors seeded into one judge that the other must notice.

mod agreement;
mod boards;
mod climate;
mod falsifier;
mod memo;
mod protection;
mod ranking;
#[allow(dead_code)] // The other tests use more of it.
#[path = "../../../../tests/src/search.rs"]
mod search;
mod seeded;
mod survey;
mod today;
