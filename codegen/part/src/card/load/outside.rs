//! Pins to be tied, packages and second regions of a card file.

use std::collections::BTreeMap;

use super::{Sheet, roles};
use crate::card::file::{self, CardFile, Rail, RequiredStraps};
use crate::card::package::as_usual;
use crate::card::{Access, Footprint, Package, Packages, Region, RegionKind, Role, Span, signal};
use pagewise_base::form::Document;

pub(super) fn required_straps(file: &RequiredStraps) -> Vec<(u8, bool)> {
    let pins = [(0, file.a0), (1, file.a1), (2, file.a2)];
    pins.into_iter().filter_map(|(pin, rail)| Some((pin, rail? == Rail::Vcc))).collect()
}

pub(super) fn packages(sheet: &Sheet, form: &Document<'_>, file: &CardFile, usual: [Option<Role>; 3]) -> Packages {
    let (made, complete) = (&file.packages.made, file.packages.complete);
    if complete && made.is_empty() {
        form.fault("packages.complete", "the complete list of packages is empty", "list them in `made`");
    }
    let mut list = Vec::new();
    for (index, read) in file.package.iter().enumerate() {
        if file.package[..index].iter().any(|earlier| earlier.name == read.name) {
            form.fault(&format!("package[{index}].name"), "stands here twice", "describe each package once");
        }
        let bits = read.address_bits.as_deref();
        let bits = bits.map(|text| roles_read(form, &format!("package[{index}].address_bits"), text));
        let current = !complete || made.contains(&read.name);
        // What was not read of a package of eight leads is as usual.
        let mut pins = read.name.usual_pins();
        if let Some(read) = &read.pins {
            pins.get_or_insert_default().extend(read.clone());
        }
        let has_wp = |pins: &BTreeMap<String, String>| pins.values().any(|words| signal(words) == "WP");
        list.push(Package {
            footprint: read.name,
            current,
            wp_pin: read.wp_pin.or_else(|| pins.as_ref().map(has_wp)),
            address_bits: bits.unwrap_or_else(|| usual.map(|role| as_usual(role, pins.as_ref()))),
            pins,
            note: read.note.clone(),
        });
    }
    let described: Vec<Footprint> = list.iter().map(|package| package.footprint).collect();
    list.extend(
        made.iter()
            .filter(|footprint| !described.contains(footprint))
            .map(|footprint| Package::named(*footprint, usual)),
    );
    Packages { list, complete, basis: sheet.stated("packages", ()).basis }
}

pub(super) fn roles_read(form: &Document<'_>, path: &str, text: &str) -> [Option<Role>; 3] {
    let tokens: Vec<&str> = text.split_whitespace().collect();
    let known: Vec<&str> = tokens.iter().map(|token| if *token == "?" { "x" } else { token }).collect();
    match roles::<3>(form, path, Some(&known.join(" "))) {
        Some(roles) => [0, 1, 2].map(|place| (tokens[place] != "?").then_some(roles[place])),
        None => [None; 3],
    }
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
    let address_read = file.address_read.unwrap_or(true);
    let stated = device_bits.is_some() || file.word_address.is_some();
    let placeless = matches!(file.kind, RegionKind::BankSelect | RegionKind::DeviceId | RegionKind::PageProtection);
    if address_read && !stated && !placeless {
        let remedy =
            "state device_code and address_bits, or word_address; where the sheet was not read, address_read = false";
        form.fault(&path("kind"), "its address is not stated, and it cannot lie in the array at 0", remedy);
    }
    if !address_read && stated {
        form.fault(&path("address_read"), "an address is stated beside it", "keep one of them");
    }
    let (word_address, length) = (file.word_address.unwrap_or(0), file.length.unwrap_or(0));
    let in_array = device_bits.is_none() && !placeless;
    if in_array && u64::from(word_address) + u64::from(length) > u64::from(capacity) {
        form.fault(&path("length"), "the region runs past the array", "correct word_address or length");
    }
    Region {
        kind: file.kind,
        device_bits,
        address_read,
        word_address,
        word_address_read: file.word_address.is_some() || file.kind != RegionKind::SerialNumber || !address_read,
        address_mask: file.address_mask,
        word_address_bytes: file.word_address_bytes.unwrap_or(1),
        length,
        access: file.access.unwrap_or(Access::ReadOnly),
        protects: file.protects.unwrap_or(Span::None),
        contents: file.contents.clone().unwrap_or_default(),
        rolls_after: file.rolls_after,
        shares_pointer: file.shares_pointer.unwrap_or(false),
        note: file.note.clone(),
    }
}
