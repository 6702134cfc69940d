//! A sparse image: runs of bytes at offsets, gaps between them left open.

use std::collections::BTreeMap;
use std::fmt;

/// Runs of bytes at offsets. Runs neither overlap nor touch: neighbours are joined.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Image {
    runs: BTreeMap<u32, Vec<u8>>,
}

/// Why bytes cannot be put into an image.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Refused {
    /// The byte at this offset is already there.
    Overlap {
        /// First offset that is there already.
        offset: u32,
    },
    /// The bytes pass the last offset that 32 bits can name.
    TooFar {
        /// One past the last byte.
        end: u64,
    },
}

impl fmt::Display for Refused {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Overlap { offset } => write!(f, "the byte at {offset:#06x} is given twice"),
            Self::TooFar { end } => write!(f, "ends at {end:#x}, past the last 32-bit offset"),
        }
    }
}

impl std::error::Error for Refused {}

/// A run that does not fit the memory.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Beyond {
    /// One past the last byte of the image.
    pub end: u64,
    /// Bytes of the memory.
    pub length: u32,
}

impl fmt::Display for Beyond {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "the image ends at {:#x}, the memory at {:#x}", self.end, self.length)
    }
}

impl std::error::Error for Beyond {}

impl Image {
    /// An image without bytes.
    #[must_use]
    pub const fn new() -> Self {
        Self { runs: BTreeMap::new() }
    }

    /// An image of one run.
    ///
    /// # Errors
    /// [`Refused::TooFar`].
    pub fn from_bytes(offset: u32, bytes: &[u8]) -> Result<Self, Refused> {
        let mut image = Self::new();
        image.put(offset, bytes)?;
        Ok(image)
    }

    /// Adds bytes where there are none yet.
    ///
    /// # Errors
    /// A byte of them is already there, or lies past the last 32-bit offset. The image is unchanged then.
    pub fn put(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Refused> {
        if bytes.is_empty() {
            return Ok(());
        }
        let end = u64::from(offset) + bytes.len() as u64;
        if end > 1 << 32 {
            return Err(Refused::TooFar { end });
        }
        let before = self.runs.range(..=offset).next_back().map(|(start, run)| (*start, run.len() as u64));
        let before = before.map(|(start, length)| (start, u64::from(start) + length));
        if before.is_some_and(|(_, stop)| stop > u64::from(offset)) {
            return Err(Refused::Overlap { offset });
        }
        let after = self.runs.range(offset..).next().map(|(start, _)| *start);
        if let Some(next) = after.filter(|next| u64::from(*next) < end) {
            return Err(Refused::Overlap { offset: next });
        }
        let tail = match after {
            Some(next) if u64::from(next) == end => self.runs.remove(&next).unwrap_or_default(),
            _ => Vec::new(),
        };
        let start = before.filter(|(_, stop)| *stop == u64::from(offset)).map_or(offset, |(start, _)| start);
        let run = self.runs.entry(start).or_default();
        run.extend_from_slice(bytes);
        run.extend_from_slice(&tail);
        Ok(())
    }

    /// The runs in rising order: offset and bytes.
    pub fn runs(&self) -> impl Iterator<Item = (u32, &[u8])> {
        self.runs.iter().map(|(offset, bytes)| (*offset, bytes.as_slice()))
    }

    /// The byte at an offset, where there is one.
    #[must_use]
    pub fn get(&self, offset: u32) -> Option<u8> {
        let (start, run) = self.runs.range(..=offset).next_back()?;
        run.get((offset - start) as usize).copied()
    }

    /// One past the last byte; 0 for an empty image.
    #[must_use]
    pub fn end(&self) -> u64 {
        self.runs.iter().next_back().map_or(0, |(start, run)| u64::from(*start) + run.len() as u64)
    }

    /// How many bytes it holds, gaps left out.
    #[must_use]
    pub fn len(&self) -> u64 {
        self.runs.values().map(|run| run.len() as u64).sum()
    }

    /// Whether it holds no byte.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.runs.is_empty()
    }

    /// The whole memory of `length` bytes, gaps filled with `fill`.
    ///
    /// # Errors
    /// The image ends past it.
    pub fn flatten(&self, length: u32, fill: u8) -> Result<Vec<u8>, Beyond> {
        if self.end() > u64::from(length) {
            return Err(Beyond { end: self.end(), length });
        }
        let mut memory = vec![fill; length as usize];
        for (offset, run) in self.runs() {
            memory[offset as usize..][..run.len()].copy_from_slice(run);
        }
        Ok(memory)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn neighbouring_runs_are_joined_in_any_order() {
        let pieces: [(u32, &[u8]); 3] = [(0, &[1, 2]), (2, &[3]), (3, &[4, 5])];
        for order in [[0, 1, 2], [0, 2, 1], [1, 0, 2], [1, 2, 0], [2, 0, 1], [2, 1, 0]] {
            let mut image = Image::new();
            for index in order {
                image.put(pieces[index].0, pieces[index].1).unwrap();
            }
            assert_eq!(image.runs().collect::<Vec<_>>(), [(0, [1, 2, 3, 4, 5].as_slice())], "{order:?}");
        }
    }

    #[test]
    fn every_overlap_is_refused_and_changes_nothing() {
        let image = Image::from_bytes(4, &[9; 4]).unwrap();
        for start in 0..12u32 {
            for length in 1..12usize {
                let mut changed = image.clone();
                let free = start + length as u32 <= 4 || start >= 8;
                let result = changed.put(start, &vec![7; length]);
                assert_eq!(result.is_ok(), free, "{start} {length}: {result:?}");
                if !free {
                    assert_eq!(result, Err(Refused::Overlap { offset: start.max(4) }));
                    assert_eq!(changed, image);
                }
            }
        }
    }

    #[test]
    fn the_last_offset_is_reached_and_not_passed() {
        let mut image = Image::new();
        assert_eq!(image.put(u32::MAX, &[1, 2]), Err(Refused::TooFar { end: (1 << 32) + 1 }));
        assert_eq!(image.put(u32::MAX, &[1]), Ok(()));
        assert_eq!(image.end(), 1 << 32);
        assert_eq!(image.flatten(16, 0xFF), Err(Beyond { end: 1 << 32, length: 16 }));
    }

    #[test]
    fn gaps_are_filled_when_flattened() {
        let mut image = Image::from_bytes(1, &[1]).unwrap();
        image.put(3, &[3]).unwrap();
        assert_eq!(image.flatten(5, 0xFF), Ok(vec![0xFF, 1, 0xFF, 3, 0xFF]));
        assert_eq!((image.len(), image.end(), image.get(3), image.get(2)), (2, 4, Some(3), None));
    }
}
