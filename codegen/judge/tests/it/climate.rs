//! Limits that hold in ranges of supply and temperature. Published: HN58X24 parts write in 10 ms from 2.7 V and in 15 ms
//! below (ADE-203-1105A), 24LC1025 in its E grade takes 100 kHz below 4.5 V (DS20001941L), PCA8581 works from -25 C.

use pagewise_judge::board::{Board, Wait};
use pagewise_judge::swap::{Agreement, Judgement, Verdict, judge};
use pagewise_part::card::{Card, Catalogue, Grade, OrderPiece, Temperatures};
use pagewise_part::fact::{Basis, Fact};

fn catalogue() -> Catalogue {
    Catalogue::embedded().unwrap()
}

/// A board of 64 kbit at 3.3 V that asks little, its temperatures left open.
fn board() -> Board {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../../examples/boards");
    let mut board = pagewise_judge::board::read(&std::path::Path::new(folder).join("valve-driver.toml")).unwrap();
    (board.temperature_min_c, board.temperature_max_c) = (None, None);
    board.firmware.page_bytes = 8;
    board.firmware.wait = Wait::Poll { limit_us: 50_000 };
    board.years = 5.0;
    board
}

/// A part and another one that differs in nothing.
fn pair() -> (Card, Card) {
    let old = catalogue().find("at24c64d").unwrap().clone();
    let mut new = old.clone();
    new.id = "other".into();
    (old, new)
}

fn stated<T>(value: T) -> Fact<T> {
    Fact { value, basis: Basis::Published { document: "made up".into() } }
}

fn works_from(card: &mut Card, low: i32, high: i32) {
    (card.temperature_min_c, card.temperature_max_c) = (stated(low), stated(high));
}

fn of_rule<'j>(judgement: &'j Judgement, rule: &str) -> Vec<&'j str> {
    let findings = judgement.findings.iter().filter(|finding| finding.rule == rule);
    findings.map(|finding| finding.compared.as_str()).collect()
}

#[test]
fn a_part_must_stand_what_the_fitted_one_stands_unless_the_board_asks_for_less() {
    let (mut old, mut new) = pair();
    works_from(&mut old, -40, 85);
    works_from(&mut new, -25, 85);
    let mut board = board();
    let judgement = judge(&board, &old, &new);
    assert_eq!((judgement.verdict, judgement.agree), (Verdict::Reject, Agreement::Agree));
    assert_eq!(of_rule(&judgement, "temperature"), ["-40 to 85 C of the fitted part, the part works from -25 to 85 C"]);
    // Covered: nothing to say, and nothing taken for granted.
    for (low, high) in [(-40, 85), (-40, 125), (-55, 125)] {
        works_from(&mut new, low, high);
        let judgement = judge(&board, &old, &new);
        assert_eq!((judgement.verdict, judgement.provided_that.len()), (Verdict::DropIn, 0), "{low} {high}");
    }
    works_from(&mut new, -25, 85);
    (board.temperature_min_c, board.temperature_max_c) = (Some(-20.0), Some(70.0));
    assert_eq!(judge(&board, &old, &new).headline(), "drop-in");
    // One degree, and a part of one, to either side. The fitted part stands more, so none of it is the board's own fault.
    works_from(&mut old, -55, 125);
    for (low, high) in [(-25.5, 70.0), (-26.0, 70.0), (-20.0, 85.5)] {
        (board.temperature_min_c, board.temperature_max_c) = (Some(low), Some(high));
        assert_eq!(judge(&board, &old, &new).verdict, Verdict::Reject, "{low} {high}");
    }
}

#[test]
fn a_range_that_was_not_read_is_a_condition() {
    let (mut old, mut new) = pair();
    works_from(&mut old, -40, 85);
    new.temperature_max_c.basis = Basis::Assumed { why: "no sheet".into() };
    let judgement = judge(&board(), &old, &new);
    assert_eq!((judgement.verdict, judgement.worst_case), (Verdict::DropIn, Verdict::Reject));
    assert_eq!(judgement.provided_that, ["it works from -40 to 85 C"]);
    // Neither board nor fitted part says anything: the widest range is asked for.
    old.temperature_max_c.basis = Basis::Assumed { why: "no sheet".into() };
    works_from(&mut new, -40, 85);
    assert_eq!(judge(&board(), &old, &new).verdict, Verdict::Reject);
    works_from(&mut new, -40, 125);
    assert_eq!(judge(&board(), &old, &new).headline(), "drop-in");
}

