//! The memory array, in chunks that forks share until one of them writes.

use alloc::sync::Arc;
use alloc::vec::Vec;

const CHUNK: usize = 256;

/// Bytes by offset; offsets are the caller's to keep below the length.
#[derive(Debug, Clone)]
pub(crate) struct Array {
    chunks: Vec<Arc<[u8; CHUNK]>>,
    len: usize,
}

impl Array {
    pub(crate) fn erased(len: u32) -> Self {
        let len = len as usize;
        Self { chunks: alloc::vec![Arc::new([0xFF; CHUNK]); len.div_ceil(CHUNK)], len }
    }

    pub(crate) fn len(&self) -> usize {
        self.len
    }

    pub(crate) fn get(&self, offset: u32) -> u8 {
        let offset = offset as usize;
        self.chunks[offset / CHUNK][offset % CHUNK]
    }

    pub(crate) fn set(&mut self, offset: u32, byte: u8) {
        let offset = offset as usize;
        Arc::make_mut(&mut self.chunks[offset / CHUNK])[offset % CHUNK] = byte;
    }

    /// Copies from `offset` on; the range must lie inside.
    pub(crate) fn read(&self, offset: u32, into: &mut [u8]) {
        let (mut at, mut done) = (offset as usize, 0);
        while done < into.len() {
            let within = at % CHUNK;
            let n = (CHUNK - within).min(into.len() - done);
            into[done..done + n].copy_from_slice(&self.chunks[at / CHUNK][within..within + n]);
            at += n;
            done += n;
        }
    }

    /// Copies `bytes` to `offset` on; the range must lie inside.
    pub(crate) fn write(&mut self, offset: u32, bytes: &[u8]) {
        let (mut at, mut done) = (offset as usize, 0);
        while done < bytes.len() {
            let within = at % CHUNK;
            let n = (CHUNK - within).min(bytes.len() - done);
            let piece = &bytes[done..done + n];
            match <&[u8; CHUNK]>::try_from(piece) {
                // Most of a memory is the same all over, and is held once.
                Ok(whole) => {
                    let before = (at / CHUNK).checked_sub(1).map(|before| &self.chunks[before]);
                    let alike = before.filter(|before| ***before == *whole).cloned();
                    self.chunks[at / CHUNK] = alike.unwrap_or_else(|| Arc::new(*whole));
                }
                Err(_) => {
                    Arc::make_mut(&mut self.chunks[at / CHUNK])[within..within + n].copy_from_slice(piece);
                }
            }
            at += n;
            done += n;
        }
    }

    /// Whether it holds just these bytes.
    pub(crate) fn holds(&self, bytes: &[u8]) -> bool {
        let alike = |(chunk, bytes): (&Arc<[u8; CHUNK]>, &[u8])| chunk[..bytes.len()] == *bytes;
        bytes.len() == self.len && self.chunks.iter().zip(bytes.chunks(CHUNK)).all(alike)
    }

    pub(crate) fn to_vec(&self) -> Vec<u8> {
        let mut all = alloc::vec![0; self.len];
        self.read(0, &mut all);
        all
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fork_does_not_see_later_writes() {
        let mut array = Array::erased(1024);
        array.write(250, &[1, 2, 3, 4, 5, 6, 7, 8]);
        let fork = array.clone();
        array.set(250, 9);
        assert_eq!((fork.get(250), array.get(250)), (1, 9));
        let mut back = [0; 8];
        fork.read(250, &mut back);
        assert_eq!(back, [1, 2, 3, 4, 5, 6, 7, 8]);
    }

    #[test]
    fn an_array_holds_its_own_bytes_and_no_others() {
        for len in [1, 255, 256, 257, 1000] {
            let mut array = Array::erased(len);
            array.set(len - 1, 7);
            let mut bytes = array.to_vec();
            assert!(array.holds(&bytes));
            assert!(!array.holds(&bytes[1..]) && !array.holds(&[bytes.as_slice(), &[0xFF]].concat()));
            for at in [0, len as usize / 2, len as usize - 1] {
                bytes[at] ^= 1;
                assert!(!array.holds(&bytes), "{len} {at}");
                bytes[at] ^= 1;
            }
        }
    }

    #[test]
    fn chunks_that_are_alike_are_held_once_and_written_apart() {
        let mut array = Array::erased(1024);
        array.write(0, &[7; 1024]);
        assert!(array.chunks.windows(2).all(|pair| Arc::ptr_eq(&pair[0], &pair[1])));
        array.set(600, 8);
        assert_eq!([array.get(344), array.get(600), array.get(856)], [7, 8, 7]);
    }
}
