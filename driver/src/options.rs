//! What the bus and the firmware demand: transfer limits and how to wait for the write cycle.

use crate::geometry::Geometry;

/// How the driver waits for the end of a write cycle.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum Wait {
    /// Acknowledge polling: ask until the part answers. Fast, and needs a HAL that reports a missing ACK.
    Poll,
    /// Wait the longest write cycle plus the margin, always. For HALs that cannot report a missing ACK.
    ///
    /// What it cannot know: whether anything was there. If such a HAL drops a missing ACK altogether, a write to a part
    /// that is absent, unpowered or protected returns `Ok` with nothing stored; use `write_verified`. And a part that
    /// takes longer than its `write_cycle_us` and the margin loses the next access.
    Fixed,
}

/// Options of a driver, made by [`Options::new`] and the functions that change one of them.
///
/// ```
/// use pagewise_driver::{Options, Wait};
/// // A HAL that moves at most 255 bytes per call and reports a missing ACK as `ErrorKind::Other`.
/// const OPTIONS: Options = Options::new().with_max_transfer_bytes(255).with_other_is_nack(true);
/// assert_eq!(OPTIONS.wait, Wait::Poll);
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub struct Options {
    /// Most bytes that one call of the HAL may move, header included; `usize::MAX` for no limit.
    ///
    /// Some HALs split a longer read by themselves. A part without word-address bytes would answer each piece from the
    /// same address again, so no read of it is longer than its page until a limit is stated here (its capacity
    /// says that there is none).
    pub max_transfer_bytes: usize,
    /// Count an error of kind `Other` as a missing ACK. Some HALs report a busy part so; under the same bound.
    pub other_is_nack: bool,
    /// How to wait for the end of a write cycle.
    pub wait: Wait,
    /// What is added to the part's longest write cycle before the driver gives up polling (or, with [`Wait::Fixed`],
    /// stops waiting), in percent of it.
    pub margin_percent: u16,
    /// Pause between two polls in microseconds; 0 polls without a pause. The bus time of a poll comes on top.
    pub poll_interval_us: u32,
    /// Learn how long the part's write cycles take, wait that long once, and poll then. The bus is asked less often, and the
    /// end is found sooner: at 100 kHz half a poll after it on average, where a poll takes 0.11 ms.
    #[cfg(feature = "learning")]
    pub learning: bool,
    /// Write a page in parts where the driver's buffer is too small for it; each part takes a write cycle of its own, and the
    /// page wears as many times as fast. Without this such a buffer is [`Error::BufferTooSmall`](crate::Error).
    pub split_pages: bool,
    /// Return after the last page is sent, without waiting for its write cycle; the next call waits.
    pub lazy: bool,
}

impl Options {
    /// No transfer limit, acknowledge polling every 20 µs, margin 25 %, waiting for the last page too.
    pub const fn new() -> Self {
        Self {
            max_transfer_bytes: usize::MAX,
            other_is_nack: false,
            wait: Wait::Poll,
            margin_percent: 25,
            poll_interval_us: 20,
            #[cfg(feature = "learning")]
            learning: false,
            split_pages: false,
            lazy: false,
        }
    }

    /// Sets the most bytes that one call may move, header included.
    pub const fn with_max_transfer_bytes(mut self, bytes: usize) -> Self {
        self.max_transfer_bytes = bytes;
        self
    }

    /// Sets whether an error of kind `Other` counts as a missing ACK.
    pub const fn with_other_is_nack(mut self, yes: bool) -> Self {
        self.other_is_nack = yes;
        self
    }

    /// Sets how to wait for the end of a write cycle.
    pub const fn with_wait(mut self, wait: Wait) -> Self {
        self.wait = wait;
        self
    }

    /// Sets the margin on the write cycle, in percent.
    pub const fn with_margin_percent(mut self, percent: u16) -> Self {
        self.margin_percent = percent;
        self
    }

    /// Sets the pause between two polls, in microseconds.
    pub const fn with_poll_interval_us(mut self, us: u32) -> Self {
        self.poll_interval_us = us;
        self
    }

