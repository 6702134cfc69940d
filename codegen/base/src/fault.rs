//! What is wrong with an input file: one message per fault, each with file, line, field, reason and remedy.

use std::fmt;
use std::io;

/// One thing that is wrong in one place of an input.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Fault {
    /// File as the user named it.
    pub file: String,
    /// Line, counted from 1; 0 when no line applies.
    pub line: usize,
    /// Path of the field, such as `speed[1].scl_khz`; empty when no field applies.
    pub field: String,
    /// What is wrong, with the value and the allowed range.
    pub reason: String,
    /// What to do about it.
    pub remedy: String,
}

impl Fault {
    /// A fault of a whole file.
    #[must_use]
    pub fn of_file(file: &str, reason: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self { file: file.into(), line: 0, field: String::new(), reason: reason.into(), remedy: remedy.into() }
    }

    /// A file that cannot be read.
    #[must_use]
    pub fn unreadable(file: &str, error: &io::Error) -> Self {
        match error.kind() {
            io::ErrorKind::InvalidData => {
                Self::of_file(file, "cannot be read: it is not UTF-8 text", "save it as UTF-8, or name another file")
            }
            io::ErrorKind::IsADirectory => Self::of_file(file, "cannot be read: it is a folder", "name a file"),
            _ => Self::of_file(file, format!("cannot be read: {error}"), "check the path and its permissions"),
        }
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.file)?;
        if self.line > 0 {
            write!(f, ":{}", self.line)?;
        }
        if !self.field.is_empty() {
            write!(f, ": `{}`", self.field)?;
        }
        write!(f, ": {}", self.reason)?;
        if !self.remedy.is_empty() {
            write!(f, "; {}", self.remedy)?;
        }
        Ok(())
    }
}

impl std::error::Error for Fault {}

/// All faults of one reading. Never empty when it is returned as an error.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Faults(pub Vec<Fault>);

impl Faults {
    /// `Ok(value)` when nothing is wrong.
    ///
    /// # Errors
    /// All faults, in file and line order, when there is at least one.
    pub fn or_ok<T>(mut self, value: T) -> Result<T, Self> {
        if self.0.is_empty() {
            return Ok(value);
        }
        self.0.sort();
        self.0.dedup();
        Err(self)
    }
}

impl From<Fault> for Faults {
    fn from(fault: Fault) -> Self {
        Self(vec![fault])
    }
}

impl fmt::Display for Faults {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (index, fault) in self.0.iter().enumerate() {
            if index > 0 {
                f.write_str("\n")?;
            }
            write!(f, "{fault}")?;
        }
        Ok(())
    }
}

impl std::error::Error for Faults {}
