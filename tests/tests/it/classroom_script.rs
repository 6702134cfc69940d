//! The page's script keeps to the types that its comments declare (Debian package node-typescript).

use std::fs;
use std::process::Command;

use pagewise_templates::classroom::SCRIPTS;
use pagewise_tests::tools;

#[test]
fn the_script_keeps_to_its_types() {
    let Some(tsc) = tools::need("tsc", "node-typescript") else { return };
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("page.js"), SCRIPTS.join("\n")).unwrap();
    // The canary: what is wrong is found.
    fs::write(folder.path().join("canary.js"), "/** @type {Lesson} */\nconst canary = { name: 5 };\n").unwrap();
    let options =
        ["--noEmit", "--allowJs", "--checkJs", "--strict", "--target", "es2022", "--lib", "es2022,dom,dom.iterable"];
    let run = Command::new(tsc).args(options).args(["page.js", "canary.js"]).current_dir(&folder).output().unwrap();
    let said = String::from_utf8(run.stdout).unwrap();
    let (canary, page): (Vec<&str>, Vec<&str>) =
        said.lines().filter(|line| line.contains("error")).partition(|line| line.starts_with("canary.js"));
    assert_eq!(page, [""; 0], "{said}");
    assert!(!canary.is_empty(), "{said}");
}
