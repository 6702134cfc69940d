//! Pins to be tied, packages and second regions of a card file.

use super::row;
use super::words::{ACCESS, RAILS, REGIONS, SPANS};
use crate::card::{Access, Footprint, Package, Region, RegionKind, Span};
use pagewise_base::form::Form;

pub(super) fn read_required_straps(form: &Form<'_, '_>) -> Vec<(u8, bool)> {
    let Some(table) = form.table("required_straps") else { return Vec::new() };
    let mut straps = Vec::new();
    for (key, pin) in [("a0", 0), ("a1", 1), ("a2", 2)] {
        straps.extend(table.choice(key, &RAILS).map(|high| (pin, high)));
    }
    table.finish();
    straps
}

pub(super) fn read_packages(form: &Form<'_, '_>) -> Vec<Package> {
    let mut packages = Vec::new();
    for table in form.tables("package") {
        let name = table.need_text("name").unwrap_or_default();
        packages.push(Package {
            footprint: Footprint::of_name(&name),
            name,
            address_bits: row::<3>(&table, "address_bits"),
            wp_pin: table.flag("wp_pin"),
            note: table.text("note"),
        });
        table.finish();
    }
    packages
}

pub(super) fn read_regions(form: &Form<'_, '_>, capacity: u32) -> Vec<Region> {
    let mut regions = Vec::new();
    for table in form.tables("region") {
        table.need("kind");
        let kind = table.choice("kind", &REGIONS);
        let code = row::<4>(&table, "device_code");
        let low = row::<3>(&table, "address_bits");
        let device_bits = match (code, low) {
            (Some([a, b, c, d]), Some([e, f, g])) => Some([a, b, c, d, e, f, g]),
            (None, None) => None,
            _ => {
                table.fault("device_code", "device_code and address_bits go together", "give both or neither");
                None
            }
        };
        let word_address = table.integer::<u32>("word_address", 0..=0x00FF_FFFF).unwrap_or(0);
        let length = table.integer::<u32>("length", 0..=65_536).unwrap_or(0);
        if device_bits.is_none() && u64::from(word_address) + u64::from(length) > u64::from(capacity) {
            table.fault("length", "the region runs past the array", "correct word_address or length");
        }
        let region = Region {
            kind: kind.unwrap_or(RegionKind::SerialNumber),
            device_bits,
            word_address,
            address_mask: table.integer::<u32>("address_mask", 0..=0x00FF_FFFF),
            word_address_bytes: table.integer::<u8>("word_address_bytes", 0..=3).unwrap_or(1),
            length,
            access: table.choice("access", &ACCESS).unwrap_or(Access::ReadOnly),
            protects: table.choice("protects", &SPANS).unwrap_or(Span::None),
            note: table.text("note"),
        };
        table.finish();
        regions.push(region);
    }
    regions
}
