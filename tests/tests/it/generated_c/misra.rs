//! The generated C by the rules of MISRA C:2012, as far as a general tool checks them (cppcheck's addon `misra`): none of them is
//! broken but those listed here, each with its reason. The table stands in the driver's README; `PAGEWISE_BLESS=1` writes it.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;
use std::process::Command;

use pagewise_content::layout;
use pagewise_emit::{Part, Record, Request, c};
use pagewise_part::card::Catalogue;
use pagewise_tests::readme::stands_in_driver_readme;
use pagewise_tests::tools;

use super::workshop::{succeeded, text};

/// Rules that the tool finds broken, what it finds, and why that stays.
const LEFT: [(&str, &str, &str); 9] = [
    ("2.4", "a tag that nothing uses", "the enumerations have no tag: they are names for numbers"),
    ("2.5", "a macro that nothing uses", "sizes in the header, for the firmware's own buffers"),
    ("3.1", "`//` inside `/*`", "what is said of the contracts, which are comments to a compiler"),
    ("8.7", "a function or object that its file alone uses", "what the header offers to the firmware"),
    (
        "10.4",
        "signed and unsigned in one operation",
        "sizes in a layout's accessors, written without `u`, never negative",
    ),
    (
        "12.1",
        "no parentheses where precedence decides",
        "comparisons beside arithmetic and `&&`; gcc is asked to warn of the others",
    ),
    ("15.5", "more than one `return`", "faults leave at once, so that what follows takes nothing for granted"),
    ("17.8", "a parameter that is changed", "it counts down what is left, and the contracts speak of its first value"),
    ("18.4", "`+` on a pointer", "the places are proved to lie in the buffer, or are the caller's bytes"),
];

const LAYOUT: &str = "name = \"bell\"\n[[region]]\nname = \"rings\"\nkind = \"u32\"\nendian = \"little\"\noffset = 32\n\
    writes_per_day = 4\n[[region]]\nname = \"maker\"\nkind = \"text\"\noffset = 64\nlength = 16\n";

/// The numbers of the rules that a file breaks, as far as the tool knows.
fn broken(cppcheck: &Path, folder: &Path, file: &str) -> BTreeSet<String> {
    let output = Command::new(cppcheck)
        .args(["--addon=misra", "--std=c99", "--enable=style", "--suppress=missingIncludeSystem", "--quiet"])
        .args(["--template={id}", file])
        .current_dir(folder)
        .output()
        .unwrap();
    succeeded(&output);
    text(&output.stderr).lines().filter_map(|line| line.strip_prefix("misra-c2012-")).map(str::to_owned).collect()
}

#[test]
fn the_generated_c_breaks_no_misra_rule_that_is_not_listed() {
    let Some(cppcheck) = tools::need("cppcheck", "cppcheck") else { return };
    let folder = tempfile::tempdir().unwrap();
    let catalogue = Catalogue::embedded().unwrap();
    let part = |id| Part::new(catalogue.find(id).unwrap(), [false; 3]);
    let layout = layout::parse("bell.toml", LAYOUT).unwrap();
    // Geometries of every shape, the choice between them, and typed accessors.
    let candidates = ["24lc256", "24lc01b", "24aa1025"].map(part).to_vec();
    let request = Request::new(candidates).choosing(Record { offset: 0x10, bytes: 70 }).in_module("choice");
    let one = Request::new(vec![part("24lc256")]).with_layout(&layout).in_module("one");
    let mut found = BTreeSet::new();
    for request in [request, one] {
        for file in c::driver(&request).unwrap().files {
            let path = folder.path().join(&file.name);
            fs::write(&path, file.text).unwrap();
            if path.extension().is_some_and(|ending| ending == "c") {
                found.extend(broken(&cppcheck, folder.path(), &file.name));
            }
        }
    }
    let listed = LEFT.map(|(rule, ..)| rule.to_owned());
    let new: Vec<_> = found.iter().filter(|rule| !listed.contains(rule)).collect();
    assert!(new.is_empty(), "rules broken that are not listed: {new:?}");
    let version = text(&Command::new(&cppcheck).arg("--version").output().unwrap().stdout);
    let mut table =
        format!("\nPrinted for {}.\n\n| Rule | What is found | Why it stays |\n|---|---|---|\n", version.trim());
    for (rule, what, why) in LEFT {
        table += &format!("| {rule} | {what} | {why} |\n");
    }
    table.push('\n');
    println!("{table}");
    let readme = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("../driver/README.md")).unwrap();
    if readme.contains(&format!("Printed for {}.", version.trim())) || std::env::var_os("PAGEWISE_BLESS").is_some() {
        let gone: Vec<_> = listed.iter().filter(|rule| !found.contains(*rule)).collect();
        assert!(gone.is_empty(), "rules listed that are not broken: {gone:?}");
        stands_in_driver_readme("MISRA rules", "it/generated_c/misra.rs", &table);
    } else {
        println!("the table in driver/README.md is for another version of the tool");
    }
}

/// An octal number (7.1), a jump (15.1), a chain without its last `else` (15.7): the tool speaks, and is understood.
const CARELESS: &str = "int careless(int n);\nint careless(int n)\n{\nagain:\n    if (n == 010) {\n        n++;\n    } else if (n > 3) {\n        \
    n--;\n        goto again;\n    }\n    return n;\n}\n";

#[test]
fn the_misra_check_finds_careless_c() {
    let Some(cppcheck) = tools::need("cppcheck", "cppcheck") else { return };
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("careless.c"), CARELESS).unwrap();
    let found = broken(&cppcheck, folder.path(), "careless.c");
    for rule in ["7.1", "15.1", "15.7"] {
        assert!(found.contains(rule), "{rule} is not among {found:?}");
    }
}
