//! Driver and simulated chip on other machines: a Cortex-M3 under qemu, and WebAssembly.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use pagewise_player::talk::Desk;
use pagewise_tests::bare;

use crate::questions::{digest, questions};

#[path = "../../target/src/program.rs"]
mod program;

/// A build folder of its own: kept between runs, so that the standard library is built once.
pub(crate) fn build_folder(name: &str) -> PathBuf {
    Path::new(env!("CARGO_TARGET_TMPDIR")).join(name)
}

#[test]
fn a_cortex_m3_gives_the_same_trace_digests_as_the_host() {
    let Some(built) = bare::build("tests/target", build_folder("bare-metal"), &[]) else { return };
    let Some(run) = bare::run(&built.join("thumbv7m-none-eabi/release/pagewise-bare-metal")) else { return };
    let (said, wrong) = (String::from_utf8_lossy(&run.stdout), String::from_utf8_lossy(&run.stderr));
    assert!(run.status.success(), "{said}{wrong}");
    let host: Vec<String> =
        (0..program::PROGRAMS).map(|seed| format!("{seed} {:016x}", program::digest(seed))).collect();
    let target: Vec<&str> = said.lines().collect();
    let (target, played) = target.split_at(host.len());
    assert_eq!(target, host);
    // The classroom's programs, whose answers the page's WebAssembly gives, too (`classroom_wasm.rs`).
    let mut desk = Desk::default();
    let host_played: Vec<String> =
        questions().map(|question| digest(&desk.ask(question.to_string().as_bytes()))).collect();
    assert_eq!(played, host_played);
    let different: BTreeSet<&str> = host.iter().filter_map(|line| line.split(' ').nth(1)).collect();
    assert_eq!(different.len(), host.len(), "programs of different seeds are different");
}

#[test]
fn the_simulator_core_builds_for_wasm32() {
    let Some(mut cargo) = bare::cargo() else { return };
    let built = cargo
        .args(["build", "--release", "--locked", "--quiet", "-p", "pagewise-simulator", "--no-default-features"])
        .args(["--target", "wasm32-unknown-unknown", "-Zbuild-std=core,alloc", "--target-dir"])
        .arg(build_folder("wasm32"))
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .unwrap();
    assert!(built.status.success(), "{}", String::from_utf8_lossy(&built.stderr));
}
