//! What an old part held, for a new part of another size.
//!
//! The bytes keep their offsets. A smaller part takes them when what is cut off is blank; in a larger one the rest is left
//! as it is, or holds the same again and again, for firmware that reaches its data at an offset beyond the old part's end
//! and relies on the old part's ignoring the upper bits.

use schemars::JsonSchema;
use serde::Serialize;

use super::Image;
use pagewise_part::card::{Access, Card};

/// An image for the new part, and what a reader should know of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Moved {
    /// The image.
    pub image: Image,
    /// What changed between the two.
    pub change: Change,
    /// Bytes at which the old part's maker, and not this image, decides: the first one and how many.
    pub makers: Option<(u32, u32)>,
}

/// How the sizes go together.
#[derive(Debug, Clone, Copy, PartialEq, Eq, JsonSchema, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Change {
    /// Both parts have the same size.
    Same,
    /// The new part is smaller: so many blank bytes were cut off.
    Cut(u32),
    /// The new part is larger: so many bytes at its end are left as they are.
    Open(u32),
    /// The new part is larger and holds everything so many times.
    Copies(u32),
}

/// Why the contents cannot be moved: reason and remedy.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unfit {
    /// What stands in the way, with offsets.
    pub reason: String,
    /// What to do.
    pub remedy: String,
}

/// Makes the image. `dump` is all that the old part held; `aliases` fills a larger part with copies.
///
/// # Errors
/// The dump is not that of the old part; what would be cut off is not blank; the new part's maker has fixed bytes that
/// should hold something else; copies do not fill the new part evenly.
pub fn to(new: &Card, old: Option<&Card>, dump: &[u8], aliases: bool) -> Result<Moved, Unfit> {
    if let Some(old) = old.filter(|old| old.reachable_bytes() as usize != dump.len()) {
        let reason = format!("has {} bytes, {} holds {}", dump.len(), old.id, old.density());
        return unfit(reason, "name the part that it was read from with --from, or dump the whole part");
    }
    let room = new.reachable_bytes() as usize;
    let (kept, cut) = dump.split_at(dump.len().min(room));
    if let Some(at) = first_used(cut) {
        let used = cut.iter().filter(|byte| **byte != blank_of(cut)).count();
        let reason = format!("{used} bytes from {:#06x} on lie beyond {}, {}", room + at, new.id, new.density());
        return unfit(reason, "take a larger part, or move what lies there with a layout");
    }
    let copies = if aliases && room > kept.len() { copies(kept.len(), room, new)? } else { 1 };
    let bytes = kept.repeat(copies);
    let mut image = Image::new();
    put(&mut image, &bytes, new)?;
    let change = match (cut.len(), copies, room - bytes.len()) {
        (1.., ..) => Change::Cut(cut.len() as u32),
        (0, 2.., _) => Change::Copies(copies as u32),
        (0, _, 0) => Change::Same,
        (0, _, rest) => Change::Open(rest as u32),
    };
    let makers = old.map(|old| old.fixed_range.value.bytes(old.capacity_bytes.value)).filter(|(_, length)| *length > 0);
    Ok(Moved { image, change, makers })
}

fn unfit<T>(reason: impl Into<String>, remedy: &str) -> Result<T, Unfit> {
    Err(Unfit { reason: reason.into(), remedy: remedy.into() })
}

/// The byte that a blank stretch would consist of.
fn blank_of(bytes: &[u8]) -> u8 {
    if bytes.iter().all(|byte| *byte == 0) { 0 } else { 0xFF }
}

fn first_used(bytes: &[u8]) -> Option<usize> {
    let blank = blank_of(bytes);
    bytes.iter().position(|byte| *byte != blank)
}

fn copies(length: usize, room: usize, new: &Card) -> Result<usize, Unfit> {
    if length == 0 || !room.is_multiple_of(length) {
        let reason = format!("{length} bytes do not fill {} evenly, {}", new.id, new.density());
        return unfit(reason, "leave --aliases out, or name the dump of a whole part");
    }
    Ok(room / length)
}

