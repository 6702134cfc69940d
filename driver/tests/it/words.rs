//! What each error says: what is wrong, and the numbers.

use std::fmt::Display;

use pagewise_driver::{ChipsError, ChooseError, CommonError, Error, GeometryError, RecoveryError};

/// Holds the words of errors against what is expected, in whole.
fn say<E: Display>(told: &[(E, &str)]) {
    for (error, words) in told {
        assert_eq!(error.to_string(), *words);
    }
}

#[test]
fn of_a_driver_call() {
    say::<Error<&str>>(&[
        (
            Error::OutOfRange { offset: 0xFF0, length: 17, capacity: 4096 },
            "out of range: 17 bytes at offset 0x0ff0, capacity 4096 bytes",
        ),
        (Error::BufferTooSmall { needed: 3 }, "buffer or transfer limit too small: header and page need 3 bytes"),
        (
            Error::NotAligned { offset: 4, length: 7, unit: 8 },
            "not aligned: 7 bytes at offset 0x0004, units of 8 bytes",
        ),
        (Error::Unsupported, "the part has no such operation"),
        (Error::NotAnswering { source: "nack", safe_bytes: 5 }, "not answering, 5 bytes safe: \"nack\""),
        (
            Error::WriteProtected { offset: 0x20, safe_bytes: 6, source: "nack" },
            "write protected at offset 0x0020, 6 bytes safe: \"nack\"",
        ),
        (
            Error::WriteCycleOverrun { polls: 9, waited_us: 160, safe_bytes: 8 },
            "write cycle overrun: 9 polls, 160 us waited, 8 bytes safe",
        ),
        (
            Error::Verify { offset: 0x123, expected: 0x5A, found: 0xFF, safe_bytes: 2 },
            "verify: expected 0x5a, found 0xff at offset 0x0123, 2 bytes safe",
        ),
        (Error::Bus { source: "arbitration", safe_bytes: 1 }, "bus error, 1 bytes safe: \"arbitration\""),
        (Error::WriteProtectPin { safe_bytes: 4 }, "write-protect pin could not be driven, 4 bytes safe"),
        (Error::OutOfStep, "driver out of step with its plan"),
    ]);
}

#[test]
fn of_a_geometry() {
    let told = [
        (GeometryError::CapacityZero, "the capacity is zero"),
        (
            GeometryError::Page { page_bytes: 24, capacity_bytes: 2048 },
            "the page must be a power of two and the capacity a whole number of pages: page 24 bytes, capacity 2048 bytes",
        ),
        (
            GeometryError::PageBeyondBlock { page_bytes: 512, block_bytes: 256 },
            "the page is larger than what the word-address bytes can count through: page 512 bytes, word address counts \
             256 bytes",
        ),
        (GeometryError::WordAddressBytes { found: 4 }, "more than three word-address bytes: 4"),
        (
            GeometryError::DeviceAddress { found: 0xA0 },
            "the device address has more than seven bits; shift an 8-bit address right: 0xa0",
        ),
        (
            GeometryError::BlockSelectRange { bits: 5, shift: 3 },
            "the block-select bits do not fit the device address: 5 bits at shift 3",
        ),
        (
            GeometryError::BlockSelectCollision { device_address: 0x51, mask: 0x07 },
            "a block-select bit is set in the device address: device address 0x51, block-select mask 0x07",
        ),
        (
            GeometryError::CapacityUnreachable { capacity_bytes: 512, reach_bytes: 256 },
            "word-address bytes and block-select bits cannot reach the capacity: capacity 512 bytes, reach 256 bytes",
        ),
        (
            GeometryError::BlockSelectUnneeded { capacity_bytes: 256, reach_without_bytes: 256 },
            "more block-select bits than the capacity needs: capacity 256 bytes, reach with one bit less 256 bytes",
        ),
        (
            GeometryError::ZeroByteShape { capacity_bytes: 256, device_address: 0x50, block_select_bits: 0 },
            "without word-address bytes: 128 bytes, device address 0, seven block-select bits, shift 0: 256 bytes, device \
             address 0x50, 0 bits",
        ),
        (
            GeometryError::SequentialRead { sequential_read_bytes: 96, capacity_bytes: 4096 },
            "the sequential-read block must be a power of two and the capacity a whole number of blocks: block 96 bytes, \
             capacity 4096 bytes",
        ),
    ];
    say(&told);
    // What the compiler says of a constant begins with the same words.
    for (error, words) in told {
        assert!(!error.message().is_empty() && words.starts_with(error.message()), "{words}");
    }
}

