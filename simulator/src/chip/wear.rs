//! Write cycles counted per byte, group or page (rule P4).

use alloc::sync::Arc;
use alloc::vec::Vec;

use crate::chip::Chip;
use crate::event::Note;
use crate::model::WearUnit;

/// Counters by wear unit; empty until the first write cycle.
#[derive(Debug, Clone, Default)]
pub(crate) struct Wear(Arc<Vec<u64>>);

/// Bytes per wear unit.
fn unit_bytes(unit: WearUnit, page: u32) -> u32 {
    match unit {
        WearUnit::Byte => 1,
        WearUnit::Group(bytes) => bytes.max(1),
        // FRAM-like cells have no page; their models may say none.
        WearUnit::Page => page.max(1),
    }
}

impl Chip {
    pub(crate) fn wear_unit_bytes(&self) -> u32 {
        unit_bytes(self.model.wear_unit, self.model.page)
    }

    fn wear_counters(&mut self) -> &mut Vec<u64> {
        let units = self.model.capacity.div_ceil(self.wear_unit_bytes()) as usize;
        let counters = Arc::make_mut(&mut self.wear.0);
        counters.resize(units, 0);
        counters
    }

    /// Write cycles of the wear unit that holds `offset`.
    pub(crate) fn wear_of(&self, offset: u32) -> u64 {
        self.wear.0.get((offset / self.wear_unit_bytes()) as usize).copied().unwrap_or(0)
    }

    pub(crate) fn set_wear(&mut self, offset: u32, cycles: u64) {
        let unit = (offset / self.wear_unit_bytes()) as usize;
        self.wear_counters()[unit] = cycles;
    }

    /// One write cycle for each unit that the programming latch touches.
    pub(crate) fn count_wear(&mut self, now: u64) {
        let unit = self.wear_unit_bytes();
        let rated = self.model.endurance_cycles;
        let latch = core::mem::take(&mut self.programming);
        let (mut worn, mut past) = (Vec::new(), Vec::new());
        let counters = self.wear_counters();
        let mut last = u32::MAX;
        for (offset, _) in latch.bytes() {
            let index = offset / unit;
            if index == last {
                continue;
            }
            last = index;
            let cycles = &mut counters[index as usize];
            *cycles += 1;
            if rated > 0 && *cycles > rated {
                past.push(offset);
            }
            if *cycles == rated || *cycles == rated.div_ceil(2) {
                worn.push((index * unit, *cycles));
            }
        }
        self.stop_leaking(&latch);
        self.programming = latch;
        for offset in past {
            self.wear_cells(offset);
        }
        for (offset, cycles) in worn {
            self.say(now, Note::Worn { offset, cycles, rated });
        }
    }
}
