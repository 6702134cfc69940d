//! What a stock list offers, in words.

use serde::Serialize;

use pagewise_base::words::counted;
use pagewise_judge::stock::{Offer, Price};

/// What a stock list offers of a candidate.
#[derive(Debug, Clone, Serialize)]
pub struct OfferView {
    /// `900`, or `40, 150 needed` where they do not last for the board's yearly volume.
    pub pieces: String,
    /// `active`, `last buy` or `obsolete`.
    pub state: &'static str,
    /// `14 days`; empty where it is not stated.
    pub lead_time: String,
    /// `45.00 EUR`, or `0.30 EUR each` where the board states no yearly volume.
    pub yearly_cost: String,
    /// All of it: `24LC256-I/SN (own number EE-31): 400 in stock, 300 needed a year, active, 0.20 EUR each, 60.00 EUR a year`; what
    /// further rows of the part offer follows.
    pub sentence: String,
}

impl OfferView {
    /// The view of an offer. What a year takes is said where the board states it.
    #[must_use]
    pub fn of(offer: &Offer, currency: &str) -> Self {
        let needed = offer.needed.map_or_else(String::new, |needed| format!(", {needed} needed a year"));
        let short = offer.needed.filter(|_| !offer.enough);
        let lead_time = offer.lead_time_days.map_or_else(String::new, |days| counted(days as usize, "day"));
        let more = if lead_time.is_empty() { String::new() } else { format!(", more in {lead_time}") };
        let year = offer.yearly_cost.map_or_else(String::new, |cost| format!(", {} a year", money(&cost, currency)));
        let each = format!("{} each", money(&offer.unit_price, currency));
        let number = offer.number.as_ref().map_or_else(String::new, |number| format!(" (own number {number})"));
        let state = offer.state.word();
        Self {
            pieces: short
                .map_or_else(|| offer.quantity.to_string(), |needed| format!("{}, {needed} needed", offer.quantity)),
            state,
            yearly_cost: offer.yearly_cost.map_or_else(|| each.clone(), |cost| money(&cost, currency)),
            sentence: std::iter::once(format!(
                "{}{number}: {} in stock{needed}, {state}{more}, {each}{year}",
                offer.part, offer.quantity
            ))
            .chain(offer.also.iter().map(|other| Self::of(other, currency).sentence))
            .collect::<Vec<_>>()
            .join("; also "),
            lead_time,
        }
    }
}

/// A price with its currency, where there is one.
#[must_use]
pub fn money(price: &Price, currency: &str) -> String {
    format!("{price} {currency}").trim_end().to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;
    use pagewise_judge::stock::State;

    #[test]
    fn what_is_needed_is_said_where_a_yearly_volume_is_stated() {
        let cent = |count| Price::parse("0.01", '.').unwrap().times(count);
        let of = |quantity: u64, needed: Option<u32>, yearly_cost| Offer {
            line: 2,
            part: "24LC256".into(),
            number: None,
            quantity,
            needed,
            enough: quantity >= needed.map_or(1, u64::from),
            state: State::Active,
            lead_time_days: None,
            unit_price: cent(20),
            yearly_cost,
            also: Vec::new(),
        };
        let view = |quantity, needed, cost| OfferView::of(&of(quantity, needed, cost), "EUR");
        let text = |quantity, needed, cost| view(quantity, needed, cost).sentence;
        assert_eq!(text(400, None, None), "24LC256: 400 in stock, active, 0.20 EUR each");
        assert_eq!(text(0, None, None), "24LC256: 0 in stock, active, 0.20 EUR each");
        let year = Some(cent(6000));
        assert_eq!(
            text(400, Some(300), year),
            "24LC256: 400 in stock, 300 needed a year, active, 0.20 EUR each, 60.00 EUR a year"
        );
        assert_eq!(
            text(120, Some(300), year),
            "24LC256: 120 in stock, 300 needed a year, active, 0.20 EUR each, 60.00 EUR a year"
        );
        assert_eq!(
            (view(120, Some(150), year).pieces, view(150, Some(150), year).pieces),
            ("120, 150 needed".into(), "150".into())
        );
    }

    #[test]
    fn every_row_of_a_part_is_said_with_its_order_code_and_own_number() {
        let row = |part: &str, quantity, number: Option<&str>| Offer {
            line: 2,
            part: part.into(),
            number: number.map(str::to_owned),
            quantity,
            needed: None,
            enough: true,
            state: State::Active,
            lead_time_days: None,
            unit_price: Price::default(),
            yearly_cost: None,
            also: Vec::new(),
        };
        let offer = Offer { also: vec![row("X-T", 7, None)], ..row("X", 900, Some("EE-31")) };
        let each = "active, 0.00 each";
        let expected = format!("X (own number EE-31): 900 in stock, {each}; also X-T: 7 in stock, {each}");
        assert_eq!(OfferView::of(&offer, "").sentence, expected);
    }
}
