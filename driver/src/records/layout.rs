//! Where the slots of the records lie.

use core::fmt;

use super::FRAME_BYTES;
use crate::geometry::Geometry;

/// A record as the firmware wants it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub struct RecordSpec {
    /// Identity, unique in its layout.
    pub id: u8,
    /// Longest payload in bytes; a counter has 8.
    pub payload_bytes: u16,
    /// Slots in its ring, at least 3. More slots, less wear.
    pub slots: u16,
}

impl RecordSpec {
    /// A record with an identity, a longest payload in bytes and a number of slots.
    pub const fn new(id: u8, payload_bytes: u16, slots: u16) -> Self {
        Self { id, payload_bytes, slots }
    }
}

/// Why records do not fit a part.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum LayoutError {
    /// The start is not at the start of a page.
    StartNotAtPage {
        /// The offset that was given.
        offset: u32,
        /// Page of the part in bytes.
        page_bytes: u32,
    },
    /// Slots were to take whole pages of a size that is not a power of two, or smaller than the part's page.
    PageTooSmall {
        /// The size that was given, in bytes.
        slot_page_bytes: u32,
        /// Page of the part in bytes; 1 for a part without pages.
        page_bytes: u32,
    },
    /// Two records have the same identity.
    DuplicateId {
        /// The identity.
        id: u8,
    },
    /// A ring of fewer than three slots.
    TooFewSlots {
        /// The record.
        id: u8,
        /// Slots that were given.
        slots: u16,
    },
    /// The records do not fit the part.
    TooLarge {
        /// First byte behind the records.
        end: u64,
        /// Capacity of the part in bytes.
        capacity_bytes: u32,
    },
}

impl LayoutError {
    /// What is wrong, without the numbers; usable in a constant.
    pub const fn message(&self) -> &'static str {
        match self {
            Self::StartNotAtPage { .. } => "the records must start at the start of a page",
            Self::PageTooSmall { .. } => "slots must take whole pages of the part, in a power of two of bytes",
            Self::DuplicateId { .. } => "two records have the same identity",
            Self::TooFewSlots { .. } => "a record needs at least three slots",
            Self::TooLarge { .. } => "the records do not fit the part",
        }
    }
}

impl fmt::Display for LayoutError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.message())?;
        match *self {
            Self::StartNotAtPage { offset, page_bytes } => {
                write!(f, ": offset {offset:#06x}, page {page_bytes} bytes")
            }
            Self::PageTooSmall { slot_page_bytes, page_bytes } => {
                write!(f, ": {slot_page_bytes} bytes, page {page_bytes} bytes")
            }
            Self::DuplicateId { id } => write!(f, ": {id}"),
            Self::TooFewSlots { id, slots } => write!(f, ": record {id} has {slots}"),
            Self::TooLarge { end, capacity_bytes } => write!(f, ": end {end}, capacity {capacity_bytes} bytes"),
        }
    }
}

impl core::error::Error for LayoutError {}

/// The records of a store and their places; checked.
///
/// ```
/// use pagewise_driver::records::{RecordLayout, RecordSpec};
/// # use pagewise_driver::{Geometry, Parameters};
/// # const PART: Geometry = Geometry::new(Parameters::new().with_capacity_bytes(4096).with_page_bytes(32)
/// #     .with_word_address_bytes(2).with_sequential_read_bytes(4096).with_write_cycle_us(5_000));
/// const CALIBRATION: u8 = 1;
/// const STARTS: u8 = 2;
/// const LAYOUT: RecordLayout = RecordLayout::new(&PART, 0x0100, &[
///     RecordSpec::new(CALIBRATION, 40, 3), // two pages per slot
///     RecordSpec::new(STARTS, 8, 16),      // a counter, one page per slot
/// ]);
/// assert_eq!(LAYOUT.end(), 0x0100 + 3 * 64 + 16 * 32);
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RecordLayout<'a> {
    start: u32,
    align: u32,
    specs: &'a [RecordSpec],
    end: u32,
}

/// A record with its place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Placed {
    pub spec: RecordSpec,
    pub start: u32,
    pub slot_bytes: u32,
}

impl Placed {
    /// Offset of a slot.
    pub(crate) fn slot(&self, index: u16) -> u32 {
        self.start.wrapping_add(self.slot_bytes.wrapping_mul(u32::from(index)))
    }
}