#[test]
fn a_wider_grade_is_a_condition_until_the_order_code_says_which() {
    let (mut old, mut new) = pair();
    works_from(&mut old, -40, 125);
    works_from(&mut new, -40, 85);
    let piece = |piece: &str, high| OrderPiece {
        piece: piece.into(),
        min_c: Some(-40),
        max_c: Some(high),
        ..OrderPiece::default()
    };
    new.order_pieces = vec![piece("-I", 85), piece("-E", 125)].into();
    let judgement = judge(&board(), &old, &new);
    assert_eq!(judgement.verdict, Verdict::DropIn);
    assert_eq!(judgement.provided_that, ["its order code is of a grade for -40 to 125 C (-E)"]);
    let ordered = |code: &str| new.ordered(&format!("{}{code}", new.name)).unwrap();
    assert_eq!(judge(&board(), &old, &ordered("-E")).headline(), "drop-in");
    assert_eq!(judge(&board(), &old, &ordered("-I")).verdict, Verdict::Reject);
}

#[test]
fn a_grade_for_hot_places_may_be_slower() {
    let (old, mut new) = pair();
    let mut board = board();
    let grade = |min_mv, max_c, scl_khz| Grade {
        min_mv,
        max_mv: 5500,
        at: Temperatures { min_c: None, max_c },
        scl_khz,
        ac: new.speed.value[0].ac.clone(),
        assumed: false,
    };
    // As the 24LC1025: 400 kHz up to 85 C, in the hot grade 100 kHz below 4.5 V.
    new.speed = stated(vec![grade(1700, Some(85), 400), grade(1700, Some(125), 100), grade(4500, Some(125), 400)]);
    works_from(&mut new, -40, 125);
    board.bus.scl_khz = 400;
    for (hottest, supply_mv, expected) in [
        (85.0, 3300, Verdict::DropIn),
        (85.5, 3300, Verdict::Reconfigure),
        (125.0, 3300, Verdict::Reconfigure),
        (125.0, 4500, Verdict::DropIn),
    ] {
        (board.temperature_min_c, board.temperature_max_c) = (Some(0.0), Some(hottest));
        board.bus.supply_mv = supply_mv;
        let judgement = judge(&board, &old, &new);
        assert_eq!((judgement.verdict, judgement.agree), (expected, Agreement::Agree), "{hottest} C, {supply_mv} mV");
    }
}

#[test]
fn a_write_cycle_by_supply_is_no_false_alarm_and_no_free_pass() {
    let part = catalogue().find("hn58x2402s").unwrap().clone();
    let mut board = board();
    board.firmware =
        pagewise_judge::board::Firmware { word_address_bytes: 1, wait: Wait::Fixed { us: 10_000 }, ..board.firmware };
    board.regions.truncate(1);
    (board.regions[0].offset, board.regions[0].length, board.regions[0].writes_per_day) = (0, 8, 1.0);
    for (supply_mv, expected) in [(2700, Verdict::DropIn), (3300, Verdict::DropIn), (2699, Verdict::Reconfigure)] {
        board.bus.supply_mv = supply_mv;
        let mut old = part.clone();
        (old.id, old.write_cycle_max_us) = ("quick".into(), stated(5_000));
        old.grades = stated(Vec::new());
        let judgement = judge(&board, &old, &part);
        assert_eq!((judgement.verdict, judgement.agree), (expected, Agreement::Agree), "{supply_mv} mV");
        let found = of_rule(&judgement, "write-cycle");
        let cycle = ["the firmware waits 10 ms, a write cycle can take 15 ms"];
        assert_eq!(found, if expected == Verdict::DropIn { &[][..] } else { &cycle }, "{supply_mv} mV");
    }
}

