//! What a stock list offers, in words.

use serde::Serialize;

use pagewise_base::words::counted;
use pagewise_judge::stock::{Offer, Price};

/// What a stock list offers of a candidate.
#[derive(Debug, Clone, Serialize)]
pub struct OfferView {
    /// `900`, or `40, too few` when they do not last for the board's yearly volume.
    pub pieces: String,
    /// `active`, `last buy` or `obsolete`.
    pub state: &'static str,
    /// `14 days`; empty where it is not stated.
    pub lead_time: String,
    /// `45.00 EUR`, or `0.30 EUR each` where the board states no yearly volume.
    pub yearly_cost: String,
    /// All of it: `24LC256-I/SN (own number EE-31): 400 pieces, enough for a year, active, 0.20 EUR each, 60.00 EUR a year`; what
    /// further rows of the part offer follows.
    pub sentence: String,
}

impl OfferView {
    /// The view of an offer. Whether it lasts for a year is said only where the board states what a year takes.
    #[must_use]
    pub fn of(offer: &Offer, currency: &str) -> Self {
        let lasts = match (offer.yearly_cost, offer.enough) {
            (None, _) => "",
            (Some(_), true) => ", enough for a year",
            (Some(_), false) => ", too few for a year",
        };
        let lead_time = offer.lead_time_days.map_or_else(String::new, |days| counted(days as usize, "day"));
        let more = if lead_time.is_empty() { String::new() } else { format!(", more in {lead_time}") };
        let year = offer.yearly_cost.map_or_else(String::new, |cost| format!(", {} a year", money(&cost, currency)));
        let each = format!("{} each", money(&offer.unit_price, currency));
        let number = offer.number.as_ref().map_or_else(String::new, |number| format!(" (own number {number})"));
        let state = offer.state.word();
        Self {
            pieces: format!("{}{}", offer.quantity, if offer.enough { "" } else { ", too few" }),
            state,
            yearly_cost: offer.yearly_cost.map_or_else(|| each.clone(), |cost| money(&cost, currency)),
            sentence: std::iter::once(format!(
                "{}{number}: {} pieces{lasts}, {state}{more}, {each}{year}",
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
    fn an_offer_lasts_for_a_year_only_where_a_yearly_volume_is_stated() {
        let cent = |count| Price::parse("0.01", '.').unwrap().times(count);
        let of = |quantity, enough, yearly_cost| Offer {
            line: 2,
            part: "24LC256".into(),
            number: None,
            quantity,
            enough,
            state: State::Active,
            lead_time_days: None,
            unit_price: cent(20),
            yearly_cost,
            also: Vec::new(),
        };
        let text = |quantity, enough, cost| OfferView::of(&of(quantity, enough, cost), "EUR").sentence;
        assert_eq!(text(400, true, None), "24LC256: 400 pieces, active, 0.20 EUR each");
        assert_eq!(text(0, false, None), "24LC256: 0 pieces, active, 0.20 EUR each");
        let year = Some(cent(6000));
        assert_eq!(
            text(400, true, year),
            "24LC256: 400 pieces, enough for a year, active, 0.20 EUR each, 60.00 EUR a year"
        );
        assert_eq!(
            text(40, false, year),
            "24LC256: 40 pieces, too few for a year, active, 0.20 EUR each, 60.00 EUR a year"
        );
    }

    #[test]
    fn every_row_of_a_part_is_said_with_its_order_code_and_own_number() {
        let row = |part: &str, quantity, number: Option<&str>| Offer {
            line: 2,
            part: part.into(),
            number: number.map(str::to_owned),
            quantity,
            enough: true,
            state: State::Active,
            lead_time_days: None,
            unit_price: Price::default(),
            yearly_cost: None,
            also: Vec::new(),
        };
        let offer = Offer { also: vec![row("X-T", 7, None)], ..row("X", 900, Some("EE-31")) };
        let each = "active, 0.00 each";
        let expected = format!("X (own number EE-31): 900 pieces, {each}; also X-T: 7 pieces, {each}");
        assert_eq!(OfferView::of(&offer, "").sentence, expected);
    }
}
