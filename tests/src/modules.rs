//! Which file of a crate imports from which, read off their `use` lines, and the circles in that.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;

/// A module: its path in the crate; empty for the root.
pub type Module = Vec<String>;

/// The files of a crate: text without comments, strings of macros left as they are, and without its unit tests.
#[derive(Debug, Default)]
pub struct Crate(BTreeMap<Module, String>);

impl Crate {
    /// Reads every file below `src`.
    ///
    /// # Panics
    /// When the folder cannot be read.
    #[must_use]
    pub fn read(src: &Path) -> Self {
        let mut all = Self::default();
        all.walk(src, &mut Vec::new());
        all
    }

    /// A crate of these files, for tests of this file: `("chip/cycle", "use crate::chip::Chip;")`.
    #[must_use]
    pub fn of(files: &[(&str, &str)]) -> Self {
        let module = |name: &str| name.split('/').filter(|part| !part.is_empty()).map(str::to_owned).collect();
        Self(files.iter().map(|(name, text)| (module(name), code(text))).collect())
    }

    fn walk(&mut self, folder: &Path, module: &mut Module) {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            let stem = path.file_stem().unwrap().to_string_lossy().into_owned();
            if path.is_dir() {
                module.push(stem);
                self.walk(&path, module);
                module.pop();
            } else if path.extension().is_some_and(|ending| ending == "rs") && stem != "main" {
                let mut name = module.clone();
                if stem != "lib" {
                    name.push(stem);
                }
                self.0.insert(name, code(&fs::read_to_string(&path).unwrap()));
            }
        }
    }

    /// How many files there are.
    #[must_use]
    pub fn files(&self) -> usize {
        self.0.len()
    }

    /// The file that defines what `path`, written in `module`, names; re-exports are followed.
    fn defining(&self, module: &Module, path: &[String], depth: usize) -> Option<Module> {
        let mut at = module.clone();
        let mut rest = path;
        let mut anchored = false;
        while let [first, others @ ..] = rest {
            match first.as_str() {
                "crate" => at.clear(),
                "super" => drop(at.pop()),
                "self" => {}
                _ => break,
            }
            anchored = true;
            rest = others;
        }
        while let [first, others @ ..] = rest {
            let inner: Module = at.iter().chain([first]).cloned().collect();
            if !self.0.contains_key(&inner) {
                break;
            }
            (at, rest, anchored) = (inner, others, true);
        }
        if !anchored {
            return None;
        }
        if let ([name, ..], true) = (rest, depth < 6) {
            let handed_on = imports(self.0.get(&at)?, true);
            for mut path in
                handed_on.into_iter().filter(|path| path.last().is_some_and(|last| last == name || last == "*"))
            {
                if path.last().is_some_and(|last| last == "*") {
                    path.pop();
                    path.push(name.clone());
                }
                if let Some(found) = self.defining(&at, &path, depth + 1) {
                    return Some(found);
                }
            }
        }
        Some(at)
    }

    /// For each file, the others that it imports from. What a file hands on (`pub use`) is not an import of its own.
    #[must_use]
    pub fn imports(&self) -> BTreeMap<Module, BTreeSet<Module>> {
        let of = |(module, text): (&Module, &String)| {
            let paths = imports(text, false);
            let found = paths.iter().filter_map(|path| self.defining(module, path, 0));
            (module.clone(), found.filter(|other| other != module).collect())
        };
        self.0.iter().map(of).collect()
    }

    /// Groups of files that import from each other, directly or through others of the group.
    #[must_use]
    pub fn circles(&self) -> Vec<Vec<String>> {
        let imports = self.imports();
        let reached = |from: &Module| {
            let mut seen = BTreeSet::new();
            let mut open = vec![from.clone()];
            while let Some(module) = open.pop() {
                open.extend(imports[&module].iter().filter(|next| seen.insert((*next).clone())).cloned());
            }
            seen
        };
        let reach: BTreeMap<&Module, BTreeSet<Module>> =
            imports.keys().map(|module| (module, reached(module))).collect();
        let mut groups = BTreeSet::new();
        for (module, others) in reach.iter().filter(|(module, others)| others.contains(**module)) {
            let group = others.iter().filter(|other| reach[other].contains(*module));
            groups.insert(group.map(|member| member.join("/")).collect::<Vec<_>>());
        }
        groups.into_iter().collect()
    }
}

/// Code without comments and without what follows `#[cfg(test)]`.
fn code(text: &str) -> String {
    let lines = text.lines().take_while(|line| line.trim() != "#[cfg(test)]");
    lines.map(|line| line.split("//").next().unwrap_or_default()).collect::<Vec<_>>().join("\n")
}

/// The paths of `use` lines, braces opened; `handed_on` for those with a visibility, else those without.
fn imports(text: &str, handed_on: bool) -> Vec<Vec<String>> {
    let mut all = Vec::new();
    for statement in text.split(';') {
        let mut places = statement.match_indices("use ").map(|(at, _)| at);
        let Some(at) = places.find(|at| starts_statement(&statement[..*at])) else { continue };
        let before = statement[..at].trim_end();
        let is_public = before.ends_with("pub") || before.ends_with(')');
        if is_public == handed_on {
            opened(&statement[at + 4..], &mut all);
        }
    }
    all
}

fn starts_statement(before: &str) -> bool {
    let before = before.trim_end();
    let before = before.strip_suffix("pub").unwrap_or(before).trim_end();
    let before = match before.rfind("pub(") {
        Some(at) if before.ends_with(')') && !before[at..].contains('\n') => before[..at].trim_end(),
        _ => before,
    };
    before.is_empty() || before.ends_with(['}', ']', '{', ';'])
}

/// `a::{b, c::{d, e}}` as `a::b`, `a::c::d`, `a::c::e`.
fn opened(tree: &str, all: &mut Vec<Vec<String>>) {
    let Some(brace) = tree.find('{') else {
        let path = tree.split(" as ").next().unwrap_or_default();
        all.push(path.split("::").map(|part| part.trim().to_owned()).filter(|part| !part.is_empty()).collect());
        return;
    };
    let (head, inner) = (tree[..brace].trim(), &tree[brace + 1..tree.rfind('}').unwrap_or(tree.len())]);
    let (mut depth, mut from) = (0, 0);
    for (at, c) in inner.char_indices().chain([(inner.len(), ',')]) {
        match c {
            '{' => depth += 1,
            '}' => depth -= 1,
            ',' if depth == 0 => {
                let piece = inner[from..at].trim();
                if !piece.is_empty() {
                    opened(&format!("{head}{piece}"), all);
                }
                from = at + 1;
            }
            _ => {}
        }
    }
}
