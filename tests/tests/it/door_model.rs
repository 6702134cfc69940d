//! Model files: what `pagewise model` writes, the doors read.

use std::fs;
use std::process::Command;

use pagewise_part::card::Catalogue;
use pagewise_simulator::ChipModel;
use pagewise_tests::tools;

#[test]
fn the_model_of_every_card_survives_its_file() {
    let catalogue = Catalogue::embedded().unwrap();
    for card in catalogue.cards() {
        let model = card.chip_model();
        let file = serde_json::to_string_pretty(&model).unwrap();
        let back: ChipModel = serde_json::from_str(&file).unwrap();
        assert_eq!((back.check(), &back), (Ok(()), &model), "{}", card.id);
    }
}

#[test]
fn the_program_writes_the_model_to_a_file_or_to_standard_output() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("chip.json");
    let pagewise = || {
        let mut command = Command::new(tools::workspace_programs().join("pagewise"));
        command.arg("model");
        command
    };
    let expected = Catalogue::embedded().unwrap().find("24lc16b").unwrap().chip_model();
    let said = pagewise().arg("24lc16b").output().unwrap();
    assert_eq!(serde_json::from_slice::<ChipModel>(&said.stdout).unwrap(), expected);
    let wrote = pagewise().args(["24lc16b", "-o"]).arg(&file).output().unwrap();
    assert_eq!(wrote.status.code(), Some(0));
    assert_eq!(fs::read(&file).unwrap(), said.stdout);
    let json = pagewise().args(["24lc16b", "--json"]).output().unwrap();
    let json: serde_json::Value = serde_json::from_slice(&json.stdout).unwrap();
    assert_eq!(serde_json::from_value::<ChipModel>(json["model"].clone()).unwrap(), expected);

    let unknown = pagewise().arg("24lc16x").output().unwrap();
    assert_eq!((unknown.status.code(), unknown.stdout.len()), (Some(2), 0));
    let nowhere = pagewise().args(["24lc16b", "-o", "/nowhere/chip.json"]).output().unwrap();
    assert_eq!(nowhere.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&nowhere.stderr).contains("cannot be written"));
}
