//! Packages: what a part looks like on the board, which signal is on which pin, and how it is addressed there.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Card, Role};
use crate::fact::{Basis, Fact};
use pagewise_base::form::word;

/// The packages of a part, as far as its documents were read.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize)]
pub struct Packages {
    /// Those that the documents list.
    pub list: Vec<Package>,
    /// Whether the list was read as the complete one.
    pub complete: bool,
    /// The documents behind the list.
    pub basis: Basis,
}

/// A package of a part.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Package {
    /// The footprint that takes it.
    pub footprint: Footprint,
    /// Whether the list read has it; otherwise it is of an edition of its own.
    pub current: bool,
    /// The signal of each pin or ball; absent where they were not read.
    pub pins: Option<BTreeMap<String, String>>,
    /// Roles of the low address bits in this package, each of them absent where it was not read.
    pub address_bits: [Option<Role>; 3],
    /// Whether it has a WP pin; absent where that was not read.
    pub wp_pin: Option<bool>,
    /// Remark.
    pub note: Option<String>,
}

/// What is known of a part in a footprint.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Offer<'c> {
    /// It is made so.
    Made(&'c Package),
    /// One edition of the documents has it and another's complete list has not, or an order code was read by its place in
    /// a list.
    Uncertain(&'c Package),
    /// The complete list does not have it.
    NotMade,
    /// No complete list was read, and what was read does not have it.
    NotKnown,
}

/// A footprint on the board, named by its package. Packages of one outline with another order of their pins are
/// footprints of their own, and so is every body width and every chip-scale ball map.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(extend("x-spellings" = spellings()))]
pub enum Footprint {
    /// Narrow 8-lead SOIC, 150 mil, the usual one.
    #[serde(rename = "soic-8")]
    Soic8,
    /// Wide-body 8-lead SOIC, 208 mil.
    #[serde(rename = "soic-8-wide")]
    Soic8Wide,
    /// 14-lead SOIC.
    #[serde(rename = "soic-14")]
    Soic14,
    /// 8-lead SO whose body width was not read.
    #[serde(rename = "so-8-unread")]
    So8,
    /// 8-lead SOP of 5.0 x 6.2 mm over leads.
    #[serde(rename = "sop-8-5x6.2mm")]
    Sop8Rohm,
    /// 8-lead SOP, outline FPT-8P-M02.
    #[serde(rename = "sop-8-fpt-m02")]
    Sop8FptM02,
    /// 8-lead SOP, outline FPT-8P-M08.
    #[serde(rename = "sop-8-fpt-m08")]
    Sop8FptM08,
    /// 8-lead TSSOP, 4.4 mm body, 6.4 mm over leads.
    #[serde(rename = "tssop-8")]
    Tssop8,
    /// 8-lead TSSOP with another order of its pins.
    #[serde(rename = "tssop-8-rotated")]
    Tssop8Rotated,
    /// 8-lead TSSOP of 3.0 x 4.9 mm over leads.
    #[serde(rename = "tssop-8-3x4.9mm")]
    Tssop8Narrow,
    /// 14-lead TSSOP.
    #[serde(rename = "tssop-14")]
    Tssop14,
    /// 20-lead TSSOP.
    #[serde(rename = "tssop-20")]
    Tssop20,
    /// 8-lead SSOP.
    #[serde(rename = "ssop-8")]
    Ssop8,
    /// 8-lead MSOP.
    #[serde(rename = "msop-8")]
    Msop8,
    /// 8-lead MSOP of 2.9 x 4.0 mm over leads.
    #[serde(rename = "msop-8-2.9x4mm")]
    Msop8Narrow,
    /// 8-lead TMSOP.
    #[serde(rename = "tmsop-8")]
    Tmsop8,
    /// 8-lead DIP.
    #[serde(rename = "dip-8")]
    Dip8,
    /// 8-pad DFN.
    #[serde(rename = "dfn-8")]
    Dfn8,
    /// 8-pad TDFN.
    #[serde(rename = "tdfn-8")]
    Tdfn8,
    /// 8-pad UDFN.
    #[serde(rename = "udfn-8")]
    Udfn8,
    /// 8-pad XDFN.
    #[serde(rename = "xdfn-8")]
    Xdfn8,
    /// 8-pad VSON, 2 x 3 mm.
    #[serde(rename = "vson-8")]
    Vson8,
    /// 8-pad SAP.
    #[serde(rename = "sap-8")]
    Sap8,
    /// 8-pad LAP.
    #[serde(rename = "lap-8")]
    Lap8,
    /// SNT-8A.
    #[serde(rename = "snt-8a")]
    Snt8a,
    /// 5-lead SOT-23.
    #[serde(rename = "sot-23-5")]
    Sot235,
    /// 6-lead SOT-23.
    #[serde(rename = "sot-23-6")]
    Sot236,
    /// 5-lead thin SOT-23.
    #[serde(rename = "tsot-23-5")]
    Tsot235,
    /// 5-lead SC-70.
    #[serde(rename = "sc-70-5")]
    Sc705,
    /// 8-ball VFBGA.
    #[serde(rename = "vfbga-8")]
    Vfbga8,
    /// 8-ball dBGA.
    #[serde(rename = "dbga-8")]
    Dbga8,
    /// 8-ball XBGA.
    #[serde(rename = "xbga-8")]
    Xbga8,
    /// 4-ball chip scale.
    #[serde(rename = "wlcsp-4")]
    Wlcsp4,
    /// 5-ball chip scale.
    #[serde(rename = "wlcsp-5")]
    Wlcsp5,
    /// 6-ball chip scale.
    #[serde(rename = "wlcsp-6")]
    Wlcsp6,
    /// 8-ball chip scale.
    #[serde(rename = "wlcsp-8")]
    Wlcsp8,
    /// Chip scale, its number of balls not read.
    Wlcsp,
}

/// Signals of the usual order, pins 1 to 8.
const USUAL: [&str; 8] = ["A0", "A1", "A2", "VSS", "SDA", "SCL", "WP", "VCC"];

/// The trade's further spellings of footprints, without capitals, hyphens and blanks.
const SPELLINGS: [(&str, Footprint); 22] = [
    ("so8", Footprint::Soic8),
    ("so8n", Footprint::Soic8),
    ("soic8n", Footprint::Soic8),
    ("8soic", Footprint::Soic8),
    ("8leadsoic", Footprint::Soic8),
    ("so8w", Footprint::Soic8Wide),
    ("soic8w", Footprint::Soic8Wide),
    ("soij8", Footprint::Soic8Wide),
    ("soic8eiaj", Footprint::Soic8Wide),
    ("8tssop", Footprint::Tssop8),
    ("8msop", Footprint::Msop8),
    ("pdip8", Footprint::Dip8),
    ("8pdip", Footprint::Dip8),
    ("dil8", Footprint::Dip8),
    ("ufdfn8", Footprint::Udfn8),
    ("ufdfpn8", Footprint::Udfn8),
    ("sot25", Footprint::Sot235),
    ("5leadsot23", Footprint::Sot235),
    ("sot26", Footprint::Sot236),
    ("6leadsot23", Footprint::Sot236),
    ("sot353", Footprint::Sc705),
    ("csp4", Footprint::Wlcsp4),
];

fn spellings() -> serde_json::Value {
    let word = |footprint: Footprint| serde_json::Value::from(footprint.word());
    SPELLINGS.iter().map(|(spelling, footprint)| ((*spelling).to_owned(), word(*footprint))).collect()
}

impl Footprint {
    /// The word for it.
    #[must_use]
    pub fn word(self) -> &'static str {
        word::name(&self)
    }

    /// Whether its packages have eight leads in the usual order: 1 A0, 2 A1, 3 A2, 4 VSS, 5 SDA, 6 SCL, 7 WP, 8 VCC.
    #[must_use]
    pub const fn has_usual_order(self) -> bool {
        !matches!(
            self,
            Self::Soic14
                | Self::Tssop8Rotated
                | Self::Tssop14
                | Self::Tssop20
                | Self::Snt8a
                | Self::Sot235
                | Self::Sot236
                | Self::Tsot235
                | Self::Sc705
                | Self::Vfbga8
                | Self::Dbga8
                | Self::Xbga8
                | Self::Wlcsp4
                | Self::Wlcsp5
                | Self::Wlcsp6
                | Self::Wlcsp8
                | Self::Wlcsp
        )
    }

    /// The footprint of the same outline with another order of its pins.
    #[must_use]
    pub const fn other_order(self) -> Option<Self> {
        match self {
            Self::Tssop8 => Some(Self::Tssop8Rotated),
            Self::Tssop8Rotated => Some(Self::Tssop8),
            _ => None,
        }
    }

    /// Signal of each pin in the usual order, where the footprint has it.
    #[must_use]
    pub fn usual_pins(self) -> Option<BTreeMap<String, String>> {
        let pin = |(index, signal): (usize, &&str)| ((index + 1).to_string(), (*signal).to_owned());
        self.has_usual_order().then(|| USUAL.iter().enumerate().map(pin).collect())
    }
}

