//! Real HALs and bus drivers by name, as their sources and bug reports describe them.
//!
//! The facts hold for the versions that were examined when the table was made; each preset says where it comes from.

use crate::bus::quirks::{AdjacentWrites, Cancelled, DirectionChange, NackKind, OverLimit, Quirks, ZeroLength};

/// A row of the table of HAL semantics.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Preset {
    /// Short name, for tables and test output.
    pub name: &'static str,
    /// What it does, in a sentence.
    pub what: &'static str,
    /// Where that is written.
    pub source: &'static str,
    /// The same as quirks of [`crate::RigBus`] and [`crate::BusLayer`].
    pub quirks: Quirks,
}

const EXACT: Quirks = Quirks {
    nack: NackKind::Exact,
    adjacent_writes: AdjacentWrites::Joined,
    zero_length: ZeroLength::Sent,
    max_transfer: None,
    over_limit: OverLimit::Refuse,
    empty_list_fails: false,
    one_read_last: false,
    direction_change: DirectionChange::RepeatedStart,
    read_length_is_u16: false,
    busy_every: 0,
    early_return_ns: 0,
    cancelled: Cancelled::StopSent,
};

const fn preset(name: &'static str, what: &'static str, source: &'static str, quirks: Quirks) -> Preset {
    Preset { name, what, source, quirks }
}

