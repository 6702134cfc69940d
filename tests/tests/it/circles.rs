//! No circles among the modules of a crate: what is declared in `lib.rs` is one module with everything below it, and
//! among those, use goes one way.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

/// Folders with sources of crates that are free of circles.
const CRATES: [&str; 3] = ["simulator/src", "simulator/capi/src", "simulator/bridge/src"];

/// Top-level modules by name, each with the others that its code names.
type Uses = BTreeMap<String, BTreeSet<String>>;

/// Code without comments, strings aside, and without tests.
fn code(text: &str) -> String {
    let before_tests = text.split("#[cfg(test)]").next().unwrap();
    before_tests.lines().map(|line| line.split("//").next().unwrap()).collect::<Vec<_>>().join("\n")
}

/// The modules that code names by `crate::`, alone or in braces.
fn named(code: &str) -> BTreeSet<String> {
    let word = |text: &str| text.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect::<String>();
    let mut found = BTreeSet::new();
    for (at, path) in code.match_indices("crate::") {
        // Part of a longer name, such as `some_crate::`.
        if code[..at].ends_with(|c: char| c.is_alphanumeric() || c == '_') {
            continue;
        }
        let rest = &code[at + path.len()..];
        match rest.strip_prefix('{') {
            Some(list) => {
                let (mut depth, mut fresh) = (1, true);
                for (i, c) in list.char_indices() {
                    match c {
                        '{' => depth += 1,
                        '}' => depth -= 1,
                        ',' if depth == 1 => fresh = true,
                        _ if fresh && !c.is_whitespace() => {
                            found.insert(word(&list[i..]));
                            fresh = false;
                        }
                        _ => {}
                    }
                    if depth == 0 {
                        break;
                    }
                }
            }
            None => drop(found.insert(word(rest))),
        }
    }
    found
}

fn sources(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).unwrap_or_else(|error| panic!("{}: {error}", folder.display())) {
        let path = entry.unwrap().path();
        if path.is_dir() {
            sources(&path, found);
        } else if path.extension().is_some_and(|extension| extension == "rs") {
            found.push(path);
        }
    }
}

fn uses(folder: &Path) -> Uses {
    let mut files = Vec::new();
    sources(folder, &mut files);
    let mut uses = Uses::new();
    for path in files {
        let first = path.strip_prefix(folder).unwrap().iter().next().unwrap().to_string_lossy().into_owned();
        let module = first.trim_end_matches(".rs").to_owned();
        if module != "lib" && module != "main" {
            uses.entry(module).or_default().extend(named(&code(&fs::read_to_string(path).unwrap())));
        }
    }
    let modules: BTreeSet<String> = uses.keys().cloned().collect();
    for (module, others) in &mut uses {
        others.retain(|other| modules.contains(other) && other != module);
    }
    uses
}

/// Modules that reach themselves.
fn circle(uses: &Uses) -> Vec<String> {
    let reaches_itself = |start: &String| {
        let (mut seen, mut next) = (BTreeSet::new(), vec![start]);
        while let Some(module) = next.pop() {
            for other in uses.get(module).into_iter().flatten() {
                if other == start {
                    return true;
                }
                if seen.insert(other) {
                    next.push(other);
                }
            }
        }
        false
    };
    uses.keys().filter(|module| reaches_itself(module)).cloned().collect()
}

#[test]
fn modules_use_each_other_one_way() {
    for folder in CRATES {
        let uses = uses(&Path::new(env!("CARGO_MANIFEST_DIR")).join("..").join(folder));
        let edges: usize = uses.values().map(BTreeSet::len).sum();
        assert!(edges >= 5, "{folder}: only {edges} uses found among {} modules", uses.len());
        assert_eq!(circle(&uses), [""; 0], "{folder}: {uses:#?}");
    }
}

#[test]
fn a_circle_is_found_and_a_chain_is_not() {
    let uses = |texts: &[(&str, &str)]| -> Uses {
        texts.iter().map(|(module, text)| ((*module).to_owned(), named(&code(text)))).collect()
    };
    let chain = [("a", "use crate::b::X;"), ("b", "use crate::{c::Y, d};"), ("c", "// crate::a\n"), ("d", "")];
    assert_eq!(circle(&uses(&chain)), [""; 0]);
    let knot = [chain[0], chain[1], ("c", "fn f() { crate::a::g() }"), chain[3]];
    assert_eq!(circle(&uses(&knot)), ["a", "b", "c"]);
    let in_tests = [chain[0], chain[1], ("c", "#[cfg(test)]\nmod tests { use crate::a::X; }"), chain[3]];
    assert_eq!(circle(&uses(&in_tests)), [""; 0]);
}
