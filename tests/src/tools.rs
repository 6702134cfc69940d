//! Programs from outside that some tests need, and those of this workspace.
//!
//! A tool that is missing skips its test with a printed reason; with `PAGEWISE_TOOLS=required` it fails the test.

use std::env;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;

/// The path of a program, or `None` with a printed reason.
///
/// # Panics
///
/// If it is missing and `PAGEWISE_TOOLS` is `required`.
#[must_use]
pub fn need(program: &str, debian_package: &str) -> Option<PathBuf> {
    let found = find(program);
    if found.is_none() {
        missing(&format!("{program} is missing (Debian package {debian_package})"));
    }
    found
}

/// Says why a test is skipped.
///
/// # Panics
///
/// If `PAGEWISE_TOOLS` is `required`.
pub fn missing(reason: &str) {
    let required = env::var_os("PAGEWISE_TOOLS").is_some_and(|value| value == "required");
    assert!(!required, "PAGEWISE_TOOLS=required, but {reason}");
    println!("skipped: {reason}");
}

fn find(program: &str) -> Option<PathBuf> {
    let path = env::var_os("PATH").unwrap_or_default();
    let system = ["/usr/sbin", "/sbin"].map(PathBuf::from);
    env::split_paths(&path).chain(system).map(|folder| folder.join(program)).find(|path| path.is_file())
}

/// Builds the program, the preload library and the C library of this workspace, and the examples of this crate, once per
/// process. Returns the folder that they are in: that of this test's own build.
///
/// # Panics
///
/// If they do not build.
pub fn workspace_programs() -> &'static Path {
    static FOLDER: OnceLock<PathBuf> = OnceLock::new();
    // Of the whole workspace and with examples, so that features are those of `cargo test --workspace` and nothing is built
    // a second time.
    FOLDER.get_or_init(|| build(&["--workspace", "--lib", "--bins", "--examples"]))
}

/// The path of an example of this crate.
///
/// # Panics
///
/// If it does not build.
#[must_use]
pub fn example(name: &str) -> PathBuf {
    workspace_programs().join("examples").join(name)
}

/// Builds the simulator for the browser. Returns its path, or `None` with a printed reason where the target is missing.
///
/// # Panics
///
/// If it does not build, or the target is missing and `PAGEWISE_TOOLS` is `required`.
#[must_use]
pub fn wasm() -> Option<PathBuf> {
    const TARGET: &str = "wasm32-unknown-unknown";
    let mut rustc = Command::new("rustc");
    let sysroot = rustc.args(["--print", "sysroot"]).output().expect("rustc runs").stdout;
    let sysroot = PathBuf::from(String::from_utf8_lossy(&sysroot).trim());
    if !sysroot.join("lib/rustlib").join(TARGET).is_dir() {
        missing(&format!("the target {TARGET} is missing (`rustup target add {TARGET}`)"));
        return None;
    }
    let target = env::current_exe().expect("a test has a path").ancestors().nth(3).expect("a target folder").to_owned();
    let mut cargo = Command::new(env::var_os("CARGO").unwrap_or_else(|| "cargo".into()));
    cargo.args([
        "build",
        "--locked",
        "--quiet",
        "-p",
        "pagewise-web",
        "--target",
        TARGET,
        "--profile",
        "web",
        "--target-dir",
    ]);
    cargo.arg(&target).env("RUSTFLAGS", nameless()).current_dir(env!("CARGO_MANIFEST_DIR"));
    assert!(cargo.status().expect("cargo runs").success(), "the simulator does not build for {TARGET}");
    Some(target.join(TARGET).join("web/pagewise_web.wasm"))
}

/// Flags with which no path of this machine gets into a file that is kept.
fn nameless() -> String {
    let home = env::var_os("CARGO_HOME").map(PathBuf::from);
    let home = home.or_else(|| env::var_os("HOME").map(|home| PathBuf::from(home).join(".cargo"))).unwrap_or_default();
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).parent().expect("the workspace lies above").to_owned();
    let registries = std::fs::read_dir(home.join("registry/src")).into_iter().flatten().flatten();
    // The last one that fits counts.
    let folders = [(root, "pagewise"), (home, "cargo")].into_iter();
    let folders = folders.chain(registries.map(|entry| (entry.path(), "crates")));
    let flags = folders.map(|(path, name)| format!("--remap-path-prefix={}={name}", path.display()));
    flags.collect::<Vec<_>>().join(" ")
}

/// Builds something into the folder of this test's own build, and returns that folder.
fn build(what: &[&str]) -> PathBuf {
    let test = env::current_exe().expect("a test has a path");
    let folder = test.ancestors().nth(2).expect("tests lie in TARGET/PROFILE/deps");
    let target = folder.parent().expect("a profile lies in the target folder");
    let mut cargo = Command::new(env::var_os("CARGO").unwrap_or_else(|| "cargo".into()));
    cargo.args(["build", "--locked", "--quiet", "--target-dir"]).arg(target).args(what);
    if folder.ends_with("release") {
        cargo.arg("--release");
    }
    let built = cargo.current_dir(env!("CARGO_MANIFEST_DIR")).status().expect("cargo runs");
    assert!(built.success(), "{what:?} does not build");
    folder.to_owned()
}