impl Preset {
    /// Every row.
    pub const ALL: [Self; 27] = [
        preset("contract", "keeps the contract of embedded-hal", "embedded-hal src/i2c.rs", EXACT),
        preset(
            "zero-length-refused",
            "a transfer without bytes is an error of kind Other",
            "rp-rs/rp-hal #678, #679; embassy-rs/embassy #4474",
            Quirks { zero_length: ZeroLength::Refused, ..EXACT },
        ),
        preset(
            "zero-length-hung",
            "a transfer without bytes waits for ever",
            "embassy-rp src/i2c.rs; embassy-rs/embassy #5851; Rahix/avr-hal #681, #622",
            Quirks { zero_length: ZeroLength::Hung, ..EXACT },
        ),
        preset(
            "empty-list-ok-zero-length-refused",
            "an empty list is a success, a transfer without bytes an error",
            "embassy-rs/embassy #2298, #6353",
            Quirks { zero_length: ZeroLength::Refused, nack: NackKind::Unknown, ..EXACT },
        ),
        preset(
            "zero-length-reads-ignored",
            "a read without bytes is a success without bus traffic: a false ready",
            "esp-rs/esp-hal src/i2c/master/mod.rs, #2028",
            Quirks { zero_length: ZeroLength::ReadsIgnored, ..EXACT },
        ),
        preset(
            "zero-length-ignored",
            "any transfer without bytes is a success without bus traffic",
            "rust-embedded/embedded-hal #570",
            Quirks { zero_length: ZeroLength::Ignored, ..EXACT },
        ),
        preset(
            "linux-no-zero-length",
            "a transfer without bytes is refused, an empty list is an error of kind Bus",
            "torvalds/linux i2c-core-base.c, i2c-designware-master.c; linux-embedded-hal src/i2c.rs",
            Quirks {
                zero_length: ZeroLength::Refused,
                empty_list_fails: true,
                nack: NackKind::Other,
                max_transfer: Some(8192),
                over_limit: OverLimit::RefuseAsBus,
                ..EXACT
            },
        ),
        preset(
            "adjacent-writes-restart",
            "a repeated START and the device address between two adjacent writes",
            "golemparts/rppal #171; rp-rs/rp-hal #825; rust-embedded/linux-embedded-hal #82; embassy-rs/embassy #651",
            Quirks { adjacent_writes: AdjacentWrites::Restart, ..EXACT },
        ),
        preset(
            "adjacent-writes-stop",
            "STOP, START and the device address between two adjacent writes",
            "atsamd-rs/atsamd #740; esp-rs/esp-hal #2028; OpenDevicePartnership/embassy-imxrt #510",
            Quirks { adjacent_writes: AdjacentWrites::StopBetween, ..EXACT },
        ),
        preset(
            "adjacent-writes-refused",
            "two adjacent writes are an error of kind Other",
            "rust-embedded/linux-embedded-hal #121",
            Quirks { adjacent_writes: AdjacentWrites::Refused, ..EXACT },
        ),
        preset(
            "linux-one-read-last",
            "one read per transaction and only last; adjacent writes restarted; NACK is Other",
            "torvalds/linux i2c-bcm2835.c; WMT-GmbH/pn532 #19",
            Quirks {
                one_read_last: true,
                adjacent_writes: AdjacentWrites::Restart,
                nack: NackKind::Other,
                empty_list_fails: true,
                max_transfer: Some(8192),
                over_limit: OverLimit::RefuseAsBus,
                ..EXACT
            },
        ),
        preset(
            "direction-change-stop",
            "STOP and START between a write and a read",
            "atsamd-rs/atsamd #782",
            Quirks { direction_change: DirectionChange::StopStart, ..EXACT },
        ),
        preset(
            "nack-address",
            "every missing acknowledge is NoAcknowledge(Address)",
            "rust-embedded/embedded-hal #316",
            Quirks { nack: NackKind::Address, ..EXACT },
        ),
        preset(
            "nack-data",
            "every missing acknowledge is NoAcknowledge(Data)",
            "rust-embedded/embedded-hal #316; linux-embedded-hal #74",
            Quirks { nack: NackKind::Data, ..EXACT },
        ),
        preset(
            "nack-unknown",
            "every missing acknowledge is NoAcknowledge(Unknown)",
            "embassy-stm32 src/i2c/v2.rs; esp-rs/esp-hal #2814",
            Quirks { nack: NackKind::Unknown, ..EXACT },
        ),
        preset(
            "nack-data-as-other",
            "only a device address that is not acknowledged is NoAcknowledge, a data byte is Other",
            "embassy-rp src/i2c.rs",
            Quirks { nack: NackKind::DataAsOther, zero_length: ZeroLength::Refused, ..EXACT },
        ),
        preset(
            "nack-other",
            "every missing acknowledge is Other",
            "torvalds/linux i2c-bcm2835.c; gassajor000/pn532pi #29",
            Quirks { nack: NackKind::Other, ..EXACT },
        ),
        preset(
            "nack-bus",
            "every missing acknowledge is Bus",
            "linux-embedded-hal src/i2c.rs",
            Quirks { nack: NackKind::Bus, ..EXACT },
        ),
        preset(
            "shared-bus-busy",
            "every third call finds the bus taken, kind Other",
            "embedded-hal-bus src/i2c/atomic.rs",
            Quirks { busy_every: 3, ..EXACT },
        ),
        preset(
            "limit-255-refused",
            "at most 255 bytes in one direction",
            "embassy-nrf src/twim.rs; embassy-rs/embassy #651; stm32-rs/stm32h5xx-hal #46",
            Quirks { max_transfer: Some(255), ..EXACT },
        ),
        preset(
            "limit-255-restart",
            "a repeated START after each 255 bytes",
            "zephyrproject-rtos/zephyr #43235",
            Quirks { max_transfer: Some(255), over_limit: OverLimit::SplitRestart, ..EXACT },
        ),
        preset(
            "limit-32-restart",
            "a repeated START after each 32 bytes",
            "esp-rs/esp-hal #2174",
            Quirks { max_transfer: Some(32), over_limit: OverLimit::SplitRestart, ..EXACT },
        ),
        preset(
            "limit-32-stop",
            "STOP after each 32 bytes: a page write that is split starts its write cycle early",
            "espressif/arduino-esp32 #246",
            Quirks { max_transfer: Some(32), over_limit: OverLimit::SplitStop, ..EXACT },
        ),
        preset(
            "limit-254-stop",
            "STOP after each 254 bytes",
            "esp-rs/esp-hal src/i2c/master/mod.rs, #2174",
            Quirks { max_transfer: Some(254), over_limit: OverLimit::SplitStop, ..EXACT },
        ),
        preset(
            "read-length-16-bit",
            "a read of 65536 bytes reads none and succeeds",
            "rust-i2cdev src/ffi.rs, src/linux.rs",
            Quirks { read_length_is_u16: true, ..EXACT },
        ),
        preset(
            "early-return",
            "calls return 20 us before STOP is on the wire",
            "stm32-rs/stm32h7xx-hal #401; embassy-rs/embassy #6473",
            Quirks { early_return_ns: 20_000, ..EXACT },
        ),
        preset(
            "cancelled-hangs",
            "a dropped future leaves the controller hanging",
            "esp-rs/esp-hal #3572; OpenDevicePartnership/embassy-imxrt #367",
            Quirks { cancelled: Cancelled::Hung, ..EXACT },
        ),
    ];

    /// The preset of this name.
    #[must_use]
    pub fn by_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|preset| preset.name == name)
    }
}
