//! Driver and simulated chip on other machines: a Cortex-M3 under qemu, and WebAssembly.

extern crate alloc;

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use pagewise_tests::tools;

#[path = "../target/src/program.rs"]
mod program;

/// Debian's toolchain: it brings the sources of the standard library, from which that of another target is built.
fn cargo() -> Option<Command> {
    let [cargo, rustc] = ["/usr/bin/cargo", "/usr/bin/rustc"].map(Path::new);
    if !cargo.is_file() || !rustc.is_file() {
        tools::missing("/usr/bin/cargo is missing (Debian packages cargo-web and rustc-web)");
        return None;
    }
    if !Path::new("/usr/lib/rustlib/src/rust/library/core").is_dir() && !sources(rustc) {
        tools::missing("the sources of the standard library are missing (Debian package rust-web-src)");
        return None;
    }
    let mut command = Command::new(cargo);
    let path = std::env::var("PATH").unwrap_or_default();
    command.env("PATH", format!("/usr/bin:{path}")).env("RUSTC_BOOTSTRAP", "1");
    // What the host's own cargo has set for this test.
    for name in
        ["RUSTUP_TOOLCHAIN", "CARGO", "RUSTC", "RUSTDOC", "RUSTFLAGS", "CARGO_ENCODED_RUSTFLAGS", "CARGO_BUILD_TARGET"]
    {
        command.env_remove(name);
    }
    Some(command)
}

fn sources(rustc: &Path) -> bool {
    let asked = Command::new(rustc).args(["--print", "sysroot"]).output();
    let root = asked.ok().and_then(|output| String::from_utf8(output.stdout).ok()).unwrap_or_default();
    Path::new(root.trim()).join("lib/rustlib/src/rust/library/core").is_dir()
}

/// A build folder of its own: kept between runs, so that the standard library is built once.
fn build_folder(name: &str) -> PathBuf {
    Path::new(env!("CARGO_TARGET_TMPDIR")).join(name)
}

#[test]
fn a_cortex_m3_gives_the_same_trace_digests_as_the_host() {
    let Some(mut cargo) = cargo() else { return };
    let Some(qemu) = tools::need("qemu-system-arm", "qemu-system-arm") else { return };
    if tools::need("arm-none-eabi-ld", "gcc-arm-none-eabi").is_none() {
        return;
    }
    let folder = build_folder("bare-metal");
    let built = cargo
        .args(["build", "--release", "--locked", "--quiet", "--target-dir"])
        .arg(&folder)
        .current_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/target"))
        .output()
        .unwrap();
    assert!(built.status.success(), "{}", String::from_utf8_lossy(&built.stderr));
    let run = Command::new(qemu)
        .args(["-cpu", "cortex-m3", "-machine", "mps2-an385", "-nographic"])
        .args(["-semihosting-config", "enable=on,target=native", "-kernel"])
        .arg(folder.join("thumbv7m-none-eabi/release/pagewise-bare-metal"))
        .stdin(Stdio::null())
        .output()
        .unwrap();
    let (said, wrong) = (String::from_utf8_lossy(&run.stdout), String::from_utf8_lossy(&run.stderr));
    assert!(run.status.success(), "{said}{wrong}");
    let host: Vec<String> =
        (0..program::PROGRAMS).map(|seed| format!("{seed} {:016x}", program::digest(seed))).collect();
    let target: Vec<&str> = said.lines().collect();
    assert_eq!(target, host);
    let different: BTreeSet<&str> = host.iter().filter_map(|line| line.split(' ').nth(1)).collect();
    assert_eq!(different.len(), host.len(), "programs of different seeds are different");
}

#[test]
fn the_simulator_core_builds_for_wasm32() {
    let Some(mut cargo) = cargo() else { return };
    let built = cargo
        .args(["build", "--release", "--locked", "--quiet", "-p", "pagewise-simulator", "--no-default-features"])
        .args(["--target", "wasm32-unknown-unknown", "-Zbuild-std=core,alloc", "--target-dir"])
        .arg(build_folder("wasm32"))
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .unwrap();
    assert!(built.status.success(), "{}", String::from_utf8_lossy(&built.stderr));
}
