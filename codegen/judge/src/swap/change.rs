//! What a finding asks to change: settings of the firmware, pins, the bus. All changes of all findings together make the
//! complete new state of a board.

use super::{Case, Finding};
use crate::board::{Board, Strap, Wait, WriteShape};

/// One change.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Change {
    /// The firmware's device address of block 0.
    DeviceAddress(u8),
    /// Word-address bytes that it sends.
    WordAddressBytes(u8),
    /// Block-select bits, and the place of the lowest of them.
    BlockSelect(u8, u8),
    /// Page at whose ends it cuts.
    PageBytes(u32),
    /// It waits, or polls, for at least so many microseconds.
    WaitUs(u32),
    /// It polls with a header-only write.
    PollByWrite,
    /// Header and data go in one write.
    OneBuffer,
    /// It cuts sequential reads at multiples of so many bytes.
    ReadCut(u32),
    /// It sends an address with every read.
    AddressWithEveryRead,
    /// First access so many microseconds after power good.
    FirstAccessUs(u32),
    /// SCL rate in kHz.
    SclKhz(u32),
    /// What an address pin is tied to.
    Strap(u8, Strap),
    /// What WP is tied to.
    Wp(Strap),
    /// Pull-up resistors in ohms.
    PullUpOhm(u32),
}

impl Change {
    /// The board with the change made.
    pub fn apply(self, board: &mut Board) {
        let firmware = &mut board.firmware;
        match self {
            Self::DeviceAddress(address) => firmware.device_address = address,
            Self::WordAddressBytes(bytes) => {
                firmware.word_address_bytes = bytes;
                // A transfer must leave room for data.
                firmware.max_transfer_bytes = firmware.max_transfer_bytes.map(|most| most.max(u32::from(bytes) + 1));
            }
            Self::BlockSelect(bits, shift) => (firmware.block_select_bits, firmware.block_select_shift) = (bits, shift),
            Self::PageBytes(bytes) => firmware.page_bytes = bytes,
            Self::WaitUs(least) => {
                let (Wait::Poll { limit_us: us } | Wait::PollByRead { limit_us: us } | Wait::Fixed { us }) =
                    &mut firmware.wait;
                *us = (*us).max(least);
            }
            Self::PollByWrite => {
                if let Wait::PollByRead { limit_us } = firmware.wait {
                    firmware.wait = Wait::Poll { limit_us };
                }
            }
            Self::OneBuffer => firmware.write_shape = WriteShape::OneBuffer,
            Self::ReadCut(bytes) => firmware.read_cut_bytes = Some(bytes),
            Self::AddressWithEveryRead => firmware.reads_on_after_write = false,
            Self::FirstAccessUs(us) => firmware.first_access_us = Some(us),
            Self::SclKhz(khz) => board.bus.scl_khz = khz,
            Self::Strap(pin, strap) => board.straps[usize::from(pin)] = strap,
            Self::Wp(strap) => board.wp = strap,
            Self::PullUpOhm(ohm) => board.bus.pull_up_ohm = ohm,
        }
    }
}

/// Rounds of changes after which nothing new comes up: a strap moves the address, which moves the block bits.
const ROUNDS: usize = 8;

/// A board with all changes made.
pub(super) struct Complete {
    pub(super) board: Board,
    /// What no run shows and only the changes bring up: a slower SCL rate needs larger pull-ups.
    pub(super) brought_up: Vec<Finding>,
}

/// The board with all that the rules ask for, until they ask for nothing more that a change could give; `None` where
/// something else remains that a run would show. `rules` finds what is stated against a board.
pub(super) fn complete<'a>(case: &Case<'a>, rules: impl Fn(&Case<'_>) -> Vec<Finding>) -> Option<Complete> {
    let mut board = case.board.clone();
    let mut first: Option<Vec<&'static str>> = None;
    let mut brought_up: Vec<Finding> = Vec::new();
    for _ in 0..ROUNDS {
        let findings = rules(&Case { board: &board, ..case.clone() });
        let known = first.get_or_insert_with(|| findings.iter().map(|finding| finding.rule).collect());
        for finding in findings.iter().filter(|finding| finding.asks() && !finding.simulated) {
            if !known.contains(&finding.rule) {
                known.push(finding.rule);
                brought_up.push(finding.clone());
            }
        }
        let mut next = board.clone();
        findings.iter().flat_map(|finding| &finding.changes).for_each(|change| change.apply(&mut next));
        if next == board {
            let sound = findings.iter().all(|finding| !finding.asks() || !finding.simulated);
            return sound.then_some(Complete { board, brought_up });
        }
        board = next;
    }
    None
}
