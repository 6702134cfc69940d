//! What the driver takes on small microcontrollers: code and stack of an image with it, less those of the same image
//! without it; and that no image with it can panic.
//!
//! The images are in `tests/size`; those for thumbv6m run on the same emulated Cortex-M3, which has all of their
//! instructions. The table of sizes stands in the driver's README, with the compiler that it was
//! printed for; another compiler may give other numbers, but the limits hold for it too. `PAGEWISE_BLESS=1` writes it.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::Command;

use pagewise_tests::readme::stands_in_driver_readme;
use pagewise_tests::{bare, tools};

const TARGETS: [&str; 2] = ["thumbv6m-none-eabi", "thumbv7m-none-eabi"];

/// An image and what it may take at most.
struct Limit {
    image: &'static str,
    text: &'static str,
    code: u32,
    stack: Option<u32>,
}

const LIMITS: [Limit; 2] = [
    Limit { image: "driver", text: "`read`, `write`", code: 1536, stack: Some(160) },
    Limit { image: "records", text: "the same, and `records`", code: 4096, stack: None },
];

/// Bytes of an image: code and constants, and what it says about itself when it runs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Size {
    code: u32,
    value: u32,
    stack: u32,
}

/// Builds the images for a target. One folder for all, so that the standard library is built once.
fn images(target: &str, more: &[&str]) -> Option<PathBuf> {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("size");
    let arguments = [["--target", target].as_slice(), more].concat();
    Some(bare::build("tests/size", folder, &arguments)?.join(target).join("release"))
}

fn tool(name: &str, arguments: &[&str], image: &Path) -> Option<String> {
    let output = Command::new(tools::need(name, "gcc-arm-none-eabi")?).args(arguments).arg(image).output().unwrap();
    assert!(output.status.success(), "{name}: {}", String::from_utf8_lossy(&output.stderr));
    Some(String::from_utf8(output.stdout).unwrap())
}

fn size(image: &Path) -> Option<Size> {
    let code = functions(image)? + constants(image)?;
    let run = bare::run(image)?;
    let said = String::from_utf8(run.stdout).unwrap();
    assert!(run.status.success(), "{}: {said}", image.display());
    let numbers: Vec<u32> = said.lines().map(|line| u32::from_str_radix(line, 16).unwrap()).collect();
    let [value, stack] = numbers[..] else { panic!("{}: {said}", image.display()) };
    Some(Size { code, value, stack })
}

/// Bytes of the functions of an image, without the filling between them: how many bytes of that there are depends on
/// the order in which the linker lays them out, which changes with the folder that the driver is built in.
fn functions(image: &Path) -> Option<u32> {
    let symbols = tool("arm-none-eabi-nm", &["--print-size", "--defined-only"], image)?;
    // Some functions have several names.
    let places: BTreeMap<&str, u32> = symbols
        .lines()
        .filter_map(|line| match line.split_whitespace().collect::<Vec<_>>()[..] {
            [place, size, "t" | "T" | "w" | "W", _] => Some((place, u32::from_str_radix(size, 16).unwrap())),
            _ => None,
        })
        .collect();
    assert!(!places.is_empty(), "{}: no symbols", image.display());
    Some(places.values().sum())
}

/// Bytes of the constants of an image, and of its initialized variables.
fn constants(image: &Path) -> Option<u32> {
    let sections = tool("arm-none-eabi-size", &["-A"], image)?;
    let size = |name: &str| -> Option<u32> {
        let line = sections.lines().find(|line| line.split_whitespace().next() == Some(name))?;
        line.split_whitespace().nth(1)?.parse().ok()
    };
    Some(size(".rodata").unwrap() + size(".data").unwrap())
}

/// The release of Debian's compiler, `rustc 1.x.y`.
fn compiler() -> Option<String> {
    bare::cargo()?;
    let output = Command::new("/usr/bin/rustc").arg("--version").output().ok()?;
    let text = String::from_utf8(output.stdout).ok()?;
    Some(text.split_whitespace().take(2).collect::<Vec<_>>().join(" "))
}

