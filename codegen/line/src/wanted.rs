//! What a unit's part is to hold.

pub use pagewise_base::chain::sha256 as digest;
use pagewise_content::image::Image;

/// The bytes of an image, and the digest by which the journal knows it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wanted {
    image: Image,
    /// SHA-256 of the image file, in hexadecimal.
    pub sha256: String,
}

impl Wanted {
    /// An image and the contents of its file.
    #[must_use]
    pub fn new(image: Image, file: &[u8]) -> Self {
        Self { image, sha256: digest(file) }
    }

    /// The image.
    #[must_use]
    pub const fn image(&self) -> &Image {
        &self.image
    }

    /// `contents` as it should be afterwards. What does not fit is left out.
    #[must_use]
    pub fn over(&self, contents: &[u8]) -> Vec<u8> {
        let mut after = contents.to_vec();
        for (offset, bytes) in self.image.runs() {
            let from = (offset as usize).min(after.len());
            let length = bytes.len().min(after.len() - from);
            after[from..from + length].copy_from_slice(&bytes[..length]);
        }
        after
    }

    /// Pieces that never cross a multiple of `unit`, by offset.
    pub fn pieces(&self, unit: u32) -> impl Iterator<Item = (u32, &[u8])> {
        self.image.runs().flat_map(move |(offset, bytes)| {
            let (mut at, mut rest) = (offset, bytes);
            std::iter::from_fn(move || {
                let room = (unit - at % unit) as usize;
                let (piece, more) = rest.split_at(room.min(rest.len()));
                let place = at;
                at = at.wrapping_add(piece.len() as u32);
                rest = more;
                (!piece.is_empty()).then_some((place, piece))
            })
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pieces_end_at_every_multiple_of_the_unit() {
        let mut image = Image::from_bytes(14, &[1; 20]).unwrap();
        image.put(60, &[2; 8]).unwrap();
        let wanted = Wanted::new(image, b"");
        let places: Vec<_> = wanted.pieces(16).map(|(offset, bytes)| (offset, bytes.len())).collect();
        assert_eq!(places, [(14, 2), (16, 16), (32, 2), (60, 4), (64, 4)]);
    }
}
