//! Which bytes of a part are known to have been stored completely.

/// Stretches that are remembered.
const STRETCHES: usize = 4;

/// What `update` may keep: the bytes that are known to have been stored completely.
///
/// A write cycle that loses its supply may leave bits that read right now and wrong later. Reading cannot tell them
/// from good ones, so after a start every byte of a part is suspect. `update` keeps what reads right only where this
/// memory vouches for it; it writes all other bytes, whatever they read, and then vouches for them.
///
/// So: make one `Trust` where the driver is made, give it to each `update`, and let it end with the driver. The first
/// `update` of a place then writes it once; those that follow write only what differs. Where the firmware knows more,
/// it says so: [`Trust::add`] after a `write` that has returned `Ok`, or for all of the part on a board whose supply
/// outlasts each write cycle. (Where all of it is known, `update_trusting` needs no memory.)
///
/// It remembers four stretches of the part; one that touches or overlaps another is joined to it, and a fifth takes the
/// place of the oldest. Firmware that updates more places by turns adds those that it has updated once in one piece.
/// After a call of the driver that has failed, all is suspect again: the part may have lost its supply alone.
///
/// # Examples
///
/// ```
/// use embedded_hal_mock::eh1::delay::NoopDelay;
/// use embedded_hal_mock::eh1::i2c::{Mock, Transaction};
/// use pagewise_driver::{Eeprom, Geometry, Options, Parameters, Trust, Updated};
///
/// # const PART: Geometry = Geometry::new(Parameters::new().with_capacity_bytes(4096).with_page_bytes(32)
/// #     .with_word_address_bytes(2).with_sequential_read_bytes(4096).with_write_cycle_us(5_000));
/// let i2c = Mock::new(&[
///     Transaction::write(0x50, vec![0x00, 0x10, 1, 2]), // written without a look
///     Transaction::write(0x50, vec![0x00, 0x10]),
///     Transaction::write_read(0x50, vec![0x00, 0x10], vec![1, 2]), // the same again: kept
/// ]);
/// let mut eeprom = Eeprom::<_, _, 34>::new(i2c, NoopDelay, PART, Options::new());
/// let mut trust = Trust::new();
/// assert_eq!(eeprom.update(0x10, &[1, 2], &mut trust)?, Updated { written: 1, kept: 0 });
/// assert_eq!(eeprom.update(0x10, &[1, 2], &mut trust)?, Updated { written: 0, kept: 1 });
/// # eeprom.release().0.done();
/// # Ok::<(), pagewise_driver::Error<embedded_hal::i2c::ErrorKind>>(())
/// ```
#[derive(Debug, Clone, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Trust {
    /// The newest first.
    stretches: [Stretch; STRETCHES],
    /// Calls of the driver that had failed when this was last looked at.
    failures: u32,
}

/// Bytes from `start` to before `end`; none if both are 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
struct Stretch {
    start: u32,
    end: u32,
}

/// The next bytes of an update that are alike.
pub(crate) struct Piece {
    /// Where they begin on the part.
    pub offset: u32,
    /// How many there are, at least 1.
    pub length: usize,
    /// Whether they may be kept if they read right.
    pub trusted: bool,
}

impl Trust {
    /// Nothing is known yet: after a start.
    pub const fn new() -> Self {
        Self { stretches: [Stretch { start: 0, end: 0 }; STRETCHES], failures: 0 }
    }

    /// Says that the `length` bytes from `offset` were stored completely: the last write to them was not cut by a loss
    /// of supply. No check is made; bytes beyond the part do not matter.
    pub fn add(&mut self, offset: u32, length: usize) {
        let end = offset.saturating_add(u32::try_from(length).unwrap_or(u32::MAX));
        for stretch in &mut self.stretches {
            if offset <= stretch.end && stretch.start <= end {
                stretch.start = stretch.start.min(offset);
                stretch.end = stretch.end.max(end);
                return;
            }
        }
        self.stretches.rotate_right(1);
        if let Some(oldest) = self.stretches.first_mut() {
            *oldest = Stretch { start: offset, end };
        }
    }

    /// Everything is suspect again.
    pub const fn clear(&mut self) {
        self.stretches = Self::new().stretches;
    }

    /// Looks at how many calls of the driver have failed so far; one more, and what was known is not any longer.
    pub(crate) fn renew(&mut self, failures: u32) {
        // A count at its end no longer tells one failure from none.
        if failures != self.failures || failures == u32::MAX {
            self.clear();
            self.failures = failures;
        }
    }

    /// What comes after the first `done` of `length` bytes from `offset`; `None` at the end.
    pub(crate) fn piece(&self, offset: u32, length: usize, done: usize) -> Option<Piece> {
        let left = length.checked_sub(done).filter(|left| *left > 0)?;
        let offset = offset.checked_add(u32::try_from(done).ok()?)?;
        let inside = self.stretches.iter().find(|stretch| (stretch.start..stretch.end).contains(&offset));
        let end = match inside {
            Some(stretch) => stretch.end,
            None => {
                self.stretches.iter().map(|other| other.start).filter(|start| *start > offset).min().unwrap_or(u32::MAX)
            }
        };
        let room = usize::try_from(end.wrapping_sub(offset)).unwrap_or(usize::MAX);
        Some(Piece { offset, length: left.min(room), trusted: inside.is_some() })
    }
}

impl Default for Trust {
    fn default() -> Self {
        Self::new()
    }
}
