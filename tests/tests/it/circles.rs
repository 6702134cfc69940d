//! No file of a crate imports, through whatever others, from itself.

use std::path::Path;

use pagewise_tests::modules::Crate;

const CRATES: [&str; 19] = [
    "driver/src",
    "simulator/src",
    "simulator/capi/src",
    "simulator/bridge/src",
    "simulator/session/src",
    "simulator/player/src",
    "simulator/web/src",
    "templates/src",
    "codegen/base/src",
    "codegen/part/src",
    "codegen/judge/src",
    "codegen/content/src",
    "codegen/emit/src",
    "codegen/line/src",
    "codegen/measure/src",
    "codegen/observe/src",
    "codegen/report/src",
    "codegen/teach/src",
    "codegen/program/src",
];

#[test]
fn no_crate_has_a_circle() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    let mut found = Vec::new();
    for name in CRATES {
        let files = Crate::read(&root.join(name));
        let imports: usize = files.imports().values().map(std::collections::BTreeSet::len).sum();
        assert!(files.files() < 5 || imports > 0, "{name}: no import was found");
        found.extend(files.circles().into_iter().map(|circle| format!("{name}: {}", circle.join(", "))));
    }
    assert!(found.is_empty(), "files that import from each other:\n{}", found.join("\n"));
}

#[test]
fn every_crate_of_the_workspace_is_looked_at() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    for folder in ["codegen", "simulator"] {
        for entry in std::fs::read_dir(root.join(folder)).unwrap() {
            let path = entry.unwrap().path();
            let name = format!("{folder}/{}/src", path.file_name().unwrap().to_string_lossy());
            assert!(!path.join("Cargo.toml").is_file() || CRATES.contains(&name.as_str()), "{name} is not listed");
        }
    }
}

/// The canary: circles of two and of three files, through braces, `super` and a re-export.
#[test]
fn circles_are_found() {
    let two = Crate::of(&[
        ("", "mod a;\nmod b;\n"),
        ("a", "use crate::{b::{B, C}, c};\npub struct A;\n"),
        ("b", "use std::fmt;\nuse super::a::A;\npub struct B;\n"),
        ("c", "// use crate::a::A;\n"),
    ]);
    assert_eq!(two.circles(), [["a", "b"]]);
    let through_a_re_export = Crate::of(&[
        ("", "mod a;\npub use a::A;\nmod b;\nmod c;\n"),
        ("a", "pub(crate) use b::X;\nuse crate::b::B;\n"),
        ("b", "use crate::c::{self, C};\n"),
        ("c", "use crate::A;\n#[cfg(test)]\nuse crate::b::B;\n"),
    ]);
    assert_eq!(through_a_re_export.circles(), [["a", "b", "c"]]);
    let none = Crate::of(&[
        ("", "mod a;\npub use a::A;\n"),
        ("a", "mod inner;\nuse inner::I;\n"),
        ("a/inner", "pub struct I;\n"),
    ]);
    assert!(none.circles().is_empty(), "{:?}", none.circles());
}