#[test]
fn a_supply_that_was_not_read_is_a_condition_at_every_supply() {
    let old = catalogue().find("24lc256").unwrap().clone();
    let new = catalogue().find("at24c16c").unwrap().clone();
    assert!(new.read_min_mv.is_assumed() && new.max_mv.is_assumed());
    for supply_mv in [4_400, 4_499, 4_500, 4_501, 4_600] {
        let mut board = board();
        board.bus.supply_mv = supply_mv;
        let judgement = judge(&board, &old, &new);
        let asked: Vec<_> = judgement.findings.iter().filter(|finding| finding.rule == "supply").collect();
        assert_eq!(asked.len(), 1, "{supply_mv}: {asked:?}");
        assert!(asked[0].proviso.is_some());
        assert!(judgement.agree != Agreement::Disagree);
    }
}

/// Ten published parts have a supply without a stated rate; each takes 100 kHz there, as an assumption.
#[test]
fn holes_between_the_grades_of_a_card_take_the_most_cautious_rate() {
    let catalogue = catalogue();
    let with_holes: Vec<&Card> =
        catalogue.parts().filter(|card| card.speed.value.iter().any(|grade| grade.assumed)).collect();
    let ids: Vec<&str> = with_holes.iter().map(|card| card.id.as_str()).collect();
    for id in ["24aa024", "24aa025", "br24g01-3a", "is24c02a", "is24c16a", "s-24cs01a", "s-24cs04a"] {
        assert!(ids.contains(&id), "{id} is not among {ids:?}");
    }
    for card in catalogue.parts() {
        let supplies = (card.read_min_mv.value..=card.max_mv.value).step_by(50).chain([card.max_mv.value]);
        for mv in supplies {
            let khz = card.scl_khz_at(mv);
            let stated = card.grades_at(mv).filter(|grade| !grade.assumed).map(|grade| grade.scl_khz).max();
            assert_eq!(khz, stated.unwrap_or(100), "{} at {mv} mV", card.id);
            let model = card.chip_model();
            let simulated = model.speed.iter().filter(|grade| grade.covers(mv)).map(|grade| grade.scl_hz / 1000).max();
            assert_eq!(simulated, Some(khz), "{} at {mv} mV", card.id);
        }
    }
}

#[test]
fn what_is_written_once_must_last_as_long_as_the_board() {
    let (old, mut new) = pair();
    let mut board = board();
    new.retention_years = stated(10);
    for (years, expected) in [(10.0, Verdict::DropIn), (10.5, Verdict::Reconfigure)] {
        board.years = years;
        let judgement = judge(&board, &old, &new);
        assert_eq!((judgement.verdict, judgement.agree), (expected, Agreement::Agree), "{years} years");
    }
    new.retention_years.basis = Basis::Assumed { why: "no sheet".into() };
    assert_eq!(judge(&board, &old, &new).provided_that, ["it keeps its contents for 11 years"]);
}

/// A rating falls as the temperature rises, by an amount that only the sheet knows.
#[test]
fn endurance_that_was_not_read_for_the_hottest_place_is_a_condition() {
    let old = catalogue().find("24lc64").unwrap().clone();
    let mut new = old.clone();
    new.id = "other".into();
    let point = |celsius, cycles| pagewise_part::card::EndurancePoint { celsius, cycles };
    new.endurance_at = Some(stated(vec![point(25.0, 1_000_000)]));
    let mut board = board();
    board.firmware.page_bytes = 32;
    board.regions[0].writes_per_day = 20.0;
    let judgement = judge(&board, &old, &new);
    assert_eq!(judgement.verdict, Verdict::DropIn);
    assert!(judgement.provided_that.iter().any(|it| it.ends_with("write cycles at 85 C")), "{}", judgement.headline());
    board.temperature_max_c = Some(25.0);
    assert!(!judge(&board, &old, &new).headline().contains("write cycles at"));
    new.endurance_at = Some(stated(vec![point(25.0, 1_000_000), point(85.0, 300_000)]));
    board.temperature_max_c = None;
    assert!(!judge(&board, &old, &new).headline().contains("write cycles at"));
}
