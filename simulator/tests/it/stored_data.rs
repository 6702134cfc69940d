//! Models, fault scripts and case ids as stored data: they read back as written, and what is unknown is refused.
use crate::common::*;
use pagewise_simulator::{ChipModel, Fault, Faults, Ratio, Straps};
use proptest::prelude::*;

proptest! {
    #![proptest_config(cases(100))]

    #[test]
    fn any_model_reads_back_as_it_was_written(model in any_model()) {
        let text = serde_json::to_string(&model).unwrap();
        prop_assert_eq!(serde_json::from_str::<ChipModel>(&text).unwrap(), model);
    }
}

#[test]
fn a_fault_script_reads_back_and_unknown_faults_are_refused() {
    let bench = Bench::new(ChipModel::example_32_kbit());
    let faults = Faults {
        script: vec![
            Fault::Nack { byte: 3 },
            Fault::LongCycle { chip: bench.chip, cycle: 2, lasts_ns: u64::MAX },
            Fault::SdaLow { from_ns: 1, until_ns: 2 },
        ],
        seed: 9,
        lie: Ratio::new(1, 7),
        ..Faults::default()
    };
    let text = serde_json::to_string(&faults).unwrap();
    assert_eq!(serde_json::from_str::<Faults>(&text).unwrap(), faults);
    // What is left out has its default.
    let short: Faults = serde_json::from_str(r#"{"script":[{"nack":{"byte":3}}]}"#).unwrap();
    assert_eq!((short.script.len(), short.flip), (1, Ratio::NEVER));
    for bad in [r#"{"script":[{"explode":{"byte":3}}]}"#, r#"{"skript":[]}"#, r#"{"script":[{"nack":{}}]}"#] {
        assert!(serde_json::from_str::<Faults>(bad).is_err(), "{bad}");
    }
}

#[test]
fn straps_read_back_and_unknown_fields_of_a_model_are_refused() {
    let text = serde_json::to_string(&Straps::address(5)).unwrap();
    assert_eq!(serde_json::from_str::<Straps>(&text).unwrap(), Straps::address(5));
    let model = serde_json::to_string(&ChipModel::example_2_kbit()).unwrap();
    let odd = model.replacen("\"name\"", "\"flavour\":\"mint\",\"name\"", 1);
    assert!(serde_json::from_str::<ChipModel>(&odd).unwrap_err().to_string().contains("flavour"));
}
