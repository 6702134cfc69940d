//! Chips on the command line: `PART[@ADDRESS][=IMAGE]`.

use std::fs::{self, File, TryLockError};
use std::path::{Path, PathBuf};

use pagewise_simulator::ChipModel;
use pagewise_simulator::model::DeviceBit;

use crate::command::find;
use pagewise_base::fault::{Fault, Faults};
use pagewise_part::card::Catalogue;

/// A chip, ready to be attached.
#[derive(Debug, Clone)]
pub(super) struct Chip {
    pub(super) model: ChipModel,
    /// Levels of A0, A1, A2.
    pub(super) pins: [bool; 3],
    pub(super) image: Option<PathBuf>,
}

/// Reads all chips and checks their images. The catalogue is loaded only if a card is named.
pub(super) fn read(texts: &[String], catalogue: impl Fn() -> Result<Catalogue, Faults>) -> Result<Vec<Chip>, Faults> {
    let (mut chips, mut faults) = (Vec::<Chip>::new(), Faults::default());
    for text in texts {
        match one(text, &catalogue) {
            Ok(chip) => {
                let image = chip.image.as_deref().map(absolute);
                if image.is_some() && chips.iter().any(|other| other.image.as_deref().map(absolute) == image) {
                    faults.0.push(fault(text, "its image belongs to another chip of this bus", "give each its own"));
                }
                chips.push(chip);
            }
            Err(Faults(more)) => faults.0.extend(more),
        }
    }
    faults.or_ok(chips)
}

fn one(text: &str, catalogue: &impl Fn() -> Result<Catalogue, Faults>) -> Result<Chip, Faults> {
    let (rest, image) = match text.split_once('=') {
        Some((rest, image)) => (rest, Some(PathBuf::from(image))),
        None => (text, None),
    };
    let (part, address) = match rest.rsplit_once('@') {
        Some((part, address)) => (part, Some(address)),
        None => (rest, None),
    };
    let model = model(part, catalogue)?;
    let pins = match address {
        Some(address) => {
            pins_for(&model, parse_address(text, address)?).map_err(|(reason, remedy)| fault(text, reason, remedy))?
        }
        None => [false; 3],
    };
    if let Some(image) = &image {
        check_image(image, model.capacity)?;
    }
    Ok(Chip { model, pins, image })
}

fn fault(text: &str, reason: impl Into<String>, remedy: impl Into<String>) -> Fault {
    Fault::of_file(&format!("--chip {text}"), reason, remedy)
}

/// A card's chip, or that of a model file.
fn model(part: &str, catalogue: &impl Fn() -> Result<Catalogue, Faults>) -> Result<ChipModel, Faults> {
    if !part.contains('/') && !part.ends_with(".json") {
        return Ok(find(&catalogue()?, part)?.chip_model());
    }
    let remedy = "`pagewise model PART` writes model files";
    let text = fs::read_to_string(part).map_err(|error| Fault::of_file(part, error.to_string(), remedy))?;
    let model: ChipModel = serde_json::from_str(&text)
        .map_err(|error| Fault { line: error.line(), ..Fault::of_file(part, format!("no model: {error}"), remedy) })?;
    model.check().map_err(|reason| Fault::of_file(part, reason, remedy))?;
    Ok(model)
}

fn parse_address(text: &str, address: &str) -> Result<u8, Fault> {
    let number = match address.strip_prefix("0x").or_else(|| address.strip_prefix("0X")) {
        Some(digits) => u8::from_str_radix(digits, 16),
        None => address.parse(),
    };
    number.ok().filter(|address| *address <= 0x7F).ok_or_else(|| {
        fault(text, format!("`{address}` is not a 7-bit device address"), "write 0x50 for the usual first one")
    })
}

