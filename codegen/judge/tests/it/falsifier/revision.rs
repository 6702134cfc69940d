//! Revision letters: a letter behind the name of a part is never passed over.

use pagewise_part::card::Card;
use pagewise_part::marking::Reader;

use super::Cards;

/// Letters behind names that are read as the part without them, though no piece of its order code begins so.
pub fn passed_over(cards: &Cards, read: &dyn Fn(&str) -> Option<String>) -> Vec<String> {
    let mut found = Vec::new();
    for card in cards.catalogue.parts() {
        // Behind a bracket stands the maker's remark.
        let name = card.name.split(" (").next().unwrap_or(&card.name);
        for letter in 'A'..='Z' {
            let code = format!("{name}{letter}");
            let as_it_is = read(&code).is_some_and(|id| id == card.id || own(cards, &id, card));
            if as_it_is && !may_follow(card, letter) {
                found.push(format!("{code} is read as {}", card.id));
            }
        }
    }
    found
}

fn own(cards: &Cards, id: &str, card: &Card) -> bool {
    cards.catalogue.find(id).is_some_and(|it| it.order_of.as_deref() == Some(card.id.as_str()))
}

/// By the lists of the card alone: a piece of its order code, another name of it, or tape and reel.
fn may_follow(card: &Card, letter: char) -> bool {
    let pieces = card.order_pieces.iter().any(|piece| {
        piece.piece.to_uppercase().trim_start_matches(|c: char| !c.is_ascii_alphanumeric()).starts_with(letter)
    });
    let name = card.name.split(" (").next().unwrap_or(&card.name);
    let member = card.members.iter().any(|it| it.eq_ignore_ascii_case(&format!("{name}{letter}")));
    pieces || member || letter == 'T'
}

#[test]
fn no_revision_letter_is_passed_over() {
    let cards = Cards::read();
    let reader = Reader::new(&cards.catalogue);
    let named = |code: &str| cards.catalogue.find(code).map(|card| card.id.clone());
    assert_eq!(passed_over(&cards, &named), Vec::<String>::new(), "as a name");
    assert_eq!(passed_over(&cards, &|code| reader.order_code(code)), Vec::<String>::new(), "as a row of a list");
}
