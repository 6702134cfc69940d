//! What a unit's part is to hold.

use sha2::{Digest, Sha256};

/// Bytes at their offsets; between them nothing is wanted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wanted {
    /// Offset and bytes, by offset, neither overlapping nor touching.
    segments: Vec<(u32, Vec<u8>)>,
    /// SHA-256 of the image file, in hexadecimal.
    pub sha256: String,
}

impl Wanted {
    /// An image of these segments; `file` is what the digest is taken of. Touching segments are joined.
    ///
    /// # Errors
    /// Two segments overlap (the offset is given), or one runs past 2^32.
    pub fn new(mut segments: Vec<(u32, Vec<u8>)>, file: &[u8]) -> Result<Self, u32> {
        segments.retain(|(_, bytes)| !bytes.is_empty());
        segments.sort_by_key(|(offset, _)| *offset);
        let mut joined: Vec<(u32, Vec<u8>)> = Vec::new();
        for (offset, bytes) in segments {
            if u64::from(offset) + bytes.len() as u64 > 1 << 32 {
                return Err(offset);
            }
            match joined.last_mut() {
                Some((first, before)) => match (u64::from(*first) + before.len() as u64).cmp(&u64::from(offset)) {
                    std::cmp::Ordering::Greater => return Err(offset),
                    std::cmp::Ordering::Equal => before.extend(bytes),
                    std::cmp::Ordering::Less => joined.push((offset, bytes)),
                },
                None => joined.push((offset, bytes)),
            }
        }
        Ok(Self { segments: joined, sha256: digest(file) })
    }

    /// An image that begins at offset 0.
    #[must_use]
    pub fn binary(bytes: &[u8]) -> Self {
        let segments = if bytes.is_empty() { Vec::new() } else { vec![(0, bytes.to_vec())] };
        Self { segments, sha256: digest(bytes) }
    }

    /// Offset and bytes of each stretch.
    #[must_use]
    pub fn segments(&self) -> &[(u32, Vec<u8>)] {
        &self.segments
    }

    /// Bytes in all.
    #[must_use]
    pub fn len(&self) -> usize {
        self.segments.iter().map(|(_, bytes)| bytes.len()).sum()
    }

    /// Nothing is wanted.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.segments.is_empty()
    }

    /// One past the last byte.
    #[must_use]
    pub fn end(&self) -> u64 {
        self.segments.last().map_or(0, |(offset, bytes)| u64::from(*offset) + bytes.len() as u64)
    }

    /// `contents` as it should be afterwards. What does not fit is left out.
    #[must_use]
    pub fn over(&self, contents: &[u8]) -> Vec<u8> {
        let mut after = contents.to_vec();
        for (offset, bytes) in &self.segments {
            let from = (*offset as usize).min(after.len());
            let length = bytes.len().min(after.len() - from);
            after[from..from + length].copy_from_slice(&bytes[..length]);
        }
        after
    }

    /// Pieces that never cross a multiple of `unit`, by offset.
    pub fn pieces(&self, unit: u32) -> impl Iterator<Item = (u32, &[u8])> {
        self.segments.iter().flat_map(move |(offset, bytes)| {
            let (mut at, mut rest) = (*offset, bytes.as_slice());
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

/// SHA-256 in hexadecimal.
#[must_use]
pub fn digest(bytes: &[u8]) -> String {
    Sha256::digest(bytes).iter().map(|byte| format!("{byte:02x}")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_digest_is_that_of_fips_180_4() {
        // FIPS 180-4, example "abc", as published by NIST.
        assert_eq!(digest(b"abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    }

    #[test]
    fn segments_are_joined_where_they_touch_and_refused_where_they_overlap() {
        let wanted = Wanted::new(vec![(8, vec![3]), (4, vec![1; 4]), (20, vec![9; 2])], b"").unwrap();
        assert_eq!(wanted.segments(), [(4, vec![1, 1, 1, 1, 3]), (20, vec![9, 9])]);
        assert_eq!((wanted.len(), wanted.end()), (7, 22));
        assert_eq!(Wanted::new(vec![(4, vec![1; 4]), (7, vec![2])], b""), Err(7));
    }

    #[test]
    fn pieces_end_at_every_multiple_of_the_unit() {
        let wanted = Wanted::new(vec![(14, vec![1; 20]), (60, vec![2; 8])], b"").unwrap();
        let places: Vec<_> = wanted.pieces(16).map(|(offset, bytes)| (offset, bytes.len())).collect();
        assert_eq!(places, [(14, 2), (16, 16), (32, 2), (60, 4), (64, 4)]);
    }
}