/// Levels of A0, A1, A2 with which the chip answers at this address, block-select bits zero.
fn pins_for(model: &ChipModel, address: u8) -> Result<[bool; 3], (String, String)> {
    let choices = || (0..8u8).map(|n| [n & 1 == 1, n & 2 == 2, n & 4 == 4]);
    if let Some(pins) = choices().find(|pins| base(model, *pins) == address) {
        return Ok(pins);
    }
    let any = |bit: DeviceBit| matches!(bit, DeviceBit::Ignored | DeviceBit::Block(_));
    let mask = model.device_bits.iter().fold(0, |mask, bit| mask << 1 | u8::from(!any(*bit)));
    if choices().any(|pins| base(model, pins) & mask == address & mask) {
        let first = address & mask;
        let reason = format!("0x{address:02X} belongs to the chip whose first address is 0x{first:02X}");
        return Err((reason, format!("write @0x{first:02X}")));
    }
    let mut possible: Vec<u8> = choices().map(|pins| base(model, pins)).collect();
    possible.sort_unstable();
    possible.dedup();
    let possible: Vec<String> = possible.iter().map(|address| format!("0x{address:02X}")).collect();
    Err((
        format!("{} cannot have device address 0x{address:02X}", model.name),
        format!("it can have {}", possible.join(", ")),
    ))
}

/// First device address with these pins: ignored and block-select bits zero.
fn base(model: &ChipModel, pins: [bool; 3]) -> u8 {
    model.device_bits.iter().fold(0, |address, bit| {
        let level = match *bit {
            DeviceBit::Fixed(level) => level,
            DeviceBit::Pin(n) => pins[usize::from(n % 3)],
            DeviceBit::PinInverted(n) => !pins[usize::from(n % 3)],
            DeviceBit::Ignored | DeviceBit::Block(_) => false,
        };
        address << 1 | u8::from(level)
    })
}

/// An image is a file of the chip's size that nobody else uses, or does not exist yet in a folder that does.
fn check_image(path: &Path, capacity: u32) -> Result<(), Fault> {
    let shown = path.display().to_string();
    if !path.exists() {
        let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty());
        if folder.is_some_and(|folder| !folder.is_dir()) || path.as_os_str().is_empty() {
            return Err(Fault::of_file(&shown, "the image's folder does not exist", "make it first"));
        }
        return Ok(());
    }
    let cannot = |error: std::io::Error| Fault::of_file(&shown, format!("the image cannot be read: {error}"), "");
    let meta = fs::metadata(path).map_err(cannot)?;
    if !meta.is_file() || meta.len() != u64::from(capacity) {
        let what = if meta.is_file() {
            format!("the image has {} bytes", meta.len())
        } else {
            "the image is not a file".into()
        };
        return Err(Fault::of_file(&shown, format!("{what}, the chip has {capacity}"), "name an image of this part"));
    }
    match File::open(path).map_err(cannot)?.try_lock() {
        Ok(()) => Ok(()),
        Err(TryLockError::WouldBlock) => Err(Fault::of_file(
            &shown,
            "the image is in use by another process",
            "wait for its end, or take another image",
        )),
        Err(TryLockError::Error(error)) => Err(cannot(error)),
    }
}

/// The same path from everywhere, also for a file that does not exist yet.
pub(in crate::command) fn absolute(path: &Path) -> PathBuf {
    if let Ok(real) = fs::canonicalize(path) {
        return real;
    }
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let folder = fs::canonicalize(folder).unwrap_or_else(|_| folder.to_owned());
    path.file_name().map_or_else(|| path.to_owned(), |name| folder.join(name))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_becomes_levels_of_the_pins() {
        let model = ChipModel::example_32_kbit();
        assert_eq!(pins_for(&model, 0x50), Ok([false; 3]));
        assert_eq!(pins_for(&model, 0x56), Ok([false, true, true]));
        assert!(pins_for(&model, 0x48).unwrap_err().0.contains("cannot have device address 0x48"));
    }

    #[test]
    fn a_block_of_a_chip_is_no_address_of_its_own() {
        let model = ChipModel::example_16_kbit();
        assert_eq!(pins_for(&model, 0x50), Ok([false; 3]));
        assert!(pins_for(&model, 0x53).unwrap_err().0.contains("first address is 0x50"));
    }

    #[test]
    fn a_device_address_has_seven_bits() {
        assert_eq!(parse_address("x", "0x50"), Ok(0x50));
        assert_eq!(parse_address("x", "80"), Ok(80));
        for bad in ["0x80", "0xA0", "300", "", "zz", "-1"] {
            assert!(parse_address("x", bad).is_err(), "{bad}");
        }
    }
}
