//! What the generated C takes of code on small microcontrollers, beside the Rust driver; and that it calls nothing of a
//! library. The table stands in the driver's README; `PAGEWISE_BLESS=1` writes it.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::process::Command;

use pagewise_emit::{Part, Request, c};
use pagewise_part::card::Catalogue;
use pagewise_tests::readme::stands_in_driver_readme;
use pagewise_tests::tools;

use super::workshop::{STRICT, succeeded, text};

const TARGETS: [(&str, &str); 2] = [("thumbv6m-none-eabi", "cortex-m0"), ("thumbv7m-none-eabi", "cortex-m3")];

const READ_WRITE: &str = "\n    status |= eeprom_read(driver, 0, bytes, length);\n    \
    status |= eeprom_write(driver, 0, bytes, length);";
const OTHERS: &str = "\n    status |= eeprom_write_verified(driver, 0, bytes, length);\n    \
    status |= eeprom_update(driver, 0, bytes, length, trust);\n    \
    status |= eeprom_update_trusting(driver, 0, bytes, length);\n    \
    status |= eeprom_compare(driver, 0, bytes, length);\n    status |= eeprom_fill(driver, 0, length, 0xFF);\n    \
    status |= eeprom_wait_ready(driver);";

/// Bytes of the functions and constants of an image that makes these calls, less the caller; and of a driver in memory.
fn size(gcc: &Path, folder: &Path, cpu: &str, calls: &str) -> (u32, u32) {
    let program = format!(
        "#include \"eeprom.h\"\nconst char driver_bytes[sizeof(eeprom_driver)] = {{1}};\n\
         unsigned caller(eeprom_driver *driver, const eeprom_bus *bus, uint8_t *bytes, size_t length, eeprom_trust *trust)\n{{\n    \
         unsigned status = eeprom_init(driver, &eeprom_part, NULL, bus, bytes, length);\n    (void)trust;{calls}\n    \
         return status + (unsigned)driver_bytes[length];\n}}\n"
    );
    fs::write(folder.join("caller.c"), program).unwrap();
    // Without any library: what the driver called of one would be missing.
    let arguments = ["-ffreestanding", "-nostdlib", "-mthumb", "-Os", "-ffunction-sections", "-fdata-sections"];
    let link = ["-Wl,--gc-sections", "-Wl,-e,caller", "caller.c", "eeprom.c", "-o", "image"];
    let mut built = Command::new(gcc);
    built.args(STRICT).args(arguments).arg(format!("-mcpu={cpu}")).args(link).current_dir(folder);
    succeeded(&built.output().unwrap());
    let nm = tools::need("arm-none-eabi-nm", "gcc-arm-none-eabi").unwrap();
    let output = Command::new(nm).args(["--print-size", "image"]).current_dir(folder).output().unwrap();
    let said = text(&output.stdout);
    let symbols: BTreeMap<&str, u32> = said
        .lines()
        .filter_map(|line| match line.split_whitespace().collect::<Vec<_>>()[..] {
            [_, size, _, name] => Some((name, u32::from_str_radix(size, 16).unwrap())),
            _ => None,
        })
        .collect();
    let own =
        symbols.iter().filter(|(name, _)| !["caller", "driver_bytes"].contains(*name)).map(|(_, size)| size).sum();
    (own, symbols["driver_bytes"])
}

/// The bytes of code that the README says of the Rust driver, for the same two calls.
fn of_rust(target: &str) -> u32 {
    let readme = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("../driver/README.md")).unwrap();
    let begin = format!("| {target} | `read`, `write` | ");
    let line = readme.lines().find_map(|line| line.strip_prefix(&begin)).unwrap_or_else(|| panic!("no row {begin}"));
    line.split(' ').next().unwrap().parse().unwrap()
}

#[test]
fn the_c_driver_is_no_larger_than_the_rust_driver() {
    let Some(gcc) = tools::need("arm-none-eabi-gcc", "gcc-arm-none-eabi") else { return };
    let folder = tempfile::tempdir().unwrap();
    let catalogue = Catalogue::embedded().unwrap();
    let part = Part::new(catalogue.find("24lc32a").unwrap(), [false; 3]);
    for file in c::driver(&Request::new(vec![part])).unwrap().files {
        fs::write(folder.path().join(file.name), file.text).unwrap();
    }
    let version = text(&Command::new(&gcc).arg("-dumpversion").output().unwrap().stdout);
    let compiler = format!("gcc {}, -Os", version.trim());
    let mut table = format!(
        "\nPrinted for {compiler}; Rust as above.\n\n| Target | Calls | C: code | Rust: code | C: driver in memory |\n\
         |---|---|---|---|---|\n"
    );
    for (target, cpu) in TARGETS {
        let (small, memory) = size(&gcc, folder.path(), cpu, READ_WRITE);
        let (whole, _) = size(&gcc, folder.path(), cpu, &format!("{READ_WRITE}{OTHERS}"));
        let rust = of_rust(target);
        table += &format!("| {target} | `init`, `read`, `write` | {small} | {rust} | {memory} |\n");
        table += &format!("| {target} | all calls | {whole} | | {memory} |\n");
        assert!(small <= rust, "{target}: C takes {small} bytes, Rust {rust}");
    }
    table.push('\n');
    println!("{table}");
    let readme = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("../driver/README.md")).unwrap();
    if readme.contains(&format!("Printed for {compiler}; ")) || std::env::var_os("PAGEWISE_BLESS").is_some() {
        stands_in_driver_readme("sizes of C", "it/generated_c/size.rs", &table);
    } else {
        println!("the table in driver/README.md is for another compiler; only the limit was checked");
    }
}
