use pagewise_simulator::Hazard;

use super::transfers::Cuts;
use super::{Rule, ms};
use crate::board::Wait;
use crate::swap::{Amend, Case, Change, Finding, Verdict};
use pagewise_part::card::{Busy, CyclePer};

pub(super) const RULE: Rule = Rule { id: "write-cycle", check };

/// Compares how the firmware waits after a page write with the part's longest write cycle and its answer while busy:
/// a part inside its write cycle ignores everything: a write sent too early is lost, a read fails.
fn check(case: &Case<'_>) -> Vec<Finding> {
    let (board, new) = (case.board, &case.new);
    let cuts = Cuts::of_writes(&board.firmware);
    let written = board.regions.iter().filter(|region| region.writes_per_day > 0.0);
    let Some(longest) = written.map(|region| cuts.longest(region)).max() else { return Vec::new() };
    let cycle = new.write_cycle_at(board.bus.supply_mv);
    let cycle_us = match new.write_cycle_per.value {
        CyclePer::Page => cycle.value,
        CyclePer::Byte => cycle.value * longest.min(new.page_bytes.value),
    };
    let (limit_us, how) = match board.firmware.wait {
        Wait::Fixed { us } => (us, "waits"),
        Wait::Poll { limit_us } | Wait::PollByRead { limit_us } => (limit_us, "polls for at most"),
    };
    let mut findings = Vec::new();
    if limit_us < cycle_us {
        let text = format!("the firmware {how} {}, a write cycle can take {}", ms(limit_us), ms(cycle_us));
        let remedy = match board.firmware.wait {
            Wait::Fixed { .. } => format!("wait at least {}, or poll for an acknowledge", ms(cycle_us)),
            Wait::Poll { .. } | Wait::PollByRead { .. } => format!("raise the limit of polling to {}", ms(cycle_us)),
        };
        let finding = Finding::new(RULE.id, Verdict::Reconfigure, &cycle, text, remedy);
        findings.push(
            finding
                .hazard(Hazard::BusyAccess)
                .change([Change::WaitUs(cycle_us)])
                .unless(format!("the write cycle is at most {}", ms(limit_us)), Amend::WriteCycleUs(limit_us)),
        );
    }
    let by_read = matches!(board.firmware.wait, Wait::PollByRead { .. }) && new.word_address_bytes.value > 0;
    if by_read && new.busy_answer.value != Busy::AnyAccess && cycle_us > 0 {
        let text = "the firmware polls with a read, the part promises no refusal of reads while busy".to_owned();
        let remedy = "poll with a header-only write to the address just written".to_owned();
        let finding = Finding::new(RULE.id, Verdict::Reconfigure, &new.busy_answer, text, remedy);
        findings.push(
            finding
                .hazard(Hazard::BusyAccess)
                .change([Change::PollByWrite])
                .unless("it refuses reads too while busy", Amend::Busy(Busy::AnyAccess)),
        );
    }
    findings
}