#[test]
fn the_driver_stays_within_its_limits_and_the_table_in_its_readme_is_true() {
    let Some(compiler) = compiler() else { return };
    let mut table =
        format!("\nPrinted for {compiler}.\n\n| Target | Calls | Code | Stack | Value |\n|---|---|---|---|---|\n");
    let mut beyond = Vec::new();
    for target in TARGETS {
        let Some(folder) = images(target, &[]) else { return };
        let Some(without) = size(&folder.join("without")) else { return };
        for Limit { image, text, code, stack } in LIMITS {
            let Some(with) = size(&folder.join(image)) else { return };
            let net = Size { code: with.code - without.code, value: with.value, stack: with.stack - without.stack };
            table.push_str(&format!("| {target} | {text} | {} | {} | {} |\n", net.code, net.stack, net.value));
            if net.code > code || stack.is_some_and(|most| net.stack > most) {
                beyond.push(format!("{target}, {image}: {net:?}, at most {code} bytes of code, {stack:?} of stack"));
            }
        }
    }
    table.push('\n');
    println!("{table}");
    assert!(beyond.is_empty(), "{}", beyond.join("\n"));
    let readme = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("../driver/README.md")).unwrap();
    if readme.contains(&format!("Printed for {compiler}.\n")) || std::env::var_os("PAGEWISE_BLESS").is_some() {
        stands_in_driver_readme("sizes", "sizes.rs", &table);
    } else {
        println!("the table in driver/README.md is for another compiler; only the limits were checked");
    }
}

/// Functions of the image by which a program panics or allocates.
fn suspects(image: &Path) -> Option<Vec<String>> {
    let symbols = tool("arm-none-eabi-nm", &["--demangle"], image)?;
    assert!(symbols.lines().any(|line| line.ends_with(" main")), "{}: no symbols", image.display());
    let names = symbols.lines().filter_map(|line| line.splitn(3, ' ').nth(2));
    let words = ["core::panicking::", "rust_begin_unwind", "begin_unwind", "unwrap_failed", "__rust_alloc", "alloc::"];
    let mut found: Vec<_> =
        names.filter(|name| words.iter().any(|word| name.contains(word))).map(str::to_owned).collect();
    found.sort();
    Some(found)
}

#[test]
fn no_blocking_call_links_a_panic_or_an_allocation() {
    for target in TARGETS {
        let Some(folder) = images(target, &["--features", "everything"]) else { return };
        for image in ["driver", "records", "every_blocking"] {
            let Some(found) = suspects(&folder.join(image)) else { return };
            assert_eq!(found, [""; 0], "{image} for {target}");
            let run = bare::run(&folder.join(image));
            assert!(run.is_none_or(|run| run.status.success()), "{image} for {target}");
        }
    }
}

#[test]
fn async_calls_link_no_panic_but_that_of_a_future_polled_after_its_end() {
    // The compiler puts it into every async function; `await` never gets there.
    let of_the_compiler = ["core::panicking::panic_const::panic_const_async_fn_resumed", "core::panicking::panic_fmt"];
    for target in TARGETS {
        let Some(folder) = images(target, &["--features", "everything"]) else { return };
        let image = folder.join("every_async");
        let Some(mut found) = suspects(&image) else { return };
        found.retain(|name| !name.contains("begin_unwind"));
        assert_eq!(found, of_the_compiler, "for {target}");
        assert!(bare::run(&image).is_none_or(|run| run.status.success()), "for {target}");
    }
}

#[test]
fn an_image_that_can_panic_is_caught() {
    for target in TARGETS {
        let Some(folder) = images(target, &[]) else { return };
        let Some(found) = suspects(&folder.join("panics")) else { return };
        assert!(found.iter().any(|name| name == "core::panicking::panic_bounds_check"), "{found:?}");
    }
}
