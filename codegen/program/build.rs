//! Builds the preload library of `pagewise bridge` and lays it into the program, so that an installed program needs no
//! second file. Only for release builds: while one works on Pagewise, the library lies beside the program anyway.

use std::path::{Path, PathBuf};
use std::process::Command;
use std::{env, fs, io};

fn main() -> io::Result<()> {
    println!("cargo::rerun-if-changed=build.rs");
    let out = PathBuf::from(env::var_os("OUT_DIR").ok_or_else(|| io::Error::other("OUT_DIR is not set"))?);
    let carried = match library(&out)? {
        Some(path) => format!("Some(include_bytes!({:?}))", path.display().to_string()),
        None => "None".to_owned(),
    };
    fs::write(out.join("carried_library.rs"), carried)
}

/// The library, built by a Cargo of its own, where this is a release build for Linux.
fn library(out: &Path) -> io::Result<Option<PathBuf>> {
    let is = |name: &str, value: &str| env::var(name).is_ok_and(|found| found == value);
    let Some(sources) = env::var_os("DEP_PAGEWISE_BRIDGE_ROOT").map(PathBuf::from) else { return Ok(None) };
    if !is("PROFILE", "release") || !is("CARGO_CFG_TARGET_OS", "linux") {
        return Ok(None);
    }
    for folder in ["src", "../session/src"] {
        println!("cargo::rerun-if-changed={}", sources.join(folder).display());
    }
    let (target, folder) = (env::var("TARGET").map_err(io::Error::other)?, out.join("bridge"));
    let status = Command::new(env::var_os("CARGO").unwrap_or_else(|| "cargo".into()))
        .args(["build", "--release", "--quiet", "--lib", "--target", &target])
        .arg("--manifest-path")
        .arg(sources.join("Cargo.toml"))
        .arg("--target-dir")
        .arg(&folder)
        // What was said to the Cargo around this one about where things go does not hold here.
        .env_remove("CARGO_TARGET_DIR")
        .env_remove("CARGO_BUILD_TARGET")
        .status()?;
    if !status.success() {
        return Err(io::Error::other("the preload library could not be built"));
    }
    Ok(Some(folder.join(target).join("release/libpagewise_bridge.so")))
}
