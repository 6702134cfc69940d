//! How often a drop-in stands without a condition.

use crate::cli_support::run;

#[test]
fn a_survey_counts_drop_ins_and_names_what_settles_their_conditions() {
    let answer = run(&["survey", "--boards", "24", "--json"]).json();
    assert_eq!((&answer["boards"], &answer["seed"]), (&24.into(), &1.into()));
    for way in ["by_name", "by_order_code"] {
        let count = &answer[way];
        let number = |key: &str| count[key].as_u64().unwrap();
        println!("{way}: {} of {} drop-ins rest on nothing", number("unconditional"), number("drop_ins"));
        assert!(number("judgements") > number("drop_ins") && number("drop_ins") > number("unconditional"), "{count}");
        let conditions = count["conditions"].as_array().unwrap();
        let resting = number("drop_ins") - number("unconditional");
        let counted: u64 = conditions.iter().map(|one| one["drop_ins"].as_u64().unwrap()).sum();
        assert!(counted >= resting, "a drop-in that is not unconditional names a condition: {counted} < {resting}");
        for condition in conditions {
            let action = condition["action"].as_str().unwrap();
            let settles = ["look", "ask", "compare", "take", "order"].iter().any(|word| action.starts_with(word));
            assert!(settles, "{action}");
        }
        assert!(number("median_conditions") <= 2, "{way}: {count}");
        // What share is to be unconditional is a test of the judge.
        assert!(number("published") >= number("published_unconditional") && number("drop_ins") > number("published"));
    }
    let open = &answer["catalogue"];
    assert!(open["complete"].as_u64() > Some(0) && open["parts"].as_u64() > open["complete"].as_u64(), "{open}");
    assert!(open["lacking"]["word-address bytes"].as_u64() > Some(0), "{open}");
    let text = run(&["survey", "--boards", "24"]).out;
    let words = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains("24 invented boards from seed 1") && words.contains("rest on no condition"), "{text}");
}
