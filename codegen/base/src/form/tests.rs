use schemars::JsonSchema;
use serde::Deserialize;

use super::*;

#[derive(JsonSchema, Deserialize)]
#[serde(deny_unknown_fields)]
#[expect(dead_code, reason = "only the faults are looked at")]
struct Sample {
    /// A small number.
    #[schemars(range(min = 0, max = 4))]
    a: u8,
    b: Option<bool>,
    #[schemars(regex(pattern = r"\S"))]
    capacity: String,
    #[serde(default)]
    inner: Inner,
    #[serde(default)]
    side: Vec<Side>,
}

#[derive(JsonSchema, Deserialize, Default)]
#[serde(deny_unknown_fields)]
#[expect(dead_code, reason = "as above")]
struct Inner {
    #[schemars(range(min = 0, max = 10))]
    c: Option<u16>,
}

#[derive(JsonSchema, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
#[expect(dead_code, reason = "as above")]
enum Side {
    Round { radius: u8 },
    FlatTop { width: u8 },
}

fn faults(text: &str) -> String {
    let document = Document::parse("f.toml", text);
    let _ = Shape::<Sample>::new().read(&document);
    document.finish().or_ok(()).unwrap_err().to_string()
}

#[test]
fn all_faults_of_a_file_come_at_once_with_line_and_field() {
    assert_eq!(
        faults("a = 5\nb = \"x\"\ncapcity = 3\n[inner]\nc = 70000\n"),
        "f.toml:1: `a`: 5 is out of range; use a value from 0 to 4\n\
         f.toml:1: `capacity`: is missing; add it\n\
         f.toml:2: `b`: is a string, not true or false; write true or false\n\
         f.toml:3: `capcity`: unknown field; remove it or correct its name (near: capacity, a, side)\n\
         f.toml:5: `inner.c`: 70000 is out of range; use a value from 0 to 10"
    );
}

#[test]
fn a_table_has_the_fields_of_its_kind() {
    let file = |side: &str| format!("a = 1\ncapacity = \"x\"\n[[side]]\n{side}");
    assert_eq!(faults(&file("kind = \"round\"\n")), "f.toml:3: `side[0].radius`: is missing; add it");
    let unknown = "f.toml:5: `side[0].width`: unknown field; remove it or correct its name (near: kind, radius)";
    assert_eq!(faults(&file("kind = \"round\"\nwidth = 1\nradius = 1\n")), unknown);
    let word = "f.toml:4: `side[0].kind`: `flat` is not known; use one of: round, flat-top";
    assert_eq!(faults(&file("kind = \"flat\"\nwidth = 1\n")), word);
}

#[test]
fn broken_syntax_is_a_fault_with_its_line() {
    let document = Document::parse("f.toml", "a = 1\nb = = 2\n");
    assert!(Shape::<Sample>::new().read(&document).is_none());
    let faults = document.finish();
    assert_eq!(faults.0[0].line, 2);
    assert!(faults.0[0].reason.contains("not valid TOML"), "{faults}");
}

#[test]
fn what_depends_on_a_misshapen_field_is_not_held_against_it_twice() {
    let document = Document::parse("f.toml", "a = 5\ncapacity = \"x\"\n\n[inner]\nc = 3\n");
    let sample = Shape::<Sample>::new().read(&document);
    assert!(sample.is_some());
    document.fault("a", "is odd", "even it");
    document.fault("inner.c", "is odd", "even it");
    assert!(!document.is_sound("a") && document.is_sound("inner.c"));
    let shown = document.finish().to_string();
    assert!(!shown.contains("`a`: is odd") && shown.contains("f.toml:5: `inner.c`: is odd"), "{shown}");
}

#[test]
fn the_declaration_documents_its_fields() {
    let shape = Shape::<Sample>::new();
    let fields = shape.fields();
    let paths: Vec<&str> = fields.iter().map(|field| field.path.as_str()).collect();
    for path in ["a", "inner", "inner.c", "side", "side[].kind", "side[].radius", "side[].width"] {
        assert!(paths.contains(&path), "{path} in {paths:?}");
    }
    let a = fields.iter().find(|field| field.path == "a").unwrap();
    assert_eq!(
        (a.about.as_str(), a.takes.as_str(), a.required),
        ("A small number.", "a whole number from 0 to 4", true)
    );
}
