//! What was measured, what was not, and what cannot be measured here.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::place::Window;
use pagewise_part::card::{Answer, BlockBitsOnRead, Busy, Pointer};

/// What is known of one property.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Outcome<T> {
    /// Shown on this sample.
    Measured(T),
    /// It could have been, and was not: why.
    NotMeasured(String),
    /// Nothing that this bus can do shows it: why.
    NotMeasurable(String),
}

impl<T> Outcome<T> {
    pub(crate) fn not(why: impl Into<String>) -> Self {
        Self::NotMeasured(why.into())
    }

    pub(crate) fn cannot(why: impl Into<String>) -> Self {
        Self::NotMeasurable(why.into())
    }

    /// The value, if there is one.
    pub const fn value(&self) -> Option<&T> {
        match self {
            Self::Measured(value) => Some(value),
            Self::NotMeasured(_) | Self::NotMeasurable(_) => None,
        }
    }
}

/// What a device-address bit does, as far as a bus can show it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, JsonSchema, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum BitRole {
    /// Another value is answered by nobody, or by another device: fixed, or compared with a pin.
    Compared,
    /// Either value means the same byte.
    Ignored,
    /// It chooses another part of the array.
    Block,
    /// The address with the other value is reserved, and was not asked.
    NotAsked,
}

/// A page, as far as the scratch range shows it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, JsonSchema, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Page {
    /// More bytes than these wrapped inside so many.
    Exactly(u32),
    /// So many went in without a wrap.
    AtLeast(u32),
}

/// Times between the end of a write and the part's answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, JsonSchema, Serialize, Deserialize)]
pub struct Times {
    /// Writes.
    pub writes: u32,
    /// Shortest, in microseconds; each as late as the answer that ended it.
    pub min_us: u64,
    /// The middle one.
    pub median_us: u64,
    /// Longest.
    pub max_us: u64,
    /// Each may have been shorter by so much.
    pub resolution_us: u64,
    /// Bytes of each write.
    pub bytes: u32,
}

/// What a part answered inside a write cycle.
#[derive(Debug, Clone, Copy, PartialEq, Eq, JsonSchema, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct WhileBusy {
    /// It refuses the address of the write, R/W = 0.
    pub refuses_write: bool,
    /// It refuses the same address with R/W = 1.
    pub refuses_read: bool,
    /// It refuses another address of its own with R/W = 0; absent where it has none.
    pub refuses_other_address: Option<bool>,
}

impl WhileBusy {
    /// The same in the word of a card, where it decides.
    #[must_use]
    pub const fn word(self) -> Option<Busy> {
        match (self.refuses_read, self.refuses_other_address) {
            (true, None | Some(true)) => Some(Busy::AnyAccess),
            (false, Some(true)) => Some(Busy::WritesOnly),
            (false, Some(false)) => Some(Busy::SameControlByte),
            (false, None) | (true, Some(false)) => None,
        }
    }
}

/// A range of the array.
#[derive(Debug, Clone, Copy, PartialEq, Eq, JsonSchema, Serialize, Deserialize)]
pub struct Stretch {
    /// First byte.
    pub start: u32,
    /// Bytes.
    pub bytes: u32,
}

/// What the WP pin did, moved by hand.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize, Deserialize)]
pub struct Protection {
    /// The level at which a write to the scratch range was not stored; absent where it was stored at both.
    pub active_high: Option<bool>,
    /// How such a write was answered.
    pub answer: Option<Answer>,
    /// What was protected of the array that the main address reaches, an eighth at a time; absent where answers do not
    /// tell.
    pub protected: Option<Vec<Stretch>>,
}

/// Something else that answers.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize, Deserialize)]
pub struct Beside {
    /// Device address.
    pub address: u8,
    /// Its first bytes, read from wherever its pointer stood.
    pub reads: Vec<u8>,
}

/// Everything about one sample.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize, Deserialize)]
pub struct Facts {
    /// The device address that was measured.
    pub address: u8,
    /// Device addresses that answered a read of one byte.
    pub answers: Vec<u8>,
    /// What answers beside the array, as far as it is known not to belong to it: another device, or a second region.
    pub beside: Vec<Beside>,
    /// Contents read on and on repeat after so many bytes. That is what the part holds, not what it is.
    pub period: Outcome<u32>,
    /// Word-address bytes.
    pub width: Outcome<u8>,
    /// What each device-address bit does, bit 6 first.
    pub device_bits: Outcome<[BitRole; 7]>,
    /// Bytes reached over word address and device address.
    pub capacity: Outcome<u32>,
    /// Page.
    pub page: Outcome<Page>,
    /// More bytes than a page wrap inside it, and the last ones win.
    pub page_wrap: Outcome<bool>,
    /// Behind writes of one byte.
    pub byte_cycle: Outcome<Times>,
    /// Behind writes of a page.
    pub page_cycle: Outcome<Times>,
    /// Answers inside a write cycle.
    pub busy: Outcome<WhileBusy>,
    /// Pointer after a write to the last byte of a page.
    pub pointer: Outcome<Pointer>,
    /// Block bits of a read's device address.
    pub read_block_bits: Outcome<BlockBitsOnRead>,
    /// A read comes back to its first byte after so many.
    pub read_wrap: Outcome<u32>,
    /// Write protection by the pin.
    pub protection: Outcome<Protection>,
    /// Transactions that stored something, or tried to.
    pub writes: u64,
}

impl Facts {
    /// Nothing is known but who answers; `why` is the reason for all the rest.
    pub(crate) fn none(address: u8, answers: Vec<u8>, why: &str) -> Self {
        Self {
            address,
            answers,
            beside: Vec::new(),
            period: Outcome::not(why),
            width: Outcome::not(why),
            device_bits: Outcome::not(why),
            capacity: Outcome::not(why),
            page: Outcome::not(why),
            page_wrap: Outcome::not(why),
            byte_cycle: Outcome::not(why),
            page_cycle: Outcome::not(why),
            busy: Outcome::not(why),
            pointer: Outcome::not(why),
            read_block_bits: Outcome::not(why),
            read_wrap: Outcome::not(why),
            protection: Outcome::not(why),
            writes: 0,
        }
    }

    /// Where the array is, once its word-address bytes are known.
    #[must_use]
    pub fn window(&self) -> Option<Window> {
        self.width.value().map(|width| Window { device: self.address, width: *width })
    }
}
