//! A board that relies on WP and a part that protects less: AT24C64D protects the whole array (its sheet is named in the
//! card), the other one is made of it and protects the upper quarter.

use pagewise_judge::board::{Board, Strap, Wait};
use pagewise_judge::swap::{Agreement, Judgement, Verdict, judge};
use pagewise_part::card::{Card, Catalogue, Span};

/// A board whose firmware writes its log and only reads its identity, at 3.3 V.
fn board(wp: Strap, protects: Option<&[&str]>) -> Board {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../../examples/boards");
    let mut board = pagewise_judge::board::read(&std::path::Path::new(folder).join("valve-driver.toml")).unwrap();
    board.wp = wp;
    board.firmware.page_bytes = 32;
    board.firmware.wait = Wait::Poll { limit_us: 20_000 };
    let writes = if wp == Strap::Gpio { 1.0 } else { 0.0 };
    board.regions.truncate(1);
    board.regions[0].name = "identity".into();
    board.regions[0].offset = 0;
    board.regions[0].length = 64;
    board.regions[0].writes_per_day = writes;
    board.protects = protects.map(|names| names.iter().map(|name| (*name).to_owned()).collect());
    board
}

fn cards() -> (Card, Card) {
    let catalogue = Catalogue::embedded().unwrap();
    let old = catalogue.find("at24c64d").unwrap().clone();
    let mut new = old.clone();
    new.protect_range.value = Span::UpperQuarter;
    (old, new)
}

fn lost(judgement: &Judgement) -> Vec<&str> {
    let findings = judgement.findings.iter().filter(|finding| finding.rule == "lost-protection");
    findings.map(|finding| finding.compared.as_str()).collect()
}

#[test]
fn a_part_that_protects_less_is_rework_and_a_stray_write_shows_it() {
    let (old, new) = cards();
    for wp in [Strap::Vcc, Strap::Gpio] {
        let judgement = judge(&board(wp, None), &old, &new);
        assert_eq!((judgement.verdict, judgement.agree), (Verdict::Rework, Agreement::Agree), "{wp:?}");
        assert_eq!(
            lost(&judgement),
            [
                "WP keeps stray writes out of 0x0000 to 0x1fff on the fitted part; on this one 0x0000 to 0x17ff lies open"
            ]
        );
        let loss = judgement.evidence.new.told().first_loss;
        assert_eq!(loss.as_deref(), Some("a stray write to 0x0000 is stored, on the fitted part WP keeps it out"));
    }
}

#[test]
fn a_board_says_what_relies_on_wp() {
    let (old, new) = cards();
    for (protects, expected) in [(&["identity"][..], Verdict::Rework), (&[], Verdict::DropIn)] {
        let judgement = judge(&board(Strap::Vcc, Some(protects)), &old, &new);
        assert_eq!((judgement.verdict, judgement.agree), (expected, Agreement::Agree), "{protects:?}");
    }
    // The other way round more is protected, and WP tied inactive protects nothing today.
    assert_eq!(judge(&board(Strap::Vcc, None), &new, &old).verdict, Verdict::DropIn);
    assert_eq!(judge(&board(Strap::Gnd, None), &old, &new).verdict, Verdict::DropIn);
}

#[test]
fn a_range_that_was_not_read_is_a_condition() {
    let (old, mut new) = cards();
    new.protect_range = pagewise_part::fact::Fact {
        value: Span::All,
        basis: pagewise_part::fact::Basis::Assumed { why: "no sheet".into() },
    };
    let judgement = judge(&board(Strap::Vcc, None), &old, &new);
    assert_eq!((judgement.verdict, judgement.worst_case), (Verdict::DropIn, Verdict::Rework));
    assert_eq!(judgement.provided_that, ["its WP protects 0x0000 to 0x1fff"]);
}

#[test]
fn a_part_without_wp_leaves_everything_open() {
    let (old, mut new) = cards();
    new.wp_pin = false;
    new.protect_range.value = Span::None;
    let judgement = judge(&board(Strap::Gpio, None), &old, &new);
    assert_eq!((judgement.verdict, judgement.agree), (Verdict::Rework, Agreement::Agree));
    assert!(lost(&judgement)[0].ends_with("0x0000 to 0x1fff lies open"), "{:?}", lost(&judgement));
}

#[test]
fn a_board_that_protects_an_unknown_region_is_refused() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../examples/boards/valve-driver.toml");
    let text = std::fs::read_to_string(path).unwrap();
    let text = text.replacen("\n[bus]", "\nprotects = [\"nothing\"]\n\n[bus]", 1);
    let faults = pagewise_judge::board::parse("b.toml", &text).unwrap_err();
    let line = text.lines().position(|line| line.starts_with("protects")).unwrap() + 1;
    assert_eq!(
        faults.to_string(),
        format!("b.toml:{line}: `protects[0]`: `nothing` is not a region of this board; name a region")
    );
}

#[test]
fn firmware_that_polls_is_told_to_raise_its_limit() {
    let (old, new) = cards();
    let mut board = board(Strap::Gnd, None);
    board.regions[0].writes_per_day = 1.0;
    let remedy = |board: &Board| {
        let judgement = judge(board, &old, &new);
        judgement.findings.into_iter().find(|finding| finding.rule == "write-cycle").map(|finding| finding.remedy)
    };
    board.firmware.wait = Wait::Poll { limit_us: 1_000 };
    assert!(remedy(&board).unwrap().starts_with("raise the limit of polling to "), "{:?}", remedy(&board));
    board.firmware.wait = Wait::Fixed { us: 1_000 };
    assert!(remedy(&board).unwrap().starts_with("wait at least "), "{:?}", remedy(&board));
}
