//! Packages: what a part looks like on the board, and which footprint takes it.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Card, Role};
use crate::fact::Fact;
use pagewise_base::form::word;

/// A package of a part that differs from its normal 8-lead one.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Package {
    /// Name as the sheet words it.
    pub name: String,
    /// Footprints that take it.
    pub footprint: Option<Footprint>,
    /// Roles of the low address bits where they differ.
    pub address_bits: Option<[Role; 3]>,
    /// Whether it has a WP pin.
    pub wp_pin: Option<bool>,
    /// Remark.
    pub note: Option<String>,
}

/// A footprint on the board.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Footprint {
    /// Narrow 8-lead SOIC, the usual one.
    #[serde(rename = "soic-8")]
    Soic8,
    /// Wide-body 8-lead SOIC.
    #[serde(rename = "soic-8-wide")]
    Soic8Wide,
    /// 8-lead TSSOP.
    #[serde(rename = "tssop-8")]
    Tssop8,
    /// 8-lead DIP.
    #[serde(rename = "dip-8")]
    Dip8,
    /// 8-lead MSOP.
    #[serde(rename = "msop-8")]
    Msop8,
    /// 8-pad DFN or UDFN.
    #[serde(rename = "dfn-8")]
    Dfn8,
    /// 5-lead SOT-23.
    #[serde(rename = "sot-23-5")]
    Sot235,
    /// 6-lead SOT-23.
    #[serde(rename = "sot-23-6")]
    Sot236,
    /// Chip scale.
    Wlcsp,
}

impl Footprint {
    /// The word for it.
    #[must_use]
    pub fn word(self) -> &'static str {
        word::of(&self)
    }

    /// The footprint that a sheet's name of a package means.
    #[must_use]
    pub fn of_name(name: &str) -> Option<Self> {
        let name: String = name.to_lowercase().chars().filter(char::is_ascii_alphanumeric).collect();
        let leads = |digit: char| name.contains(digit);
        if name.contains("sot23") || name.contains("tsot") || name.contains("sc70") {
            let rest: String = name.replace("sot23", "");
            return Some(if rest.contains('6') { Self::Sot236 } else { Self::Sot235 });
        }
        if name.contains("wlcsp") || name.contains("chipscale") || name.contains("ball") {
            return Some(Self::Wlcsp);
        }
        if name.contains("msop") {
            return Some(Self::Msop8);
        }
        if name.contains("tssop") {
            return Some(Self::Tssop8);
        }
        if name.contains("dfn") && leads('8') {
            return Some(Self::Dfn8);
        }
        if name.contains("dip") {
            return Some(Self::Dip8);
        }
        (name.contains("soic") || name.contains("sop")).then_some(Self::Soic8)
    }

    /// Packages so small that their leads do not fit the usual eight pins.
    #[must_use]
    pub const fn is_small(self) -> bool {
        matches!(self, Self::Sot235 | Self::Sot236 | Self::Wlcsp)
    }
}

impl Card {
    /// The listed package for a footprint, if the sheet read tells anything about it.
    #[must_use]
    pub fn package_for(&self, footprint: Footprint) -> Option<&Package> {
        self.packages.iter().find(|package| package.footprint == Some(footprint))
    }

    /// The card as it is in the package for `footprint`: address-bit roles and WP pin may differ there.
    #[must_use]
    pub fn in_footprint(&self, footprint: Footprint) -> Self {
        let mut card = self.clone();
        let Some(package) = self.package_for(footprint) else { return card };
        if let Some(bits) = package.address_bits {
            let document = self.document.clone();
            card.address_bits = Fact { value: bits, basis: crate::fact::Basis::Published { document } };
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
    fn sheet_names_of_packages_find_their_footprint() {
        for (name, footprint) in [
            ("5-lead SOT-23", Footprint::Sot235),
            ("SOT23-5", Footprint::Sot235),
            ("6-lead SOT-23", Footprint::Sot236),
            ("8-pin MSOP", Footprint::Msop8),
            ("rotated TSSOP (X)", Footprint::Tssop8),
            ("4-ball WLCSP", Footprint::Wlcsp),
        ] {
            assert_eq!(Footprint::of_name(name), Some(footprint), "{name}");
        }
    }
}