/// Puts bytes from offset 0 on, but for those that can only be read on the new part.
fn put(image: &mut Image, bytes: &[u8], new: &Card) -> Result<(), Unfit> {
    let in_array = new.regions.iter().filter(|region| region.device_bits.is_none());
    let mut fixed: Vec<(u32, u32)> = in_array
        .filter(|region| region.access == Access::ReadOnly)
        .map(|region| (region.word_address, region.length))
        .collect();
    fixed.push(new.fixed_range.value.bytes(new.capacity_bytes.value));
    let is_fixed = |at: usize| {
        let at = at as u32;
        fixed.iter().any(|(first, length)| at >= *first && at - first < *length)
    };
    let places: Vec<usize> = (0..bytes.len()).collect();
    for stretch in places.chunk_by(|a, b| is_fixed(*a) == is_fixed(*b)) {
        let (first, last) = (stretch[0], stretch[stretch.len() - 1]);
        let part = &bytes[first..=last];
        if !is_fixed(first) {
            image.put(first as u32, part).or_else(|reason| unfit(reason.to_string(), "name the dump of one part"))?;
        } else if let Some(at) = part.iter().position(|byte| *byte != 0xFF) {
            let reason = format!("{:#06x} holds {:#04x}, and can only be read on {}", first + at, part[at], new.id);
            return unfit(reason, "take a part without contents of its maker's, or move what lies there with a layout");
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use pagewise_part::card::Catalogue;

    use super::*;

    fn moved(new: &str, old: Option<&str>, dump: &[u8], aliases: bool) -> Result<Moved, Unfit> {
        let catalogue = Catalogue::embedded().unwrap();
        let old = old.map(|old| catalogue.find(old).unwrap());
        to(catalogue.find(new).unwrap(), old, dump, aliases)
    }

    fn dump(length: usize, used: usize) -> Vec<u8> {
        (0..length).map(|at| if at < used { (at % 251) as u8 } else { 0xFF }).collect()
    }

    #[test]
    fn a_smaller_part_takes_what_fits_when_the_rest_is_blank() {
        let same = moved("24lc32a", Some("24lc32a"), &dump(4096, 4096), false).unwrap();
        assert_eq!((same.change, same.image.len()), (Change::Same, 4096));
        let cut = moved("24lc32a", Some("24lc64"), &dump(8192, 4096), false).unwrap();
        assert_eq!((cut.change, cut.image.end()), (Change::Cut(4096), 4096));
        let mut zero = dump(8192, 4096);
        zero[4096..].fill(0);
        assert_eq!(moved("24lc32a", None, &zero, false).unwrap().change, Change::Cut(4096));
        let used = moved("24lc32a", Some("24lc64"), &dump(8192, 4098), false).unwrap_err();
        assert!(used.reason.contains("2 bytes from 0x1000 on lie beyond 24lc32a"), "{used:?}");
        assert!(moved("24lc32a", Some("24lc64"), &dump(4096, 1), false).unwrap_err().reason.contains("has 4096 bytes"));
    }

    #[test]
    fn a_larger_part_keeps_the_rest_open_or_holds_copies() {
        let open = moved("24lc64", Some("24lc32a"), &dump(4096, 4096), false).unwrap();
        assert_eq!((open.change, open.image.end()), (Change::Open(4096), 4096));
        let copies = moved("24lc128", Some("24lc32a"), &dump(4096, 4096), true).unwrap();
        assert_eq!((copies.change, copies.image.len()), (Change::Copies(4), 16384));
        assert_eq!(copies.image.get(0x3007), copies.image.get(7));
        assert!(moved("24lc64", None, &dump(4000, 10), true).unwrap_err().reason.contains("evenly"));
    }

    #[test]
    fn what_the_maker_has_fixed_is_left_out_or_refused() {
        let catalogue = Catalogue::embedded().unwrap();
        let fixed = |card: &&Card| card.fixed_range.value.bytes(card.capacity_bytes.value).1 > 0;
        let card = catalogue.cards().iter().find(fixed).expect("a part with contents of its maker's");
        let (first, length) = card.fixed_range.value.bytes(card.capacity_bytes.value);
        let mut dump = vec![0xFF; card.reachable_bytes() as usize];
        let image = to(card, None, &dump, false).unwrap().image;
        assert_eq!(image.get(first), None);
        assert_eq!(image.len(), u64::from(card.reachable_bytes() - length));
        dump[first as usize] = 7;
        assert!(to(card, None, &dump, false).unwrap_err().reason.contains("can only be read"));
    }
}