impl<'a> RecordLayout<'a> {
    /// Checks and places the records, from `start` on.
    ///
    /// # Errors
    ///
    /// A [`LayoutError`].
    pub const fn try_new(geometry: &Geometry, start: u32, specs: &'a [RecordSpec]) -> Result<Self, LayoutError> {
        Self::try_paged(geometry, own_page(geometry), start, specs)
    }

    /// The same with slots that take whole pages of `slot_page_bytes`, for firmware that finds its records on several parts:
    /// with the largest page of them all the slots lie alike on each, and no cut of the supply endangers two.
    ///
    /// # Errors
    ///
    /// A [`LayoutError`].
    pub const fn try_paged(
        geometry: &Geometry,
        slot_page_bytes: u32,
        start: u32,
        specs: &'a [RecordSpec],
    ) -> Result<Self, LayoutError> {
        let (align, page_bytes) = (slot_page_bytes, own_page(geometry));
        if !align.is_power_of_two() || align < page_bytes {
            return Err(LayoutError::PageTooSmall { slot_page_bytes, page_bytes });
        }
        if start & align.wrapping_sub(1) != 0 {
            return Err(LayoutError::StartNotAtPage { offset: start, page_bytes: align });
        }
        let mut end = start as u64;
        let mut rest = specs;
        while let [spec, others @ ..] = rest {
            if spec.slots < 3 {
                return Err(LayoutError::TooFewSlots { id: spec.id, slots: spec.slots });
            }
            if find(others, spec.id).is_some() {
                return Err(LayoutError::DuplicateId { id: spec.id });
            }
            end = end.saturating_add(slot_bytes(spec, align) as u64 * spec.slots as u64);
            rest = others;
        }
        let capacity_bytes = geometry.capacity_bytes();
        if end > capacity_bytes as u64 {
            return Err(LayoutError::TooLarge { end, capacity_bytes });
        }
        Ok(Self { start, align, specs, end: end as u32 })
    }

    /// As [`RecordLayout::try_new`], for constants.
    ///
    /// # Panics
    ///
    /// If the records do not fit; in a `const` that is a compile error.
    pub const fn new(geometry: &Geometry, start: u32, specs: &'a [RecordSpec]) -> Self {
        match Self::try_new(geometry, start, specs) {
            Ok(layout) => layout,
            Err(error) => panic!("{}", error.message()),
        }
    }

    /// As [`RecordLayout::try_paged`], for constants.
    ///
    /// # Panics
    ///
    /// If the records do not fit; in a `const` that is a compile error.
    pub const fn paged(geometry: &Geometry, slot_page_bytes: u32, start: u32, specs: &'a [RecordSpec]) -> Self {
        match Self::try_paged(geometry, slot_page_bytes, start, specs) {
            Ok(layout) => layout,
            Err(error) => panic!("{}", error.message()),
        }
    }

    /// First byte of the first record.
    pub const fn start(&self) -> u32 {
        self.start
    }

    /// First byte behind the last record.
    pub const fn end(&self) -> u32 {
        self.end
    }

    /// The records.
    pub const fn specs(&self) -> &'a [RecordSpec] {
        self.specs
    }

    pub(super) fn placed(&self, id: u8) -> Option<Placed> {
        let mut start = self.start;
        for spec in self.specs {
            let slot_bytes = slot_bytes(spec, self.align);
            if spec.id == id {
                return Some(Placed { spec: *spec, start, slot_bytes });
            }
            start = start.wrapping_add(slot_bytes.wrapping_mul(u32::from(spec.slots)));
        }
        None
    }
}

/// Page of a part; 1 without pages: such a part tears no neighbours, and any place will do.
const fn own_page(geometry: &Geometry) -> u32 {
    if geometry.page_bytes() == geometry.capacity_bytes() { 1 } else { geometry.page_bytes() }
}

const fn find(specs: &[RecordSpec], id: u8) -> Option<RecordSpec> {
    let mut rest = specs;
    while let [spec, others @ ..] = rest {
        if spec.id == id {
            return Some(*spec);
        }
        rest = others;
    }
    None
}

/// Frame and payload, rounded up to whole pages. `align` is a power of two.
const fn slot_bytes(spec: &RecordSpec, align: u32) -> u32 {
    let bytes = FRAME_BYTES.wrapping_add(spec.payload_bytes as u32);
    let mask = align.wrapping_sub(1);
    bytes.wrapping_add(mask) & !mask
}
