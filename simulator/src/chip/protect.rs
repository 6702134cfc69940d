//! Write protection: which bytes, and since when.

use crate::chip::Chip;
use crate::model::{RegionAccess, WpSampled};

impl Chip {
    /// Whether the WP pin protects at this moment.
    pub(crate) fn wp_active(&self) -> bool {
        self.wp_level == self.model.write_protect.active_high
    }

    /// Whether nothing at all can be protected now, so that the check by byte can be left out.
    pub(crate) fn unprotected_everywhere(&self) -> bool {
        let wp = &self.model.write_protect;
        let pin = (self.wp_active() || self.wp_seen_active) && wp.pin_range.len > 0;
        !pin && wp.fixed_range.len == 0 && self.model.regions.is_empty() && self.regions.secured.is_none()
    }

    /// Whether a write to `offset` of the array is refused; `pin` says whether the pin counts as active.
    pub(crate) fn protects(&self, offset: u32, pin: bool) -> bool {
        let wp = &self.model.write_protect;
        let secured = self.regions.secured.is_some_and(|range| range.contains(offset));
        (pin && wp.pin_range.contains(offset))
            || wp.fixed_range.contains(offset)
            || secured
            || self.region_protects(offset)
    }

    /// Whether the pin cancels the write that this STOP would start.
    pub(crate) fn pin_cancels(&self) -> bool {
        let active = self.wp_active() ^ self.wp_times.doubted;
        match self.model.write_protect.sampled {
            WpSampled::Stop => active,
            WpSampled::DataPhase => self.wp_seen_active || active,
        }
    }

    /// Read-only bytes that lie in the array, and software protection that has been set.
    fn region_protects(&self, offset: u32) -> bool {
        self.model.regions.iter().enumerate().any(|(i, region)| {
            let in_array = region.device_bits.is_none() && region.access == RegionAccess::ReadOnly;
            let inside = offset >= region.word_address && offset - region.word_address < region.len;
            (in_array && inside) || (self.regions.protection_set(i) && region.protects.contains(offset))
        })
    }
}
