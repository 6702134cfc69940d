//! Takes recordings in, stretch by stretch.

use std::collections::BTreeMap;

use pagewise_simulator::recording::{Bus, BusSegment, Events, Recording, RecordingError, Seen, SegmentEnd, Timing};

use crate::device::{Device, HEADERS};
use crate::property::{At, Moments};
use crate::stats::Range;

/// Segments between two reports of progress.
const REPORT_EVERY: u64 = 2048;

/// Transfers that went on from one device address to the next, for one number of word-address bytes.
#[derive(Debug, Clone, Default)]
pub(crate) struct GoesOn {
    last: Option<(u64, u8)>,
    pub(crate) pairs: BTreeMap<(u8, u8), Moments>,
}

impl GoesOn {
    fn add(&mut self, place: u64, len: u64, device: u8, at: At) {
        if let Some((end, before)) = self.last
            && end == place
            && before != device
        {
            self.pairs.entry((before, device)).or_default().add(at);
        }
        self.last = Some((place + len, device));
    }
}

/// What has been seen so far.
#[derive(Debug, Default)]
pub(crate) struct Observer {
    pub(crate) files: Vec<String>,
    pub(crate) devices: BTreeMap<u8, Device>,
    pub(crate) goes_on: [GoesOn; HEADERS.len()],
    /// Refused while a write to another address kept the chip busy.
    pub(crate) same_chip: BTreeMap<(u8, u8), Moments>,
    pub(crate) supply_recorded: bool,
    supply_on: Option<At>,
    pub(crate) first_access: Range,
    /// Times of each recording with its sample interval.
    pub(crate) timings: Vec<(Timing, u64)>,
    pub(crate) remarks: Vec<String>,
    pub(crate) segments: u64,
}

impl Observer {
    /// Another recording begins: time has passed since the one before.
    pub(crate) fn begin(&mut self, file: &str) {
        self.files.push(file.to_owned());
        self.devices.values_mut().for_each(Device::forget);
        self.goes_on.iter_mut().for_each(|goes_on| goes_on.last = None);
        self.supply_on = None;
    }

    /// Reads one recording to its end.
    pub(crate) fn read(
        &mut self,
        file: usize,
        recording: &Recording,
        bus: &Bus,
        progress: &mut dyn FnMut(f64),
    ) -> Result<(), RecordingError> {
        self.supply_recorded |= bus.supply.is_some();
        let mut segments = recording.segments(bus)?;
        let mut count: u64 = 0;
        while let Some(seen) = segments.next().transpose()? {
            match seen {
                Seen::Segment(segment) => self.segment(file, &segment),
                Seen::Supply { at_ns, on, .. } => self.supply(At { file, ns: at_ns }, on),
                Seen::End { .. } => {}
            }
            count += 1;
            if count.is_multiple_of(REPORT_EVERY) {
                progress(segments.events().edges().progress());
            }
        }
        progress(1.0);
        self.segments += count;
        self.remark(recording.file(), segments.events());
        let events = segments.events();
        self.timings.push((events.timing().clone(), events.edges().resolution_ns()));
        Ok(())
    }

    fn remark(&mut self, file: &str, events: &Events) {
        let health = events.health();
        if let Some((interval, part)) = events.too_slow() {
            self.remarks.push(format!(
                "{file}: too few samples: one per {interval} ns, while SCL stays on one level for {part} ns; edges may be \
                 missing, so that bytes and times are to be doubted: record at {} MHz or faster",
                (4000_u64).div_ceil(part).max(1)
            ));
        }
        // One rise is what lines show that come up with the supply.
        if health.clocks_before_start > 1 {
            self.remarks.push(format!(
                "{file}: begins in the middle of a transfer; its first {} clocks were passed over",
                health.clocks_before_start
            ));
        }
        if events.edges().spikes() > 0 {
            self.remarks.push(format!("{file}: {} spikes shorter than 50 ns were left out", events.edges().spikes()));
        }
        if health.cut > 0 {
            self.remarks.push(format!("{file}: {} STARTs or STOPs came in the middle of a byte", health.cut));
        }
    }

    fn supply(&mut self, at: At, on: bool) {
        if on {
            self.supply_on = Some(at);
        } else {
            self.supply_on = None;
            self.devices.values_mut().for_each(Device::forget_pointer);
        }
    }

    fn segment(&mut self, file: usize, segment: &BusSegment) {
        let start = At { file, ns: segment.start_ns };
        // A recording that begins with the supply on says nothing about how long it has been on.
        if let Some(on) = self.supply_on.take().filter(|on| on.ns > 0) {
            self.first_access.add(start.ns - on.ns, start);
        }
        let Some(address) = segment.address else { return };
        let device = address.value >> 1;
        for other in self.devices.values_mut().filter(|other| other.address != device) {
            other.elsewhere();
        }
        let eighth_ns = address.rises_ns[7];
        if !address.acked {
            let shared = self.busy_elsewhere(device, start);
            self.device(device).refuse(start, eighth_ns, &shared);
            return;
        }
        let end = At { file, ns: segment.end_ns };
        self.device(device).answer(segment, start, eighth_ns, end);
        if segment.end == SegmentEnd::Stop && !segment.is_read() && segment.last_acked {
            self.goes_on(device, segment, start);
        }
    }

    fn device(&mut self, address: u8) -> &mut Device {
        self.devices.entry(address).or_insert_with(|| Device::new(address))
    }

    /// For each number of word-address bytes, whether a write to a neighbouring address is not over yet.
    fn busy_elsewhere(&mut self, device: u8, at: At) -> Vec<bool> {
        let answered = self.devices.get(&device).is_some_and(|device| device.answered > 0);
        let mut shared = vec![false; HEADERS.len()];
        for other in self.devices.values().filter(|other| other.address != device && other.address >> 3 == device >> 3)
        {
            for (shared, view) in shared.iter_mut().zip(&other.views) {
                if answered && view.waits.is_pending() {
                    *shared = true;
                    self.same_chip.entry((other.address, device)).or_default().add(at);
                }
            }
        }
        shared
    }

    fn goes_on(&mut self, device: u8, segment: &BusSegment, at: At) {
        for (goes_on, header) in self.goes_on.iter_mut().zip(HEADERS) {
            let Some(word) = segment.bytes.get(..usize::from(header)) else { continue };
            let offset = word.iter().fold(0, |offset, byte| offset << 8 | u64::from(*byte));
            let data = segment.len - u64::from(header);
            if data > 0 {
                goes_on.add((u64::from(device) << (8 * header)) + offset, data, device, at);
            }
        }
    }
}
