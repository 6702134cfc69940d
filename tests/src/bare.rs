//! Building for a bare Cortex-M with Debian's toolchain, and running under an emulator.

use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use crate::tools;

/// Debian's cargo: it brings the sources of the standard library, from which that of another target is built. `None`,
/// with a printed reason, where something is missing.
#[must_use]
pub fn cargo() -> Option<Command> {
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

/// Builds the crate in `folder` (counted from this workspace) into `target` and returns that folder. `None`, with a
/// printed reason, where a tool is missing.
///
/// # Panics
///
/// If it does not build.
#[must_use]
pub fn build(folder: &str, target: PathBuf, arguments: &[&str]) -> Option<PathBuf> {
    let mut cargo = cargo()?;
    tools::need("arm-none-eabi-ld", "gcc-arm-none-eabi")?;
    let built = cargo
        .args(["build", "--release", "--locked", "--quiet", "--target-dir"])
        .arg(&target)
        .args(arguments)
        .current_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join("..").join(folder))
        .output()
        .expect("cargo runs");
    assert!(built.status.success(), "{folder} does not build:\n{}", String::from_utf8_lossy(&built.stderr));
    Some(target)
}

/// Runs an image on an emulated Cortex-M3; what it says through semihosting is on the standard output. `None`, with a
/// printed reason, without an emulator.
///
/// # Panics
///
/// If the emulator does not start.
#[must_use]
pub fn run(image: &Path) -> Option<Output> {
    let mut qemu = Command::new(tools::need("qemu-system-arm", "qemu-system-arm")?);
    qemu.args([
        "-cpu",
        "cortex-m3",
        "-machine",
        "mps2-an385",
        "-display",
        "none",
        "-monitor",
        "none",
        "-serial",
        "none",
    ])
    .args(["-chardev", "stdio,id=said"])
    .args(["-semihosting-config", "enable=on,target=native,chardev=said", "-kernel"])
    .arg(image)
    .stdin(Stdio::null());
    Some(qemu.output().expect("the emulator runs"))
}
