//! The walls between the rooms, and what must hold for the project's files as a whole.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;

/// A source file longer than this does not show its architecture any more.
const MOST_LINES: usize = 600;
/// What files should stay below; longer ones are listed.
const AIM_LINES: usize = 400;

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..").canonicalize().unwrap()
}

/// Dependencies of every package of the workspace on other packages of it, dev- and build-dependencies included.
fn dependencies() -> BTreeMap<String, Vec<String>> {
    let cargo = std::env::var("CARGO").unwrap_or_else(|_| "cargo".into());
    let output = Command::new(cargo)
        .args(["metadata", "--format-version", "1", "--no-deps", "--offline"])
        .current_dir(root())
        .output()
        .unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let metadata: Value = serde_json::from_slice(&output.stdout).unwrap();
    let packages = metadata["packages"].as_array().unwrap();
    let text = |value: &Value| value.as_str().unwrap().to_owned();
    let names: Vec<String> = packages.iter().map(|package| text(&package["name"])).collect();
    let of = |package: &Value| {
        let all = package["dependencies"].as_array().unwrap().iter().map(|dependency| text(&dependency["name"]));
        all.filter(|name| names.contains(name)).collect()
    };
    packages.iter().map(|package| (text(&package["name"]), of(package))).collect()
}

#[test]
fn driver_and_simulator_never_depend_on_each_other_nor_on_codegen() {
    let dependencies = dependencies();
    assert_eq!(dependencies["pagewise-driver"], [""; 0]);
    assert_eq!(dependencies["pagewise-simulator"], [""; 0]);
}

#[test]
fn codegen_depends_on_driver_and_simulator() {
    let dependencies = dependencies();
    for room in ["pagewise-driver", "pagewise-simulator"] {
        assert!(dependencies["pagewise"].contains(&room.to_owned()), "pagewise does not depend on {room}");
    }
}

#[test]
fn nothing_depends_on_the_tests() {
    for (package, needs) in dependencies() {
        assert!(!needs.contains(&"pagewise-tests".to_owned()), "{package} depends on the tests");
    }
}

#[test]
fn the_doors_of_the_simulator_know_no_cards_and_no_driver() {
    let dependencies = dependencies();
    let doors: Vec<_> = dependencies.iter().filter(|(name, _)| name.starts_with("pagewise-simulator-")).collect();
    for (door, needs) in &doors {
        let others = needs.iter().filter(|name| *name != "pagewise-simulator").collect::<Vec<_>>();
        assert!(others.is_empty(), "{door} depends on {others:?}");
    }
    for folder in ["simulator/capi", "simulator/bridge"] {
        let manifest = fs::read_to_string(root().join(folder).join("Cargo.toml")).unwrap();
        assert!(!manifest.contains("pagewise-driver") && !manifest.contains("pagewise = "), "{folder}");
    }
}

/// Files under version control or about to be, without what is ignored.
fn files() -> Vec<PathBuf> {
    fn walk(folder: &Path, files: &mut Vec<PathBuf>) {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            let name = path.file_name().unwrap().to_string_lossy().into_owned();
            // In a second work tree `.git` is a file.
            if ["target", ".git", "data"].contains(&name.as_str()) {
                continue;
            }
            if path.is_dir() {
                walk(&path, files);
            } else {
                files.push(path);
            }
        }
    }
    let mut found = Vec::new();
    walk(&root(), &mut found);
    assert!(found.len() > 200, "only {} files found", found.len());
    found
}

fn shown(path: &Path) -> String {
    path.strip_prefix(root()).unwrap().display().to_string()
}

fn rust_files() -> Vec<PathBuf> {
    files().into_iter().filter(|path| path.extension().is_some_and(|extension| extension == "rs")).collect()
}

#[test]
fn unsafe_code_is_at_the_doors_only() {
    let word = ["un", "safe"].concat();
    for path in rust_files() {
        let name = shown(&path);
        // The last one measures the stack of a bare machine, for which there is no other way.
        let doors = ["simulator/capi/", "simulator/bridge/", "tests/size/src/stack.rs"];
        if doors.iter().any(|door| name.starts_with(door)) {
            continue;
        }
        let text = fs::read_to_string(&path).unwrap();
        for (number, line) in text.lines().enumerate() {
            let code = line.split("//").next().unwrap();
            let used = [" {", " fn", " impl", " extern"].iter().any(|after| code.contains(&format!("{word}{after}")));
            assert!(!used, "{name}:{}: {line}", number + 1);
        }
    }
    for library in ["driver/src/lib.rs", "simulator/src/lib.rs"] {
        let text = fs::read_to_string(root().join(library)).unwrap();
        assert!(text.contains(&format!("#![forbid({word}_code)]")), "{library} does not forbid it");
    }
}

#[test]
fn source_files_are_short() {
    let mut long = Vec::new();
    for path in rust_files() {
        let name = shown(&path);
        if name.contains("/tests/") || name.starts_with("tests/") {
            continue;
        }
        let text = fs::read_to_string(&path).unwrap();
        let lines = text.lines().take_while(|line| *line != "#[cfg(test)]").count();
        assert!(lines <= MOST_LINES, "{name} has {lines} lines, at most {MOST_LINES} are allowed");
        if lines > AIM_LINES {
            long.push(format!("{name}: {lines}"));
        }
    }
    println!("longer than {AIM_LINES} lines: {long:#?}");
}

#[test]
fn the_readme_names_the_rust_version_of_the_manifest() {
    let manifest: toml::Table = fs::read_to_string(root().join("Cargo.toml")).unwrap().parse().unwrap();
    let version = manifest["workspace"]["package"]["rust-version"].as_str().unwrap();
    let readme = fs::read_to_string(root().join("README.md")).expect("README.md");
    assert!(readme.contains(&format!("Rust {version}")), "README.md does not say `Rust {version}`");
}

#[test]
fn no_file_names_a_path_of_some_machine() {
    let roots = ["/wo", "/ro", "/ho", "/Us", "/tm"].into_iter().zip(["rk/", "ot/", "me/", "ers/", "p/"]);
    let paths: Vec<String> = roots.map(|(head, tail)| format!("{head}{tail}")).collect();
    for path in files() {
        let Ok(text) = fs::read_to_string(&path) else { continue };
        for (number, line) in text.lines().enumerate() {
            for machine in &paths {
                let starts = line.match_indices(machine.as_str()).map(|(at, _)| at);
                // `src/home/` or `$OUT/tmp/` is no path of a machine.
                let rooted = |at: usize| at == 0 || " \"'`=(:".contains(char::from(line.as_bytes()[at - 1]));
                assert!(!starts.into_iter().any(rooted), "{}:{}: {line}", shown(&path), number + 1);
            }
        }
    }
}
