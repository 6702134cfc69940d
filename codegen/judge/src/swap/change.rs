//! What a finding asks to change: settings of the firmware, pins, the bus. All changes of all findings together make the
//! complete new state of a board.

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
