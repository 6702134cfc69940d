use super::Rule;
use crate::swap::evidence::pointer_after;
use crate::swap::{Amend, Case, Finding, Verdict};

pub(super) const RULE: Rule = Rule {
    id: "pointer",
    compares: "where the address pointer stands after the firmware's writes, on the old part and on the new",
    why: "firmware that reads on without an address gets the byte at the pointer, and parts differ at page ends",
    check,
};

fn check(case: &Case<'_>) -> Vec<Finding> {
    let (board, new) = (case.board, &case.new);
    if !board.firmware.reads_on_after_write {
        return Vec::new();
    }
    let written = board.regions.iter().filter(|region| region.writes_per_day > 0.0);
    let moved = written.filter_map(|region| {
        let old_at = pointer_after(&board.firmware, region, &case.old);
        let new_at = pointer_after(&board.firmware, region, new);
        (old_at != new_at).then_some((region, old_at, new_at))
    });
    let Some((region, old_at, new_at)) = moved.into_iter().next() else { return Vec::new() };
    let text = format!(
        "after writing `{}` the pointer stands at {old_at:#06x} on the fitted part, at {new_at:#06x} on this one",
        region.name
    );
    let remedy = "send the address with every read".to_owned();
    let finding = Finding::new(RULE.id, Verdict::Reconfigure, &new.pointer_after_write, text, remedy);
    let granted = Amend::PointerAsOld(case.old.pointer_after_write.value);
    let mut amended = new.clone();
    granted.apply(&mut amended);
    if pointer_after(&board.firmware, region, &amended) == old_at {
        return vec![finding.unless("its pointer after a write stands as on the fitted part", granted)];
    }
    vec![finding]
}