#[test]
fn of_a_common_geometry() {
    let page = GeometryError::Page { page_bytes: 48, capacity_bytes: 4096 };
    let told = [
        (CommonError::Empty, "no part was given"),
        (
            CommonError::WordAddressBytes { index: 3, first: 2, found: 1 },
            "the parts take different numbers of word-address bytes: part 0 takes 2, part 3 takes 1",
        ),
        (
            CommonError::DeviceAddress { index: 2, first: 0x50, found: 0x51 },
            "the parts have different device addresses: part 0 has 0x50, part 2 has 0x51",
        ),
        (
            CommonError::BlockSelect { index: 1, first: (0, 0), found: (1, 2) },
            "the parts have different block-select bits: part 0 has 0 at shift 0, part 1 has 1 at shift 2",
        ),
        (CommonError::Geometry(page), &page.to_string()),
    ];
    say(&told);
    for (error, words) in told {
        assert!(!error.message().is_empty() && words.starts_with(error.message()), "{words}");
    }
}

#[test]
fn of_several_chips() {
    say(&[
        (ChipsError::Empty, "no device address was given"),
        (
            ChipsError::Address { index: 2, error: GeometryError::WordAddressBytes { found: 4 } },
            "chip 2: more than three word-address bytes: 4",
        ),
        (
            ChipsError::SameAddress { first: 1, second: 3, device_address: 0x57 },
            "chips 1 and 3 have the same device address 0x57",
        ),
    ]);
}

#[test]
fn of_a_choice_at_run_time() {
    say(&[
        (
            ChooseError::OutOfRange { index: 3, offset: 0xFFE, length: 5, capacity: 4096 },
            "candidate 3: no record of 5 bytes at offset 0x0ffe, capacity 4096 bytes",
        ),
        (ChooseError::ScratchTooSmall { needed: 17 }, "scratch memory too small: 17 bytes needed"),
        (
            ChooseError::Ambiguous { first: 0, second: 2 },
            "candidates 0 and 2 both fit: their records cannot be told apart",
        ),
        (ChooseError::NoneFits { untried: 4 }, "no candidate fits, 4 not tried (longer header)"),
        (ChooseError::Bus("arbitration"), "bus error: \"arbitration\""),
    ]);
}

#[test]
fn of_a_bus_recovery() {
    say(&[
        (RecoveryError::Scl("stuck"), "SCL pin: \"stuck\""),
        (RecoveryError::Sda("stuck"), "SDA pin: \"stuck\""),
        (RecoveryError::StillLow, "SDA is low after nine clocks, START and STOP"),
    ]);
}

#[test]
#[cfg(feature = "records")]
fn of_records() {
    use pagewise_driver::records::{LayoutError, RecordError};
    let told = [
        (
            LayoutError::StartNotAtPage { offset: 0x21, page_bytes: 32 },
            "the records must start at the start of a page: offset 0x0021, page 32 bytes",
        ),
        (LayoutError::DuplicateId { id: 7 }, "two records have the same identity: 7"),
        (LayoutError::TooFewSlots { id: 7, slots: 2 }, "a record needs at least three slots: record 7 has 2"),
        (
            LayoutError::TooLarge { end: 4128, capacity_bytes: 4096 },
            "the records do not fit the part: end 4128, capacity 4096 bytes",
        ),
    ];
    say(&told);
    for (error, words) in told {
        assert!(!error.message().is_empty() && words.starts_with(error.message()), "{words}");
    }
    say(&[
        (RecordError::UnknownId { id: 9 }, "the layout has no record 9"),
        (RecordError::TooLong { length: 41, allowed: 40 }, "payload too long: 41 bytes, at most 40 bytes"),
        (RecordError::BufferTooSmall { needed: 53 }, "buffer too small: 53 bytes needed"),
        (RecordError::NotFound, "no intact slot"),
        (RecordError::NotACounter, "not a counter, or at its end"),
        (RecordError::Exhausted, "sequence number at its end"),
        (RecordError::Medium("bus"), "medium: \"bus\""),
    ]);
}
