//! From what was seen to statements.

mod firmware;
mod part;

use std::collections::{BTreeMap, BTreeSet};

use serde_json::{Value, json};

use crate::device::{Device, Width};
use crate::observer::Observer;
use crate::property::{Certainty, Moment, Moments, Property};
use crate::view::View;
use crate::{Observation, timing};

/// A statement about one chip, before those of all chips are put together.
pub(crate) struct Claim {
    pub(crate) value: Value,
    pub(crate) sure: Certainty,
    pub(crate) moments: Moments,
    pub(crate) why: String,
}

/// Device addresses that are taken for one chip, with what decides how its traffic is read.
pub(crate) struct Chip<'o> {
    pub(crate) address: u8,
    pub(crate) devices: Vec<&'o Device>,
    pub(crate) width: Option<Width>,
}

impl<'o> Chip<'o> {
    /// The word-address bytes by which its traffic is read.
    pub(crate) fn header(&self) -> u8 {
        self.width.as_ref().map_or(1, |width| width.bytes)
    }

    /// The views of its addresses by that number.
    pub(crate) fn views(&self) -> impl Iterator<Item = (&'o Device, &'o View)> + '_ {
        let header = self.header();
        self.devices.iter().filter_map(move |device| Some((*device, device.view(header)?)))
    }
}

/// 7-bit addresses of the code 1010, which serial EEPROMs have.
fn is_memory(address: u8) -> bool {
    address >> 3 == 0b1010
}

impl Observer {
    /// Everything that can be said.
    pub(crate) fn finish(self) -> Observation {
        let chips = self.chips();
        let moments = |moments: &Moments| -> Vec<Moment> {
            let moment =
                |at: &crate::property::At| Moment { file: self.files[at.file].clone(), seconds: at.ns as f64 / 1e9 };
            moments.0.iter().map(moment).collect()
        };
        let mut properties = Vec::new();
        self.addresses(&mut properties, &moments);
        firmware::properties(&self, &chips, &mut properties, &moments);
        part::properties(&chips, &mut properties, &moments);
        timing::properties(&self, &mut properties, &moments);
        Observation { files: self.files.clone(), properties, remarks: self.remarks.clone() }
    }

    fn addresses(&self, into: &mut Vec<Property>, moments: &dyn Fn(&Moments) -> Vec<Moment>) {
        let hex = |address: &u8| format!("0x{address:02X}");
        let tell = |name, answered: bool, why: &str| {
            let some: Vec<&Device> = self.devices.values().filter(|device| (device.answered > 0) == answered).collect();
            if some.is_empty() {
                let what =
                    if answered { "no device address was acknowledged" } else { "every address was acknowledged" };
                return Property::not_seen(name, what);
            }
            let mut first = Moments::default();
            for device in &some {
                let ats = if answered { &device.answered_at } else { &device.refused_at };
                ats.0.first().into_iter().for_each(|at| first.add(*at));
            }
            let list: Vec<String> = some.iter().map(|device| hex(&device.address)).collect();
            Property::seen(name, list, Certainty::Shown, moments(&first), why)
        };
        into.push(tell("device_addresses", true, "7-bit addresses that were acknowledged"));
        into.push(tell("absent_addresses", false, "7-bit addresses that were asked and never acknowledged"));
    }

    /// Memory devices, those that are one chip together.
    fn chips(&self) -> Vec<Chip<'_>> {
        let answered = || self.devices.values().filter(|device| device.answered > 0);
        if answered().count() > 8 && !answered().any(Device::takes_headers) {
            return self.addressed_by_device(answered().collect());
        }
        let any_memory = answered().any(|device| is_memory(device.address));
        let reads = answered().any(|device| device.read.count > 0);
        let mut widths: BTreeMap<u8, Option<Width>> = BTreeMap::new();
        for device in answered().filter(|device| is_memory(device.address) || !any_memory) {
            let mut width = device.width();
            // Firmware that reads without ever sending a word address may have a part that takes none.
            if let Some(width) = width.as_mut().filter(|_| reads && !device.takes_headers()) {
                width.sure = Certainty::Guess;
            }
            widths.insert(device.address, width);
        }
        let mut leader: BTreeMap<u8, u8> = widths.keys().map(|address| (*address, *address)).collect();
        for (a, b) in self.joined(&widths) {
            let (Some(&one), Some(&other)) = (leader.get(&a), leader.get(&b)) else { continue };
            leader.values_mut().filter(|l| **l == one.max(other)).for_each(|l| *l = one.min(other));
        }
        let heads: BTreeSet<u8> = leader.values().copied().collect();
        let chip = |head: u8| {
            let members = || leader.iter().filter(move |(_, l)| **l == head).map(|(address, _)| *address);
            let devices = members().filter_map(|address| self.devices.get(&address)).collect();
            let width = members().filter_map(|address| widths[&address].clone()).max_by_key(|width| width.sure);
            Chip { address: head, devices, width }
        };
        heads.into_iter().map(chip).collect()
    }

    /// A part that answers more addresses than pins and block-select bits make, and is never sent a word address: it takes
    /// the device address for one.
    fn addressed_by_device<'o>(&self, devices: Vec<&'o Device>) -> Vec<Chip<'o>> {
        let Some(first) = devices.first() else { return Vec::new() };
        let why = format!("{} device addresses answer, and none is sent a word address", devices.len());
        let width = Width { bytes: 0, sure: Certainty::Likely, moments: first.answered_at.clone(), why };
        vec![Chip { address: first.address, devices, width: Some(width) }]
    }

    /// Pairs of addresses that belong to one chip, or that the firmware at least takes for one.
    fn joined(&self, widths: &BTreeMap<u8, Option<Width>>) -> Vec<(u8, u8)> {
        let mut pairs: Vec<(u8, u8)> = self.same_chip.keys().copied().collect();
        for (index, header) in crate::device::HEADERS.iter().enumerate() {
            let read_so =
                |address: &u8| widths.get(address).and_then(Option::as_ref).is_none_or(|w| w.bytes == *header);
            pairs.extend(self.goes_on[index].pairs.keys().filter(|(a, b)| read_so(a) && read_so(b)));
        }
        pairs
    }
}

/// One statement out of those of all chips: a single value where they agree, else one by device address.
pub(crate) fn combine(
    name: &'static str,
    claims: Vec<(u8, Option<Claim>)>,
    missing: &str,
    moments: &dyn Fn(&Moments) -> Vec<Moment>,
) -> Property {
    let seen: Vec<(u8, Claim)> = claims.into_iter().filter_map(|(address, claim)| Some((address, claim?))).collect();
    let Some((_, first)) = seen.first() else { return Property::not_seen(name, missing) };
    let sure = seen.iter().map(|(_, claim)| claim.sure).min().unwrap_or(Certainty::Guess);
    let mut all = Moments::default();
    seen.iter().flat_map(|(_, claim)| &claim.moments.0).for_each(|at| all.add(*at));
    if seen.iter().all(|(_, claim)| claim.value == first.value) {
        return Property::seen(name, first.value.clone(), sure, moments(&all), first.why.clone());
    }
    let by_address: serde_json::Map<String, Value> =
        seen.iter().map(|(address, claim)| (format!("0x{address:02X}"), claim.value.clone())).collect();
    let why: Vec<String> = seen.iter().map(|(address, claim)| format!("0x{address:02X}: {}", claim.why)).collect();
    Property::seen(name, Value::Object(by_address), sure, moments(&all), why.join("; "))
}

/// Microseconds, to a tenth.
pub(crate) fn us(ns: u64) -> Value {
    json!((ns as f64 / 100.0).round() / 10.0)
}