/// The signal that a sheet's words for a pin mean: `VDD` is VCC, `E0` is A0, `WC (HIGH inhibits)` is WP.
#[must_use]
pub fn signal(words: &str) -> &str {
    let name = words.split([' ', '(']).next().unwrap_or_default();
    match name {
        "VDD" => "VCC",
        "GND" => "VSS",
        "WC" | "WCB" => "WP",
        "E0" => "A0",
        "E1" => "A1",
        "E2" => "A2",
        other => other,
    }
}

/// The pin or ball of a signal among pins with their words.
#[must_use]
pub fn pin_in<'p>(pins: &'p BTreeMap<String, String>, wanted: &str) -> Option<&'p str> {
    pins.iter().find(|(_, words)| signal(words) == wanted).map(|(pin, _)| pin.as_str())
}

impl Package {
    /// A package of which only its name was read: with the usual pins, where there are any, and the roles of the die whose
    /// pins are among them.
    #[must_use]
    pub fn named(footprint: Footprint, usual: [Option<Role>; 3]) -> Self {
        let pins = footprint.usual_pins();
        Self {
            footprint,
            current: true,
            address_bits: usual.map(|role| as_usual(role, pins.as_ref())),
            wp_pin: pins.as_ref().map(|_| true),
            pins,
            note: None,
        }
    }

