//! The memory picture: rows of 16 bytes around the damage, meant above found.

use schemars::JsonSchema;
use serde::Serialize;

/// Bytes in a row.
const ROW: u32 = 16;

/// Sixteen bytes of a part.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Row {
    /// Offset of the first.
    pub offset: u32,
    /// What should be there; `None` where nobody minds.
    pub meant: Vec<Option<u8>>,
    /// What is there, or what was read; `None` beyond the part or where nothing was read.
    pub found: Vec<Option<u8>>,
}

impl Row {
    /// Whether byte `at` of the row is lost.
    #[must_use]
    pub fn lost(&self, at: usize) -> bool {
        self.meant[at].is_some() && self.meant[at] != self.found[at]
    }

    /// Three lines: meant, found, and a mark below each lost byte. Without colour.
    #[must_use]
    pub fn lines(&self) -> [String; 3] {
        let bytes = |bytes: &[Option<u8>], none: &str| -> String {
            bytes.iter().map(|byte| byte.map_or_else(|| format!(" {none}"), |byte| format!(" {byte:02X}"))).collect()
        };
        let marks: String = (0..self.meant.len()).map(|at| if self.lost(at) { " ^^" } else { "   " }).collect();
        [
            format!("0x{:05X}  meant {}", self.offset, bytes(&self.meant, "..")),
            format!("         found {}", bytes(&self.found, "--")),
            format!("               {}", marks.trim_end()).trim_end().to_owned(),
        ]
    }
}

/// The rows that hold lost bytes. `meant` and `found` are asked byte by byte.
#[must_use]
pub fn rows(
    offsets: impl Iterator<Item = u32>,
    meant: impl Fn(u32) -> Option<u8>,
    found: impl Fn(u32) -> Option<u8>,
) -> Vec<Row> {
    let mut starts: Vec<u32> = offsets.map(|offset| offset / ROW * ROW).collect();
    starts.sort_unstable();
    starts.dedup();
    let row = |offset: u32| Row {
        offset,
        meant: (offset..offset + ROW).map(&meant).collect(),
        found: (offset..offset + ROW).map(&found).collect(),
    };
    starts.into_iter().map(row).filter(|row| (0..ROW as usize).any(|at| row.lost(at))).collect()
}
