//! Pins to be tied, packages and second regions of a card file.

use super::roles;
use crate::card::file::{self, Rail, RequiredStraps};
use crate::card::{Access, Footprint, Package, Region, Span};
use pagewise_base::form::Document;

pub(super) fn required_straps(file: &RequiredStraps) -> Vec<(u8, bool)> {
    let pins = [(0, file.a0), (1, file.a1), (2, file.a2)];
    pins.into_iter().filter_map(|(pin, rail)| Some((pin, rail? == Rail::Vcc))).collect()
}

pub(super) fn packages(form: &Document<'_>, file: &[file::Package]) -> Vec<Package> {
    let package = |(index, package): (usize, &file::Package)| Package {
        footprint: Footprint::of_name(&package.name),
        name: package.name.clone(),
        address_bits: roles(form, &format!("package[{index}].address_bits"), package.address_bits.as_deref()),
        wp_pin: package.wp_pin,
        note: package.note.clone(),
    };
    file.iter().enumerate().map(package).collect()
}

pub(super) fn regions(form: &Document<'_>, file: &[file::Region], capacity: u32) -> Vec<Region> {
    file.iter().enumerate().map(|(index, region)| self::region(form, index, region, capacity)).collect()
}

fn region(form: &Document<'_>, index: usize, file: &file::Region, capacity: u32) -> Region {
    let path = |key: &str| format!("region[{index}].{key}");
    let code = roles::<4>(form, &path("device_code"), file.device_code.as_deref());
    let low = roles::<3>(form, &path("address_bits"), file.address_bits.as_deref());
    let device_bits = match (code, low) {
        (Some([a, b, c, d]), Some([e, f, g])) => Some([a, b, c, d, e, f, g]),
        (None, None) => None,
        _ => {
            form.fault(&path("device_code"), "device_code and address_bits go together", "give both or neither");
            None
        }
    };
    let (word_address, length) = (file.word_address.unwrap_or(0), file.length.unwrap_or(0));
    if device_bits.is_none() && u64::from(word_address) + u64::from(length) > u64::from(capacity) {
        form.fault(&path("length"), "the region runs past the array", "correct word_address or length");
    }
    Region {
        kind: file.kind,
        device_bits,
        word_address,
        address_mask: file.address_mask,
        word_address_bytes: file.word_address_bytes.unwrap_or(1),
        length,
        access: file.access.unwrap_or(Access::ReadOnly),
        protects: file.protects.unwrap_or(Span::None),
        note: file.note.clone(),
    }
}
