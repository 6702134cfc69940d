//! What a client and the session say to each other, and where they find each other.
//!
//! An open file of the device is a connection to the session's socket: the kernel then copies, inherits and closes it as
//! it does with any file, through `dup`, `fork` and `exec`. A request is a message on that connection; it brings a file in
//! memory, in which the request stands and the answer will, and a socket on which one byte says that the answer is there.
//! So requests of any number of threads and processes on one open file do not mix.

use serde::{Deserialize, Serialize};

/// Environment variable with the folder of the session.
pub const VARIABLE: &str = "PAGEWISE_SESSION";
/// The session's socket, in its folder.
pub const SOCKET: &str = "bus";
/// The device's path as text, in the same folder.
pub const DEVICE: &str = "device";
/// The clock, in the same folder; absent where the host's own clock counts.
pub const CLOCK: &str = "clock";

/// Numbers in the file of the clock: 64 bits each, in the order of this machine, by place.
pub mod clock {
    /// Virtual time of the bus in nanoseconds; the session writes it.
    pub const BUS: usize = 0;
    /// The latest time that a sleep, or a look at the clock, of a client has reached; clients write it. Time is the later
    /// of the two.
    pub const CLIENTS: usize = 1;
    /// When the supply is lost: whoever gets there is dead.
    pub const CUT: usize = 2;
    /// What the host's clocks showed when virtual time began, in nanoseconds: that of the calendar, the monotonic one, and
    /// the one that goes on in sleep.
    pub const REALTIME: usize = 3;
    /// As before.
    pub const MONOTONIC: usize = 4;
    /// As before.
    pub const BOOTTIME: usize = 5;
    /// Bytes of the file.
    pub const LEN: usize = 6 * 8;
}

/// The most bytes of an SMBus block.
pub const BLOCK_MAX: usize = 32;

/// One message of the kernel's I2C layer.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Message {
    /// 7-bit device address.
    pub address: u8,
    /// Direction and bytes.
    pub kind: Kind,
    /// No START and no device address before it: the bytes go on where the message before ended.
    pub glued: bool,
}

/// Direction and bytes of a message.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub enum Kind {
    /// Bytes to the chips.
    Write(Vec<u8>),
    /// Bytes from the chips; replaced by what came.
    Read(Vec<u8>),
    /// An SMBus block: its first byte tells how many follow (1 to 32). Replaced by what came, length first.
    ReadBlock(Vec<u8>),
}

impl Message {
    /// A message with bytes to the chips.
    #[must_use]
    pub const fn write(address: u8, bytes: Vec<u8>) -> Self {
        Self { address, kind: Kind::Write(bytes), glued: false }
    }

    /// A message for bytes from the chips.
    #[must_use]
    pub fn read(address: u8, len: usize) -> Self {
        Self { address, kind: Kind::Read(vec![0; len]), glued: false }
    }

    /// Whether bytes come from the chips.
    #[must_use]
    pub const fn reads(&self) -> bool {
        !matches!(self.kind, Kind::Write(_))
    }
}

/// A request.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Request {
    /// The process that asks.
    pub process: i32,
    /// Its thread.
    pub thread: i32,
    /// What it asks.
    pub ask: Ask,
}

/// What a client asks.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub enum Ask {
    /// The first on every connection that becomes an open file: with or without the right to read and to write.
    Open {
        /// May be read from.
        reads: bool,
        /// May be written to.
        writes: bool,
    },
    /// The device address for what follows on this file.
    Address(u8),
    /// The device address chosen before.
    WhichAddress,
    /// What the adapter can, as I2C_FUNCS says it.
    Functions,
    /// Messages of one transfer, from START to STOP.
    Transfer(Vec<Message>),
    /// `read` or `write` of a file: one message to the address chosen before.
    Plain(Kind),
    /// Memory goes into the images now.
    Store,
    /// Something that the user should know: it goes into the report.
    Tell(String),
}

/// What a client gets for an answer.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub enum Answer {
    /// Done.
    Done,
    /// A number.
    Number(u64),
    /// The messages of the transfer, with what was read.
    Messages(Vec<Message>),
    /// An error number of Linux.
    Failed(i32),
    /// The supply was lost: nothing of this board runs any longer, the client included.
    Dead,
}
