//! What differs between a board as it is and the same board as a candidate needs it.

use std::fmt;

use schemars::JsonSchema;
use serde::Serialize;

use crate::board::{Board, Strap, Wait, WriteShape};

/// One setting that changes, or pin.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Setting {
    /// Which.
    pub what: &'static str,
    /// As it is, in words.
    pub now: String,
    /// As it must be, in words.
    pub then: String,
}

impl fmt::Display for Setting {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {} (now {})", self.what, self.then, self.now)
    }
}

/// Every setting and strap that changes.
#[must_use]
pub fn between(now: &Board, then: &Board) -> Vec<Setting> {
    let mut changes = Vec::new();
    // Most candidates change nothing, and words cost more than the comparison.
    if now == then {
        return changes;
    }
    let mut line = |what: &'static str, say: &dyn Fn(&Board) -> String| {
        let (now, then) = (say(now), say(then));
        if now != then {
            changes.push(Setting { what, now, then });
        }
    };
    line("page of the firmware", &|board| format!("{} bytes", board.firmware.page_bytes));
    line("word-address bytes", &|board| board.firmware.word_address_bytes.to_string());
    line("device address", &|board| format!("{:#04x}", board.firmware.device_address));
    line("block-select bits", &|board| match board.firmware.block_select_bits {
        0 => "none".to_owned(),
        bits => format!("{bits}, from bit {} of the device address", board.firmware.block_select_shift),
    });
    line("wait for the write cycle", &|board| wait(board.firmware.wait));
    line("longest transfer", &|board| bytes(board.firmware.max_transfer_bytes));
    line("shape of a write", &|board| shape(board.firmware.write_shape).to_owned());
    line("sequential reads are cut at", &|board| bytes(board.firmware.read_cut_bytes));
    line("reads on after a write without an address", &|board| yes(board.firmware.reads_on_after_write));
    line("first access after power good", &|board| {
        board.firmware.first_access_us.map_or_else(|| "unknown".to_owned(), |us| format!("{us} us"))
    });
    line("pull-ups", &|board| format!("{} ohm", board.bus.pull_up_ohm));
    line("SCL rate", &|board| format!("{} kHz", board.bus.scl_khz));
    line("strap A0", &|board| strap(board.straps[0]));
    line("strap A1", &|board| strap(board.straps[1]));
    line("strap A2", &|board| strap(board.straps[2]));
    line("strap WP", &|board| strap(board.wp));
    changes
}

fn strap(strap: Strap) -> String {
    strap.word().to_owned()
}

fn yes(flag: bool) -> String {
    if flag { "yes" } else { "no" }.to_owned()
}

fn bytes(limit: Option<u32>) -> String {
    limit.map_or_else(|| "not limited".to_owned(), |limit| format!("{limit} bytes"))
}

fn wait(wait: Wait) -> String {
    let ms = |us: u32| f64::from(us) / 1000.0;
    match wait {
        Wait::Poll { limit_us } => format!("acknowledge polling, up to {} ms", ms(limit_us)),
        Wait::PollByRead { limit_us } => format!("polling by a read, up to {} ms", ms(limit_us)),
        Wait::Fixed { us } => format!("fixed, {} ms", ms(us)),
    }
}

const fn shape(shape: WriteShape) -> &'static str {
    match shape {
        WriteShape::OneBuffer => "header and data in one buffer",
        WriteShape::TwoJoined => "two writes that the bus layer joins",
        WriteShape::TwoRestarted => "two writes with a repeated START between them",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::board;

    #[test]
    fn only_what_changes_is_listed() {
        let file = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/boards/valve-driver.toml");
        let now = board::read(&file).unwrap();
        assert_eq!(between(&now, &now), []);
        let mut then = now.clone();
        then.firmware.page_bytes = 32;
        then.straps[1] = Strap::Vcc;
        let changed: Vec<_> = between(&now, &then).into_iter().map(|line| (line.what, line.now, line.then)).collect();
        let text = str::to_owned;
        assert_eq!(
            changed,
            [("page of the firmware", text("64 bytes"), text("32 bytes")), ("strap A1", text("gnd"), text("vcc"))]
        );
    }
}
