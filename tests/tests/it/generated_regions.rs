//! The accessors of a layout's regions, in Rust and in C, compiled and run on the simulated bus: each value lies where the
//! layout has it, in the bytes that its kind says.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use pagewise_content::layout::{self, Placed};
use pagewise_emit::{Part, Request, c, rust};
use pagewise_part::card::Catalogue;
use pagewise_tests::tools;

const FOLDER: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/it/generated_regions");
/// 32 kbit = 4096 bytes in pages of 32 bytes, as the simulator's example chip.
const PART: &str = "24lc32a";

fn text(output: &Output) -> String {
    assert!(
        output.status.success(),
        "{}{}",
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr)
    );
    String::from_utf8_lossy(&output.stdout).trim().to_owned()
}

/// What the chip must hold after either program, from the layout's offsets and bytes written out by hand.
fn expected(placed: &Placed) -> String {
    let values: [(&str, &[u8]); 8] = [
        ("serial", b"TI-0042\0\0\0\0\0"),
        ("mac", &[0x02, 0x00, 0x00, 0x12, 0x34, 0x56]),
        ("Board_Name", b"valve driver\xFF\xFF\xFF\xFF"),
        ("hours", &[0x04, 0x03, 0x02, 0x01]),
        ("offsets", &[0xFF, 0xFE, 0x01, 0x2C, 0x80, 0x00]),
        ("total", &[0x11, 0x22, 0x33, 0x44, 0x55, 0x66, 0x77, 0x88]),
        ("flags", &[0xA5]),
        ("check", &[0x34, 0x12]),
    ];
    let mut memory = vec![0xFF; placed.capacity_bytes as usize];
    for (name, bytes) in values {
        let offset = placed.find(name).unwrap().offset as usize;
        memory[offset..offset + bytes.len()].copy_from_slice(bytes);
    }
    memory.iter().map(|byte| format!("{byte:02x}")).collect()
}

#[test]
fn accessors_store_and_give_back_what_the_layout_says() {
    let catalogue = Catalogue::embedded().unwrap();
    let card = catalogue.find(PART).unwrap();
    let layout = layout::read(&Path::new(FOLDER).join("layout.toml")).unwrap();
    let placed = layout.place(card).unwrap();
    let request = Request::new(vec![Part::new(card, [false; 3])]).with_layout(&layout);

    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("generated-regions");
    fs::create_dir_all(folder.join("src")).unwrap();
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("..").canonicalize().unwrap();
    let manifest = format!(
        "[package]\nname = \"regions\"\nversion = \"0.0.0\"\nedition = \"2024\"\n\n[workspace]\n\n[dependencies]\n\
         embedded-hal = \"1.0\"\npagewise-driver = {{ path = {:?} }}\npagewise-simulator = {{ path = {:?} }}\n",
        root.join("driver"),
        root.join("simulator")
    );
    fs::write(folder.join("Cargo.toml"), manifest).unwrap();
    fs::copy(root.join("Cargo.lock"), folder.join("Cargo.lock")).unwrap();
    fs::copy(Path::new(FOLDER).join("program.rs"), folder.join("src/main.rs")).unwrap();
    let module = folder.join("src/part.rs");
    fs::write(&module, &rust::configuration(&request).unwrap().files[0].text).unwrap();
    let format = ["--check", "--edition", "2024", "--config", "max_width=100,use_small_heuristics=Default"];
    text(&Command::new("rustfmt").args(format).arg(&module).output().unwrap());
    let cargo = |verb: &str, more: &[&str]| {
        let mut cargo = Command::new(env!("CARGO"));
        cargo.args([verb, "--quiet", "--offline", "--target-dir"]).arg(folder.join("target")).args(more);
        cargo.current_dir(&folder).env_remove("RUSTFLAGS").env_remove("CARGO_TARGET_DIR");
        text(&cargo.output().unwrap())
    };
    cargo("clippy", &["--", "-Wclippy::pedantic", "-Dwarnings"]);
    assert_eq!(cargo("run", &[]), expected(&placed));
}

#[test]
fn accessors_in_c_do_the_same() {
    let Some(cc) = tools::need("cc", "gcc") else { return };
    let catalogue = Catalogue::embedded().unwrap();
    let card = catalogue.find(PART).unwrap();
    let layout = layout::read(&Path::new(FOLDER).join("layout.toml")).unwrap();
    let placed = layout.place(card).unwrap();
    let request = Request::new(vec![Part::new(card, [false; 3])]).with_layout(&layout);
    let folder = tempfile::tempdir().unwrap();
    for file in c::driver(&request).unwrap().files {
        fs::write(folder.path().join(file.name), file.text).unwrap();
    }
    let model = folder.path().join("model.json");
    fs::write(&model, serde_json::to_string(&card.chip_model()).unwrap()).unwrap();
    let strict = ["-std=c99", "-Wall", "-Wextra", "-Werror", "-pedantic", "-Wconversion", "-c", "eeprom.c"];
    text(&Command::new(&cc).args(strict).current_dir(folder.path()).output().unwrap());
    let built = Command::new(&cc)
        .args(["-std=c99", "-Wall", "-Wextra", "-Werror", "-I", ".", "-I"])
        .arg(Path::new(FOLDER).join("../../../../simulator/capi/include"))
        .arg(Path::new(FOLDER).join("main.c"))
        .arg("eeprom.o")
        .arg(tools::workspace_programs().join("libpagewise_capi.a"))
        .args(["-lpthread", "-ldl", "-lm", "-o", "regions"])
        .current_dir(folder.path())
        .output()
        .unwrap();
    text(&built);
    assert_eq!(text(&Command::new(folder.path().join("regions")).arg(model).output().unwrap()), expected(&placed));
}

#[test]
fn regions_that_would_lie_differently_in_the_parts_are_refused_with_their_line() {
    let catalogue = Catalogue::embedded().unwrap();
    let layout = layout::read(&Path::new(FOLDER).join("layout.toml")).unwrap();
    let part = |id| Part::new(catalogue.find(id).unwrap(), [false; 3]);
    // Pages of 32 and of 128 bytes: what is written often is set apart by another unit.
    let request = Request::new(vec![part("24lc32a"), part("24lc512")]).with_layout(&layout);
    let faults = rust::configuration(&request).unwrap_err().to_string();
    assert!(
        faults.lines().all(|line| line.contains("layout.toml:") && line.contains("name the parts in the layout")),
        "{faults}"
    );
    // Where the layout names them, they share one placement.
    let cards = vec![catalogue.find("24lc32a").unwrap(), catalogue.find("24lc512").unwrap()];
    assert!(rust::configuration(&request.sharing(cards)).is_ok());
    // The layout's own capacity is the smallest of all.
    let request = Request::new(vec![part("24lc32a"), part("24lc64")]).with_layout(&layout);
    assert!(rust::configuration(&request).is_ok());
}
