//! What the ledger wants at each offset.

use alloc::collections::BTreeMap;

/// Bytes of [`Expected`] that are kept together.
const TOGETHER: usize = 64;

/// What the ledger wants at each offset; later entries stand above earlier ones.
#[derive(Default)]
pub(super) struct Expected(BTreeMap<u32, [Option<u8>; TOGETHER]>);

impl Expected {
    /// These bytes are meant for `offset` on.
    pub(super) fn mean(&mut self, mut offset: u32, mut bytes: &[u8]) {
        while !bytes.is_empty() {
            let within = offset as usize % TOGETHER;
            let (now, later) = bytes.split_at(bytes.len().min(TOGETHER - within));
            let kept = self.0.entry(offset / TOGETHER as u32).or_insert([None; TOGETHER]);
            for (place, byte) in kept[within..].iter_mut().zip(now) {
                *place = Some(*byte);
            }
            (offset, bytes) = (offset.wrapping_add(now.len() as u32), later);
        }
    }

    /// In order of offset.
    pub(super) fn bytes(&self) -> impl Iterator<Item = (u32, u8)> {
        self.0.iter().flat_map(|(at, kept)| {
            let first = at * TOGETHER as u32;
            kept.iter().enumerate().filter_map(move |(i, byte)| byte.map(|byte| (first + i as u32, byte)))
        })
    }
}
