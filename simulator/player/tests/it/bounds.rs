//! Whatever a page is asked, it answers, and soon.

use pagewise_player::talk::Desk;
use pagewise_player::{End, MOST_STEPS, Program};
use pagewise_simulator::ChipModel;
use serde_json::{Value, json};

use crate::steps::run_on;

#[test]
fn a_program_without_end_is_given_up() {
    let run = run_on(ChipModel::example_32_kbit(), "repeat forever\nS 50W 00 00 55 P\nend");
    assert_eq!((run.end(), run.log().len()), (End::TooLong, MOST_STEPS));
    let million = run_on(ChipModel::example_2_kbit(), "repeat 1000000\nrepeat 1000000\nwait 1ns\nend\nend");
    assert_eq!((million.end(), million.log().len()), (End::TooLong, MOST_STEPS));
    let ages = run_on(ChipModel::example_2_kbit(), "repeat forever\nwait 3600s\nend");
    assert!(ages.end() == End::TooLong && ages.log().len() < MOST_STEPS);
    assert!(Program::parse(&"S 50W FFx4096 P\n".repeat(10)).is_err(), "more actions than a text may spell out");
}

fn ask(desk: &mut Desk, question: &Value) -> Value {
    serde_json::from_str(&desk.ask(question.to_string().as_bytes())).expect("an answer is JSON")
}

#[test]
fn questions_that_are_none_are_answered() {
    let mut desk = Desk::default();
    for hostile in ["", "{", "[]", "{\"do\":\"open\"}", "{\"do\":\"show\",\"step\":-1}", "{\"do\":\"fly\"}", "\u{0}"] {
        let answer: Value = serde_json::from_str(&desk.ask(hostile.as_bytes())).unwrap();
        assert!(answer["error"].is_string(), "{hostile}: {answer}");
    }
    assert!(desk.ask(&vec![b' '; 2 << 20]).contains("too long"));
    assert_eq!(ask(&mut desk, &json!({ "do": "show", "step": 3 })), json!({ "lanes": [] }));
    let mut model = serde_json::to_value(ChipModel::example_32_kbit()).unwrap();
    model["capacity"] = json!(4095);
    let open = json!({ "do": "open", "models": [model], "task": { "program": "S 50W P" } });
    assert!(ask(&mut desk, &open)["error"].is_string(), "a model that contradicts itself");
    model["capacity"] = json!(4096);
    model["endless"] = json!("<script>");
    let open = json!({ "do": "open", "models": [model], "task": { "program": "S 50W P" } });
    assert!(ask(&mut desk, &open)["error"].as_str().unwrap().contains("endless"));
}

#[test]
fn a_page_sees_one_part_beside_the_other() {
    let mut desk = Desk::default();
    let (old, new) = (ChipModel { page: 64, ..ChipModel::example_32_kbit() }, ChipModel::example_32_kbit());
    let task = json!({ "program": "means 0010 00..2F\nS 50W 00 10 00..2F P\nwait 5ms" });
    let opened = ask(&mut desk, &json!({ "do": "open", "models": [old, new], "task": task }));
    assert_eq!((&opened["steps"], &opened["difference"]), (&json!(59), &json!(58)), "{opened}");
    assert_eq!((&opened["lanes"][0]["lost"], &opened["lanes"][1]["lost"]), (&json!(0), &json!(48)));
    let shown = ask(&mut desk, &json!({ "do": "show", "step": 21 }));
    assert_eq!(shown["lanes"][1]["told"][0]["hazard"], "page-wrap");
    assert_eq!(shown["lanes"][1]["told"][0]["place"], json!({ "line": 2, "column": 13, "len": 6 }));
    assert_eq!(shown["lanes"][0]["told"], json!([]));
}

#[test]
fn a_lesson_is_graded_with_the_values_of_its_student() {
    let mut desk = Desk::default();
    let grade = |desk: &mut Desk, who: &str, program: &str| {
        let task = json!({ "board": "means 0000 {0..3}", "program": program, "who": who, "may_set": [] });
        let model = ChipModel::example_32_kbit();
        ask(desk, &json!({ "do": "grade", "model": model, "task": task }))["graded"]["is"].clone()
    };
    let own = ask(&mut desk, &json!({ "do": "fill", "text": "S 50W 00 00 {0..3} P\nwait 5ms", "who": "Ada" }));
    let own = own["text"].as_str().unwrap();
    assert_eq!(grade(&mut desk, "ada", own), "passed");
    assert_eq!(grade(&mut desk, "Ben", own), "lost");
    assert_eq!(
        grade(&mut desk, "Ada", "means 0000 11\nS 50W P"),
        Value::Null,
        "what is meant is not the student's to say"
    );
}

#[test]
fn an_offset_becomes_an_address_as_the_models_own_bits_say() {
    let mut desk = Desk::default();
    let model = ChipModel::example_16_kbit();
    let answer =
        ask(&mut desk, &json!({ "do": "address", "model": model, "pins": [false, false, false], "offset": 0x5A3 }));
    // The same offset as in the documentation of the cards: block 5, then the low byte.
    assert_eq!((&answer["header"]["control"], &answer["header"]["word"]), (&json!(0xAA), &json!([0xA3])));
    let beyond =
        ask(&mut desk, &json!({ "do": "address", "model": model, "pins": [true, true, true], "offset": 0x800 }));
    assert_eq!(beyond["header"], Value::Null);
}
