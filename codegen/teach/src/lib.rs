//! Lessons on the ways in which serial I2C EEPROMs lose data: what a lesson is, the page in the browser that they are played
//! on, and the marks of what students hand in.
//!
//! ```
//! use pagewise_part::card::Catalogue;
//! use pagewise_teach::lesson::Lessons;
//!
//! let lessons = Lessons::embedded(&Catalogue::embedded()?)?;
//! let wrap = lessons.find("page-wrap").ok_or("no such lesson")?;
//! assert!(wrap.grade_all("Ada", &wrap.filled_solution("Ada")).iter().all(|check| check.graded.passed()));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
#![forbid(unsafe_code)]

pub mod case;
pub mod lesson;
pub mod mark;
pub mod page;
pub mod texts;
