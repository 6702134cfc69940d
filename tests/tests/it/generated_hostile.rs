//! Whatever the texts of cards and layouts hold: generated Rust and C compile, their code is that of harmless texts, and
//! the names in them come back byte for byte.

use std::fmt::Write as _;
use std::fs;
use std::path::Path;
use std::process::{Command, Output};
use std::sync::OnceLock;

use pagewise_content::layout::{self, Layout};
use pagewise_emit::{Generated, Part, Record, Request, c, rust};
use pagewise_part::card::{Card, Catalogue, NotSafe};
use pagewise_part::fact::Basis;
use pagewise_tests::{hostile_cards, tools};
use proptest::prelude::*;
use proptest::test_runner::RngSeed;

fn succeeded(output: &Output) {
    let (out, err) = (String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr));
    assert!(output.status.success(), "{out}{err}");
}

fn base() -> [Card; 2] {
    let catalogue = Catalogue::embedded().unwrap();
    ["24lc64", "24lc256"].map(|id| catalogue.find(id).unwrap().clone())
}

fn a_layout(name: &str) -> Layout {
    let text = "name = \"x\"\n[[region]]\nname = \"serial\"\nkind = \"serial\"\nlength = 12\noffset = 0\n";
    let mut layout = layout::parse("x.toml", text).unwrap();
    layout.name = name.to_owned();
    layout.file = name.to_owned();
    layout
}

/// One part, several, and candidates, each with a layout.
fn requests<'c>(cards: &'c [Card; 2], layout: &'c Layout) -> [Request<'c>; 3] {
    let part = |card: &'c Card| Part::new(card, [false; 3]);
    let both = Request::new(vec![part(&cards[0]), part(&cards[1])]).with_layout(layout);
    let choosing = both.clone().choosing(Record { offset: 0, bytes: 4 });
    [Request::new(vec![part(&cards[0])]).with_layout(layout), both, choosing]
}

/// Both languages; with a hostile text where there is one.
fn generated(text: Option<&str>) -> Vec<Generated> {
    let mut cards = base();
    if let Some(text) = text {
        // The second one differs, since two parts of one request have two identifiers.
        cards = [hostile_cards::card(&cards[0], text), hostile_cards::card(&cards[1], &format!("{text}2"))];
    }
    let layout = a_layout(text.unwrap_or("x"));
    let requests = requests(&cards, &layout);
    requests.iter().flat_map(|request| [rust::configuration(request).unwrap(), c::driver(request).unwrap()]).collect()
}

/// The lines that a compiler sees, the literals of names left out.
fn code(text: &str) -> Vec<&str> {
    let comment = |line: &&str| line.trim_start().starts_with("//");
    let name = |line: &&str| line.trim_start().starts_with('"') && line.ends_with("\",");
    text.split('\n').filter(|line| !comment(line) && !name(line)).collect()
}

#[test]
fn the_code_is_that_of_harmless_texts() {
    let harmless = generated(None);
    for text in hostile_cards::TEXTS {
        for (plain, hostile) in harmless.iter().zip(generated(Some(text))) {
            for (plain, hostile) in plain.files.iter().zip(&hostile.files) {
                assert_eq!(code(&plain.text), code(&hostile.text), "{text:?}");
                let steers = |c: char| {
                    c != '\n' && c.is_control() || matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
                };
                assert!(!hostile.text.contains(steers), "{text:?}: {}", hostile.text);
            }
        }
    }
}

#[test]
fn c_with_hostile_texts_compiles_and_gives_the_names_back() {
    let Some(cc) = tools::need("cc", "gcc") else { return };
    for text in hostile_cards::TEXTS {
        let folder = tempfile::tempdir().unwrap();
        let generated = generated(Some(text));
        // Every second one is C; the last of them holds candidates and their names.
        for driver in generated.iter().skip(1).step_by(2) {
            for file in &driver.files {
                fs::write(folder.path().join(&file.name), &file.text).unwrap();
            }
            let strict = ["-std=c99", "-Wall", "-Wextra", "-Werror", "-pedantic", "-fsyntax-only", "eeprom.c"];
            succeeded(&Command::new(&cc).args(strict).current_dir(folder.path()).output().unwrap());
        }
        let main = "#include <stdio.h>\n#include \"eeprom.h\"\nint main(void)\n{\n    \
                    for (size_t i = 0; i < EEPROM_CANDIDATES; i++) {\n        \
                    for (const char *c = eeprom_candidate_names[i]; *c != 0; c++) {\n            \
                    printf(\"%02x\", (unsigned char)*c);\n        }\n        puts(\"\");\n    }\n    return 0;\n}\n";
        fs::write(folder.path().join("main.c"), main).unwrap();
        let build = ["-std=c99", "main.c", "eeprom.c", "-o", "names"];
        succeeded(&Command::new(&cc).args(build).current_dir(folder.path()).output().unwrap());
        let printed = Command::new(folder.path().join("names")).output().unwrap();
        let hex = |text: &str| {
            text.bytes().take_while(|byte| *byte != 0).fold(String::new(), |mut hex, byte| {
                write!(hex, "{byte:02x}").unwrap();
                hex
            })
        };
        let expected = format!("{}\n{}\n", hex(text), hex(&format!("{text}2")));
        assert_eq!(String::from_utf8_lossy(&printed.stdout), expected, "{text:?}");
    }
}