    /// The pin or ball of a signal; absent where it has none or the pins were not read.
    #[must_use]
    pub fn pin_of(&self, wanted: &str) -> Option<&str> {
        pin_in(self.pins.as_ref()?, wanted)
    }

    /// Whether every role of its address bits was read.
    #[must_use]
    pub fn address_is_read(&self) -> bool {
        self.address_bits.iter().all(Option::is_some)
    }
}

/// The role of an address bit in a package: that of the die, where it was read and no pin is asked or the pin is there.
pub(super) fn as_usual(role: Option<Role>, pins: Option<&BTreeMap<String, String>>) -> Option<Role> {
    let role = role?;
    let Some(pin) = role.pin() else { return Some(role) };
    let name = format!("A{pin}");
    pins.is_some_and(|pins| pins.values().any(|words| signal(words) == name)).then_some(role)
}

impl Packages {
    /// What is known of the part in a footprint.
    #[must_use]
    pub fn offer(&self, footprint: Footprint) -> Offer<'_> {
        match self.list.iter().find(|package| package.footprint == footprint) {
            Some(package) if package.current => Offer::Made(package),
            Some(package) => Offer::Uncertain(package),
            None if self.complete => Offer::NotMade,
            None => Offer::NotKnown,
        }
    }
}

impl Card {
    /// The listed package for a footprint.
    #[must_use]
    pub fn package_for(&self, footprint: Footprint) -> Option<&Package> {
        self.packages.list.iter().find(|package| package.footprint == footprint)
    }

    /// The card as it is in the package for `footprint`: address-bit roles and WP pin may differ there. A role that was
    /// not read stays as it is in the usual package.
    #[must_use]
    pub fn in_footprint(&self, footprint: Footprint) -> Self {
        let mut card = self.clone();
        let Some(package) = self.package_for(footprint) else { return card };
        let usual = self.address_bits.value;
        let bits = [0, 1, 2].map(|place| package.address_bits[place].unwrap_or(usual[place]));
        if bits != usual {
            card.address_bits = Fact { value: bits, basis: self.packages.basis.clone() };
        }
        if package.wp_pin == Some(false) {
            card.wp_pin = false;
            card.protect_range = self.protect_range.map(|_| super::Span::None);
        }
        card
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_spelling_is_told_from_every_word() {
        let plain = |text: &str| text.to_lowercase().chars().filter(char::is_ascii_alphanumeric).collect::<String>();
        let words = word::all::<Footprint>();
        for (spelling, footprint) in SPELLINGS {
            let same = words.iter().find(|word| plain(word) == spelling);
            assert!(same.is_none_or(|word| word == footprint.word()), "{spelling}: {same:?}");
            assert_eq!(plain(spelling), spelling);
        }
        assert_eq!(word::read::<Footprint>("SO-8"), Some(Footprint::Soic8));
        assert_eq!(word::read::<Footprint>("SOT23-5"), Some(Footprint::Sot235));
        assert_eq!(word::read::<Footprint>("PDIP8"), Some(Footprint::Dip8));
        assert_eq!(word::read::<Footprint>("bga-9"), None);
    }

    #[test]
    fn the_makers_words_for_a_pin_are_signals() {
        for (words, name) in [("VDD", "VCC"), ("GND", "VSS"), ("WC (HIGH inhibits)", "WP"), ("A0 (unused)", "A0")] {
            assert_eq!(signal(words), name);
        }
    }
}
