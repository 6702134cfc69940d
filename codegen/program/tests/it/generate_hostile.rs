//! Whatever a card's texts hold, the code of a generated file stays the same: texts are data.

use std::sync::OnceLock;

use pagewise_emit::{Part, Request, rust};
use pagewise_part::card::{Card, Catalogue, NotSafe};
use pagewise_part::fact::Basis;
use proptest::prelude::*;
use proptest::test_runner::RngSeed;

/// Texts that try to leave a comment, and any others.
fn text() -> impl Strategy<Value = String> {
    let pieces = prop_oneof![
        Just("\n".to_owned()),
        Just("\r".to_owned()),
        Just("*/".to_owned()),
        Just("/*".to_owned()),
        Just("\\".to_owned()),
        Just("{{ digest }}".to_owned()),
        Just("{% raw %}".to_owned()),
        Just("{#".to_owned()),
        Just("\u{2028}".to_owned()),
        Just("\u{202e}".to_owned()),
        Just("!".to_owned()),
        Just("fn evil() {}".to_owned()),
        any::<char>().prop_map(String::from),
        "[ -~]{0,120}",
    ];
    proptest::collection::vec(pieces, 0..12).prop_map(|pieces| pieces.concat())
}

fn part() -> &'static Card {
    static PART: OnceLock<Card> = OnceLock::new();
    PART.get_or_init(|| Catalogue::embedded().unwrap().find("at24c32e").unwrap().clone())
}

fn with_texts(card: &Card, texts: &[String; 4]) -> Card {
    let [name, document, why, id] = texts.clone();
    let mut card = card.clone();
    (card.name, card.maker, card.document) = (name.clone(), name, document.clone());
    card.page_bytes.basis = Basis::Published { document };
    card.write_cycle_max_us.basis = Basis::Assumed { why: why.clone() };
    card.read_wrap_bytes.basis = Basis::Generic { from: why.clone() };
    card.not_safe_on = vec![NotSafe { id: id.clone(), why }];
    card.id = id;
    card
}

fn generated(card: &Card, module: bool) -> String {
    let module = module.then(|| "part".to_owned());
    let request = Request { module, ..Request::new(vec![Part::new(card, [false; 3])]) };
    rust::configuration(&request).unwrap().files.remove(0).text
}

/// The lines that the compiler sees.
fn code(text: &str) -> Vec<&str> {
    text.split('\n').filter(|line| !line.trim_start().starts_with("// ") && line.trim() != "//").collect()
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 512,
        rng_seed: RngSeed::Fixed(0x5EED),
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    #[test]
    fn texts_of_a_card_never_become_code(texts in [text(), text(), text(), text()], module: bool) {
        let card = part();
        let (plain, hostile) = (generated(card, module), generated(&with_texts(card, &texts), module));
        prop_assert_eq!(code(&plain), code(&hostile));
        prop_assert!(hostile.chars().all(|c| c == '\n' || !c.is_control()), "{}", hostile);
        let reorders = |c: char| matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
        prop_assert!(!hostile.contains(reorders), "{}", hostile);
        prop_assert!(!hostile.contains("*/") && !hostile.contains("/*"), "{}", hostile);
        prop_assert!(hostile.lines().all(|line| line.trim_end() == line), "trailing blanks:\n{}", hostile);
    }
}
