//! The rules of a swap, one file each.
//!
//! A rule computes what it needs from cards and board by itself: of the runs, and of what prepares them, it knows
//! nothing, or one mistake could be made twice. `answers` and `transfers` are the arithmetic of the rules alone;
//! a test below keeps the wall.

mod address_conflict;
mod address_width;
mod answers;
mod block_select;
mod capacity;
mod device_address;
mod endurance;
mod footprint;
mod kind;
mod lost_protection;
mod page;
mod pointer;
mod power_up;
mod pull_up;
mod retention;
mod second_region;
mod sequential_read;
mod speed;
mod straps;
mod supply;
mod temperature;
mod transfers;
mod unstated;
mod write_cycle;
mod write_protect;
mod write_shape;

use super::{Case, Finding};

/// Identifier of the rule on packages and pins.
pub const FOOTPRINT: &str = "footprint";

/// Identifier of the rule on what lies outside the array.
pub const SECOND_REGION: &str = "second-region";

/// One rule.
#[derive(Debug, Clone, Copy)]
pub struct Rule {
    /// Identifier, as findings name it.
    pub id: &'static str,
    check: fn(&Case<'_>) -> Vec<Finding>,
}

/// Every rule.
pub const RULES: [Rule; 24] = [
    kind::RULE,
    capacity::RULE,
    supply::RULE,
    speed::RULE,
    temperature::RULE,
    footprint::RULE,
    straps::RULE,
    device_address::RULE,
    address_conflict::RULE,
    address_width::RULE,
    block_select::RULE,
    page::RULE,
    write_shape::RULE,
    write_cycle::RULE,
    write_protect::RULE,
    lost_protection::RULE,
    sequential_read::RULE,
    pointer::RULE,
    power_up::RULE,
    endurance::RULE,
    retention::RULE,
    second_region::RULE,
    pull_up::RULE,
    unstated::RULE,
];

/// What all rules find.
#[must_use]
pub fn all(case: &Case<'_>) -> Vec<Finding> {
    RULES.iter().flat_map(|rule| (rule.check)(case)).collect()
}

/// The condition that two rules share, where nobody stated the device address of a part: said once.
fn composed(row: &str) -> String {
    format!("its device address is composed as {row}")
}

/// Milliseconds with the unit, from microseconds.
fn ms(us: u32) -> String {
    format!("{} ms", f64::from(us) / 1000.0)
}

/// Volts with the unit, from millivolts.
fn volts(mv: u32) -> String {
    format!("{} V", f64::from(mv) / 1000.0)
}

#[cfg(test)]
mod tests {
    use std::fs;
    use std::path::{Path, PathBuf};

    /// What belongs to the runs and their preparation, to the driver's view of a card, or to the simulated chip's.
    const OTHER_SIDE: [&str; 26] = [
        "pagewise_driver",
        "evidence",
        "ladder",
        "memo::",
        "remedy::",
        "shipped",
        "setup::",
        "stray::",
        "swap::firmware",
        "swap::part",
        "swap::run",
        "watched",
        "Replay",
        "Runner",
        ".answers(",
        ".block_of(",
        ".block_select_bits(",
        ".chip_model(",
        ".device_address(",
        ".geometry(",
        ".levels_for(",
        ".longest_write_us",
        ".parameters(",
        ".pin_levels(",
        ".reachable_bytes(",
        "_pieces(",
    ];

    /// What a source of the rules uses from the other side of the wall, with the line.
    fn breaches(source: &str) -> Vec<String> {
        let code = source.lines().map(|line| line.split("//").next().unwrap_or_default());
        let mut found = Vec::new();
        for (index, line) in code.take_while(|line| !line.contains("cfg(test)")).enumerate() {
            // Of the simulator rules know the names of hazards, which findings carry.
            let knows_chips = line.contains("pagewise_simulator") && !line.contains("pagewise_simulator::Hazard;");
            let words = OTHER_SIDE.iter().filter(|word| line.contains(**word)).map(|word| (*word).to_owned());
            let words = words.chain(knows_chips.then(|| "pagewise_simulator".to_owned()));
            found.extend(words.map(|word| format!("line {}: {word}", index + 1)));
        }
        found
    }

    fn sources() -> Vec<PathBuf> {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/swap/rule");
        let files = fs::read_dir(&folder).unwrap().map(|entry| entry.unwrap().path());
        files.chain([folder.with_extension("rs")]).collect()
    }

    #[test]
    fn rules_know_nothing_of_the_runs() {
        let sources = sources();
        assert!(sources.len() > super::RULES.len(), "{sources:?}");
        for path in sources {
            let breaches = breaches(&fs::read_to_string(&path).unwrap());
            assert!(breaches.is_empty(), "{}: {breaches:#?}", path.display());
        }
    }

    /// The canary: what stood in the rules before the wall did is found.
    #[test]
    fn a_rule_that_calls_the_other_side_is_found() {
        for line in [
            "use crate::swap::evidence::pointer_after;",
            "let shared = remedy::conflicts(new, board);",
            "let pieces = board.firmware.write_pieces(region);",
            "let own = new.device_address(levels);",
            "use pagewise_simulator::{ChipModel, Hazard};",
        ] {
            assert_eq!(breaches(line).len(), 1, "{line}");
        }
        assert!(breaches("let address = board.firmware.device_address; // as evidence has it").is_empty());
    }

    /// The other way round: nothing that runs asks a rule.
    #[test]
    fn the_runs_know_nothing_of_the_rules() {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/swap");
        let names = [
            "course", "evidence", "firmware", "ladder", "memo", "part", "remedy", "run", "setup", "shipped", "stage",
            "stray", "watched",
        ];
        for name in names {
            let source = fs::read_to_string(folder.join(name).with_extension("rs")).unwrap();
            let uses: Vec<&str> =
                source.lines().filter(|line| line.contains("rule::") || line.contains("Ruling")).collect();
            assert!(uses.is_empty(), "{name}.rs: {uses:#?}");
        }
    }
}
