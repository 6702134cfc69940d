//! The walls between the rooms, and what must hold for the project's files as a whole.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;

/// A source file with more lines, its unit tests aside, does not show its architecture any more.
const MOST_LINES: usize = 400;

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

/// Who may depend on whom, dev- and build-dependencies included. What is not listed is a wall.
const MAY: &[(&str, &[&str])] = &[
    ("pagewise-driver", &[]),
    ("pagewise-simulator", &[]),
    ("pagewise-capi", &["pagewise-simulator"]),
    ("pagewise-session", &["pagewise-simulator"]),
    ("pagewise-player", &["pagewise-simulator"]),
    ("pagewise-web", &["pagewise-player"]),
    ("pagewise-bridge", &["pagewise-session"]),
    ("pagewise-base", &[]),
    ("pagewise-templates", &["pagewise-base"]),
    ("pagewise-part", &["pagewise-base", "pagewise-driver", "pagewise-simulator"]),
    (
        "pagewise-judge",
        &["pagewise-base", "pagewise-part", "pagewise-templates", "pagewise-driver", "pagewise-simulator"],
    ),
    ("pagewise-content", &["pagewise-base", "pagewise-part", "pagewise-driver"]),
    ("pagewise-emit", &["pagewise-base", "pagewise-part", "pagewise-content", "pagewise-templates", "pagewise-driver"]),
    // It runs invented firmware in its tests, hence the judge and the cards.
    (
        "pagewise-observe",
        &["pagewise-base", "pagewise-templates", "pagewise-part", "pagewise-judge", "pagewise-simulator"],
    ),
    ("pagewise-line", &["pagewise-base", "pagewise-part", "pagewise-content", "pagewise-driver", "pagewise-simulator"]),
    ("pagewise-measure", &["pagewise-base", "pagewise-part", "pagewise-judge", "pagewise-line", "pagewise-simulator"]),
    (
        "pagewise-teach",
        &[
            "pagewise-base",
            "pagewise-part",
            "pagewise-judge",
            "pagewise-templates",
            "pagewise-simulator",
            "pagewise-player",
        ],
    ),
    (
        "pagewise-report",
        &["pagewise-base", "pagewise-part", "pagewise-judge", "pagewise-templates", "pagewise-simulator"],
    ),
];

/// Walls that are crossed: a dependency that [`MAY`] does not list, a package that nobody may be seen to have thought of,
/// and anything on the tests. The program may use every crate but the tests.
fn crossed(dependencies: &BTreeMap<String, Vec<String>>) -> Vec<String> {
    let mut crossed = Vec::new();
    for (package, needs) in dependencies {
        let may = MAY.iter().find(|(name, _)| name == package).map(|(_, may)| *may);
        for need in needs {
            let allowed = match may {
                _ if need == "pagewise-tests" => false,
                Some(may) => may.contains(&need.as_str()),
                None => ["pagewise", "pagewise-tests"].contains(&package.as_str()),
            };
            if !allowed {
                crossed.push(format!("{package} depends on {need}"));
            }
        }
        if may.is_none() && !["pagewise", "pagewise-tests"].contains(&package.as_str()) {
            crossed.push(format!("{package} stands in no row of the table of walls"));
        }
    }
    crossed
}

#[test]
fn no_wall_between_the_crates_is_crossed() {
    let dependencies = dependencies();
    assert_eq!(crossed(&dependencies), [""; 0]);
    for (package, _) in MAY {
        assert!(dependencies.contains_key(*package), "{package} is not a package any more");
    }
}

/// The canary: each kind of crossing is told.
#[test]
fn a_crossed_wall_is_told() {
    let with = |package: &str, needs: &[&str]| {
        let needs = needs.iter().map(|need| (*need).to_owned()).collect();
        crossed(&BTreeMap::from([(package.to_owned(), needs)]))
    };
    assert_eq!(with("pagewise-driver", &["pagewise-simulator"]).len(), 1);
    assert_eq!(with("pagewise-capi", &["pagewise-simulator", "pagewise-part"]).len(), 1);
    assert_eq!(with("pagewise-part", &["pagewise-judge"]).len(), 1);
    assert_eq!(with("pagewise", &["pagewise-tests"]).len(), 1);
    assert_eq!(with("pagewise-new", &[]).len(), 1);
    assert_eq!(with("pagewise", &["pagewise-judge"]), [""; 0]);
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
        let doors = ["simulator/capi/", "simulator/bridge/", "simulator/web/", "tests/size/src/stack.rs"];
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
    let mut libraries: Vec<PathBuf> = rust_files()
        .into_iter()
        .filter(|path| path.ends_with("src/lib.rs") && !shown(path).contains("tests/"))
        .collect();
    libraries.retain(|path| {
        !["simulator/capi/", "simulator/bridge/", "simulator/web/"].iter().any(|door| shown(path).starts_with(door))
    });
    assert!(libraries.len() > 9, "{libraries:?}");
    for library in libraries {
        let text = fs::read_to_string(&library).unwrap();
        assert!(text.contains(&format!("#![forbid({word}_code)]")), "{} does not forbid it", shown(&library));
    }
}

/// Lines of a file before its unit tests.
fn lines(text: &str) -> usize {
    text.lines().take_while(|line| *line != "#[cfg(test)]").count()
}

#[test]
fn source_files_are_short() {
    let mut long = Vec::new();
    for path in rust_files() {
        let name = shown(&path);
        let lines = lines(&fs::read_to_string(&path).unwrap());
        if !name.contains("tests/") && lines > MOST_LINES {
            long.push(format!("{name}: {lines}"));
        }
    }
    assert_eq!(long, [""; 0], "longer than {MOST_LINES} lines");
    let canary = "x\n".repeat(MOST_LINES + 1);
    assert!(lines(&canary) > MOST_LINES && lines(&format!("x\n#[cfg(test)]\n{canary}")) == 1);
}

#[test]
fn the_documents_say_the_limit_that_is_counted() {
    let text = fs::read_to_string(root().join("DEVELOPERS.md")).unwrap();
    assert!(text.contains(&format!("Files stay under {MOST_LINES} lines")));
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
                // `src/home/` or `$OUT/tmp/` is not a path of a machine.
                let rooted = |at: usize| at == 0 || " \"'`=(:".contains(char::from(line.as_bytes()[at - 1]));
                assert!(!starts.into_iter().any(rooted), "{}:{}: {line}", shown(&path), number + 1);
            }
        }
    }
}