    /// Sets whether the driver learns how long write cycles take (feature `learning`).
    #[cfg(feature = "learning")]
    pub const fn with_learning(mut self, yes: bool) -> Self {
        self.learning = yes;
        self
    }

    /// Sets whether a buffer that is smaller than header and page is wanted.
    pub const fn with_split_pages(mut self, yes: bool) -> Self {
        self.split_pages = yes;
        self
    }

    /// Sets whether a write returns before its last write cycle is over.
    pub const fn with_lazy(mut self, yes: bool) -> Self {
        self.lazy = yes;
        self
    }
}

impl Default for Options {
    fn default() -> Self {
        Self::new()
    }
}

/// Shortest time, in microseconds, that a poll without an answer takes on a 1 MHz bus: START, nine clocks, STOP.
/// Bounds the polls where no pause is wanted.
pub(crate) const POLL_US_MIN: u32 = 10;

/// Geometry and options boiled down to what the planner needs, computed once.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Config {
    pub(crate) geometry: Geometry,
    /// Data bytes that one write may carry; at most as many as one read may.
    pub(crate) write_data_max: usize,
    /// Data bytes that one read may carry.
    pub(crate) read_data_max: usize,
    /// Pause between two polls, or the whole wait where there are none, in microseconds.
    pub(crate) pause_us: u32,
    /// Most polls that one wait may take.
    pub(crate) polls_max: u32,
    /// Bits of an offset of which one is set if the access there may ask for the end of a write before it: all of the
    /// word address, since where they are zero a new device address may begin; none without polling.
    pub(crate) ask_mask: u32,
    pub(crate) wait: Wait,
    #[cfg(feature = "learning")]
    pub(crate) learning: bool,
    pub(crate) lazy: bool,
    pub(crate) other_is_nack: bool,
}

impl Config {
    /// For a part, options and a driver buffer of `buffer_bytes`.
    // Inlined so that the divisions vanish where geometry and options are constants.
    #[inline(always)]
    pub const fn new(geometry: Geometry, options: &Options, buffer_bytes: usize) -> Self {
        let header = geometry.word_address_bytes() as usize;
        let transfer = options.max_transfer_bytes;
        let read = match (header, transfer) {
            // While nobody has said what the HAL moves in one piece: a page, as every write must move it.
            (0, usize::MAX) => geometry.page_bytes() as usize,
            _ => transfer.saturating_sub(header),
        };
        let cycle = geometry.write_cycle_us() as u64;
        // Not more than what one read carries, so that a comparison reads it back in one piece.
        // What has no write cycle does not mind in how many parts it is written.
        let whole = buffer_bytes >= geometry.buffer_bytes() || cycle == 0;
        let buffer = if whole || options.split_pages { buffer_bytes.saturating_sub(header) } else { 0 };
        let write = if buffer < read { buffer } else { read };
        let limit = cycle + (cycle * options.margin_percent as u64).div_ceil(100);
        let limit_us = if limit > u32::MAX as u64 { u32::MAX } else { limit as u32 };
        let interval = options.poll_interval_us;
        let step = if interval == 0 { POLL_US_MIN } else { interval };
        Self {
            geometry,
            write_data_max: write,
            read_data_max: read,
            pause_us: match options.wait {
                Wait::Poll => interval,
                Wait::Fixed => limit_us,
            },
            polls_max: limit_us.div_ceil(step).saturating_add(1),
            ask_mask: match options.wait {
                Wait::Poll => (1u32 << (8 * header)).wrapping_sub(1),
                Wait::Fixed => 0,
            },
            wait: options.wait,
            #[cfg(feature = "learning")]
            learning: options.learning && matches!(options.wait, Wait::Poll),
            lazy: options.lazy,
            other_is_nack: options.other_is_nack,
        }
    }

    /// The same options for a region of the part, which has the array's write cycle. `None` if it takes another number
    /// of word-address bytes: the limits here are for those of the array.
    pub(crate) fn at(&self, region: Geometry) -> Option<Self> {
        let geometry = region.with_write_cycle_us(self.geometry.write_cycle_us());
        let same = region.word_address_bytes() == self.geometry.word_address_bytes();
        same.then_some(Self { geometry, ..*self })
    }
}
