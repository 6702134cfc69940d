//! The mutants, as `cargo mutants --list --json` tells them.

use std::error::Error;
use std::path::Path;
use std::process::Command;

use serde::Deserialize;

/// What is changed.
#[derive(Deserialize, Clone, Copy, PartialEq, Eq, Debug)]
pub enum Genre {
    /// The body of a function gives way to a value.
    FnValue,
    BinaryOperator,
    UnaryOperator,
    /// An arm of a `match` is gone.
    MatchArm,
    MatchArmGuard,
    /// A field is no longer set, but comes from the base of the struct.
    StructField,
}

/// A place in a file: line and column from 1, columns in characters.
#[derive(Deserialize, Clone, Debug)]
pub struct Place {
    pub line: usize,
    pub column: usize,
}

#[derive(Deserialize, Clone, Debug)]
pub struct Span {
    pub start: Place,
    pub end: Place,
}

/// One mutant.
#[derive(Deserialize, Clone, Debug)]
pub struct Mutant {
    /// Its number, from 1.
    #[serde(default)]
    pub id: usize,
    /// The file, from the root of the workspace.
    pub file: String,
    pub genre: Genre,
    /// Place and change in words.
    pub name: String,
    /// What stands in place of what `span` covers.
    pub replacement: String,
    pub span: Span,
}

/// Byte of each line's beginning.
pub fn lines(source: &str) -> Vec<usize> {
    std::iter::once(0).chain(source.match_indices('\n').map(|(at, _)| at + 1)).collect()
}

impl Place {
    /// The byte at which it stands in a source with these lines.
    pub fn byte(&self, source: &str, lines: &[usize]) -> usize {
        let start = lines[self.line - 1];
        source[start..].char_indices().nth(self.column - 1).map_or(source.len(), |(byte, _)| start + byte)
    }
}

/// All mutants of a package.
pub fn mutants(root: &Path, package: &str) -> Result<Vec<Mutant>, Box<dyn Error>> {
    let mut list = Command::new("cargo");
    list.args(["mutants", "--package", package, "--all-features", "--list", "--json"]).current_dir(root);
    let output = list.output()?;
    if !output.status.success() {
        return Err(format!("cargo mutants: {}", String::from_utf8_lossy(&output.stderr)).into());
    }
    let mut mutants: Vec<Mutant> = serde_json::from_slice(&output.stdout)?;
    mutants.iter_mut().enumerate().for_each(|(index, mutant)| mutant.id = index + 1);
    Ok(mutants)
}
