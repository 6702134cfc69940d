//! A firmware whose build script asks the library: the script is run as Cargo runs it, and the firmware compiles with what
//! it wrote.

use std::fs;
use std::path::Path;
use std::process::Command;

use pagewise_tests::tools;

const LAYOUT: &str = "name = \"door bell\"\n[[region]]\nname = \"serial\"\nkind = \"serial\"\nlength = 12\n\
    [[region]]\nname = \"rings\"\nkind = \"u32\"\nendian = \"little\"\nwrites_per_day = 40\n";

const FIRMWARE: &str = r#"#![deny(warnings)]
//! Prints what the build script has found out.
include!(concat!(env!("OUT_DIR"), "/part.rs"));

fn main() {
    println!("{} {} {}", part::GEOMETRY.page_bytes(), part::BUFFER_BYTES, part::regions::RINGS_OFFSET);
}
"#;

#[test]
fn a_build_script_configures_a_firmware_and_tells_what_is_wrong_with_its_layout() {
    let script = tools::example("build_script");
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("firmware");
    let out = folder.join("out");
    fs::create_dir_all(folder.join("src")).unwrap();
    fs::create_dir_all(&out).unwrap();
    let run = || Command::new(&script).current_dir(&folder).env("OUT_DIR", &out).output().unwrap();

    fs::write(folder.join("layout.toml"), LAYOUT.replace("little", "middle")).unwrap();
    let refused = run();
    let said = String::from_utf8_lossy(&refused.stderr);
    assert!(!refused.status.success() && said.starts_with("layout.toml:9: `region[1].endian`: "), "{said}");
    assert!(said.contains("`middle` is not known") && said.lines().count() == 1, "{said}");

    fs::write(folder.join("layout.toml"), LAYOUT).unwrap();
    let done = run();
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    let said = String::from_utf8_lossy(&done.stdout);
    assert!(said.starts_with("cargo::rerun-if-changed=layout.toml\n"), "{said}");
    assert!(said.contains("cargo::warning=24lc64: 4096 of 8192 bytes stay unused"), "{said}");

    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("..").canonicalize().unwrap();
    let manifest = format!(
        "[package]\nname = \"firmware\"\nversion = \"0.0.0\"\nedition = \"2024\"\n\n[workspace]\n\n[dependencies]\n\
         embedded-hal = \"1.0\"\npagewise-driver = {{ path = {:?} }}\n",
        root.join("driver")
    );
    fs::write(folder.join("Cargo.toml"), manifest).unwrap();
    fs::copy(root.join("Cargo.lock"), folder.join("Cargo.lock")).unwrap();
    fs::write(folder.join("src/main.rs"), FIRMWARE).unwrap();
    let built = Command::new(env!("CARGO"))
        .args(["run", "--quiet", "--offline", "--target-dir"])
        .arg(folder.join("target"))
        .current_dir(&folder)
        .env("OUT_DIR", &out)
        .env_remove("RUSTFLAGS")
        .env_remove("CARGO_TARGET_DIR")
        .output()
        .unwrap();
    assert!(built.status.success(), "{}", String::from_utf8_lossy(&built.stderr));
    // The smaller page, header and page, and the page after that of the serial number.
    assert_eq!(String::from_utf8_lossy(&built.stdout), "32 34 32\n");
}
