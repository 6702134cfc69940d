//! No false alarm: how many drop-ins of an invented fleet stand without a condition.

use pagewise_judge::fleet::survey::{Count, survey};
use pagewise_part::card::Catalogue;

fn told(way: &str, count: &Count) {
    let Count { drop_ins, unconditional, published, published_unconditional, .. } = count;
    println!("{way}: {unconditional} of {drop_ins}; of {published} that are published {published_unconditional}");
    for condition in count.conditions.iter().filter(|condition| condition.published > 0) {
        println!("  {} {}: {}: {}", condition.published, condition.rule, condition.action, condition.example);
    }
}

/// Where documents state all that a drop-in needs, it is one without a condition, at least four times of five.
#[test]
fn what_documents_state_whole_is_unconditional() {
    let found = survey(&Catalogue::embedded().unwrap(), 40, 1);
    for (way, count) in [("by name", &found.by_name), ("by order code", &found.by_order_code)] {
        told(way, count);
        assert!(count.published > 10, "{way}: {}", count.published);
        assert!(count.published_percent() >= 80.0, "{way}: {:.0} %", count.published_percent());
        assert!(count.published_median <= 2 && count.median_conditions <= 2, "{way}");
    }
}
