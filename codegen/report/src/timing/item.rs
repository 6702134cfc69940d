//! What stands on a timing picture.

/// One thing on the bus.
#[derive(Debug, Clone)]
pub(super) struct Item {
    pub(super) at_ns: u64,
    pub(super) kind: ItemKind,
    /// What it is for: `word address`.
    pub(super) role: String,
    /// What a chip noted there.
    pub(super) note: Option<String>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum ItemKind {
    Start {
        repeated: bool,
    },
    Byte {
        value: u8,
        acked: bool,
        from_chip: bool,
        address: bool,
    },
    Stop,
    /// So many bytes that are not drawn.
    Gap(usize),
}