#[test]
fn rust_with_hostile_texts_compiles_and_gives_the_names_back() {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("generated-hostile");
    let _ = fs::remove_dir_all(folder.join("src"));
    fs::create_dir_all(folder.join("src")).unwrap();
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("..").canonicalize().unwrap();
    let manifest = format!(
        "[package]\nname = \"hostile\"\nversion = \"0.0.0\"\nedition = \"2024\"\n\n[workspace]\n\n[dependencies]\n\
         embedded-hal = \"1.0\"\npagewise-driver = {{ path = {:?} }}\n",
        root.join("driver")
    );
    fs::write(folder.join("Cargo.toml"), manifest).unwrap();
    fs::copy(root.join("Cargo.lock"), folder.join("Cargo.lock")).unwrap();
    let (mut main, mut calls, mut expected) = (String::from("#![deny(warnings)]\n"), String::new(), String::new());
    for (number, text) in hostile_cards::TEXTS.into_iter().enumerate() {
        for (kind, rust) in generated(Some(text)).iter().step_by(2).enumerate() {
            let name = format!("m{number}_{kind}");
            fs::write(folder.join(format!("src/{name}.rs")), &rust.files[0].text).unwrap();
            writeln!(main, "mod {name};").unwrap();
            match kind {
                2 => {
                    writeln!(calls, "    println!(\"{{:?}} {{}}\", {name}::NAMES, {name}::CANDIDATES.len());").unwrap();
                    writeln!(expected, "{:?} 2", [text.to_owned(), format!("{text}2")]).unwrap();
                }
                _ => writeln!(calls, "    let _ = {name}::GEOMETRY;").unwrap(),
            }
        }
    }
    fs::write(folder.join("src/main.rs"), format!("{main}\nfn main() {{\n{calls}}}\n")).unwrap();
    let run = Command::new(env!("CARGO"))
        .args(["run", "--quiet", "--offline", "--target-dir"])
        .arg(folder.join("target"))
        .current_dir(&folder)
        .env_remove("RUSTFLAGS")
        .env_remove("CARGO_TARGET_DIR")
        .output()
        .unwrap();
    succeeded(&run);
    assert_eq!(String::from_utf8_lossy(&run.stdout), expected);
}

/// Texts that try to leave a comment, and any others.
fn any_text() -> impl Strategy<Value = String> {
    let pieces = prop_oneof![
        Just("\n".to_owned()),
        Just("\r".to_owned()),
        Just("*/".to_owned()),
        Just("/*".to_owned()),
        Just("\\".to_owned()),
        Just("{{ digest }}".to_owned()),
        Just("{% raw %}".to_owned()),
        Just("{#".to_owned()),
        Just("\u{2028}".to_owned()),
        Just("\u{202e}".to_owned()),
        Just("!".to_owned()),
        Just("fn evil() {}".to_owned()),
        any::<char>().prop_map(String::from),
        "[ -~]{0,120}",
    ];
    proptest::collection::vec(pieces, 0..12).prop_map(|pieces| pieces.concat())
}

fn any_part() -> &'static Card {
    static PART: OnceLock<Card> = OnceLock::new();
    PART.get_or_init(|| Catalogue::embedded().unwrap().find("at24c32e").unwrap().clone())
}

fn with_texts(card: &Card, texts: &[String; 4]) -> Card {
    let [name, document, why, id] = texts.clone();
    let mut card = card.clone();
    (card.name, card.maker, card.document) = (name.clone(), name, document.clone());
    card.page_bytes.basis = Basis::Published { document: document.into() };
    card.write_cycle_max_us.basis = Basis::Assumed { why: why.as_str().into() };
    card.read_wrap_bytes.basis = Basis::Generic { from: why.as_str().into() };
    card.not_safe_on = vec![NotSafe { id: id.clone(), why }];
    card.id = id;
    card
}

fn configuration(card: &Card, module: bool) -> String {
    let module = module.then(|| "part".to_owned());
    let request = Request { module, ..Request::new(vec![Part::new(card, [false; 3])]) };
    rust::configuration(&request).unwrap().files.remove(0).text
}

/// The lines that the compiler sees.
fn rust_code(text: &str) -> Vec<&str> {
    text.split('\n').filter(|line| !line.trim_start().starts_with("// ") && line.trim() != "//").collect()
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 512,
        rng_seed: RngSeed::Fixed(0x5EED),
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    #[test]
    fn texts_of_a_card_never_become_code(texts in [any_text(), any_text(), any_text(), any_text()], module: bool) {
        let card = any_part();
        let (plain, hostile) = (configuration(card, module), configuration(&with_texts(card, &texts), module));
        prop_assert_eq!(rust_code(&plain), rust_code(&hostile));
        prop_assert!(hostile.chars().all(|c| c == '\n' || !c.is_control()), "{}", hostile);
        let reorders = |c: char| matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
        prop_assert!(!hostile.contains(reorders), "{}", hostile);
        prop_assert!(!hostile.contains("*/") && !hostile.contains("/*"), "{}", hostile);
        prop_assert!(hostile.lines().all(|line| line.trim_end() == line), "trailing blanks:\n{}", hostile);
    }
}
