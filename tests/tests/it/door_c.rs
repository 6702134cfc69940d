//! The C door: the firmware of examples/c-firmware, compiled by the host's C compiler and linked with the simulator.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use pagewise_tests::tools;

const ROOT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/..");

fn run(command: &mut Command) -> Output {
    command.output().unwrap_or_else(|error| panic!("{command:?}: {error}"))
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

/// Writes the model file of a part.
fn model(folder: &Path, part: &str) -> PathBuf {
    let path = folder.join(format!("{part}.json"));
    let pagewise = tools::workspace_programs().join("pagewise");
    let wrote = run(Command::new(pagewise).args(["model", part, "-o"]).arg(&path));
    assert!(wrote.status.success(), "{}", text(&wrote.stderr));
    path
}

/// Compiles C files with the header and links them with the static library.
fn compile(cc: &Path, sources: &[PathBuf], program: &Path) {
    let built = run(Command::new(cc)
        .args(["-std=c11", "-Wall", "-Wextra", "-Wconversion", "-Werror", "-O1"])
        .arg("-I")
        .arg(Path::new(ROOT).join("simulator/capi/include"))
        .args(sources)
        .arg(tools::workspace_programs().join("libpagewise_capi.a"))
        .args(["-lpthread", "-ldl", "-lm", "-o"])
        .arg(program));
    assert!(built.status.success(), "{}", text(&built.stderr));
}

/// The firmware with one of its page writers.
fn firmware(cc: &Path, folder: &Path, writer: &str) -> PathBuf {
    let sources = ["main.c", "rig_port.c", writer].map(|name| Path::new(ROOT).join("examples/c-firmware").join(name));
    let program = folder.join(writer.trim_end_matches(".c"));
    compile(cc, &sources, &program);
    program
}

#[test]
fn the_naive_page_writer_fails_with_the_hazard_named_and_the_correct_one_stores() {
    let Some(cc) = tools::need("cc", "gcc") else { return };
    let folder = tempfile::tempdir().unwrap();
    for part in ["24lc32a", "at24c32d"] {
        let model = model(folder.path(), part);
        let naive = run(Command::new(firmware(&cc, folder.path(), "eeprom_naive.c")).arg(&model));
        let said = text(&naive.stdout);
        assert_eq!(naive.status.code(), Some(1), "{part}: {said}");
        assert!(said.contains("page-wrap: "), "{part}: {said}");
        assert!(said.contains("16 bytes meant for 0x0120 landed at 0x0100: page wrap at 32"), "{part}: {said}");
        assert!(said.contains("the table is lost"), "{part}: {said}");

        let correct = run(Command::new(firmware(&cc, folder.path(), "eeprom_correct.c")).arg(&model));
        assert_eq!(correct.status.code(), Some(0), "{part}: {}", text(&correct.stdout));
        assert_eq!(text(&correct.stdout), "the table is stored\n", "{part}");
    }
}

#[test]
fn a_model_that_is_none_is_refused_with_its_reason() {
    let Some(cc) = tools::need("cc", "gcc") else { return };
    let folder = tempfile::tempdir().unwrap();
    let program = firmware(&cc, folder.path(), "eeprom_correct.c");
    let broken = folder.path().join("broken.json");
    let whole = std::fs::read_to_string(model(folder.path(), "24lc32a")).unwrap();
    let cases = [
        (whole[..whole.len() / 2].to_owned(), "the model cannot be read"),
        (whole.replace("\"capacity\": 4096", "\"capacity\": 4095"), "capacity of 4095 bytes is not a power of two"),
        (whole.replace("\"page\"", "\"pages\""), "unknown field `pages`"),
    ];
    for (model, message) in cases {
        std::fs::write(&broken, model).unwrap();
        let refused = run(Command::new(&program).arg(&broken));
        let said = text(&refused.stderr);
        assert_eq!(refused.status.code(), Some(2), "{said}");
        assert!(said.contains(message) && said.contains("broken.json") && said.lines().count() == 1, "{said}");
    }
    let refused = run(Command::new(&program).arg(folder.path().join("missing.json")));
    assert!(text(&refused.stderr).contains("No such file"), "{}", text(&refused.stderr));
}

#[test]
fn every_function_keeps_its_word_and_takes_null_and_nonsense() {
    let Some(cc) = tools::need("cc", "gcc") else { return };
    let folder = tempfile::tempdir().unwrap();
    let source = Path::new(ROOT).join("tests/tests/it/door_c/interface.c");
    let program = folder.path().join("interface");
    compile(&cc, &[source], &program);
    let run = run(Command::new(program).arg(model(folder.path(), "24lc32a")));
    assert_eq!(run.status.code(), Some(0), "{}{}", text(&run.stdout), text(&run.stderr));
    assert_eq!(text(&run.stdout), "all kept\n");
}
