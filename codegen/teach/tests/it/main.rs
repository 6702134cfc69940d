//! Lessons, their page and their marks.

mod lessons;
mod marks;
mod page;
