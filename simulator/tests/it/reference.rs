//! A second model of a chip, as plain as it can be: the rules B2, B4, W1 to W10, R1 to R4 by their wording, none of the
//! simulator's code. Slow, and without opinion where the rules are silent: there `None` stands for anything.

use std::collections::BTreeMap;

use pagewise_simulator::model::{
    BusyAnswer, ChipModel, CycleUnit, DeviceBit, MemoryKind, PartlyProtected, PointerAfterWrite, ProtectedAnswer,
    ReadBlockBits, RegionAccess, UpperBits, WpSampled,
};

/// What the next byte is to the chip.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Next {
    Nothing,
    DeviceAddress,
    WordAddress {
        missing: u8,
        so_far: u32,
    },
    Data,
    /// A data byte was refused: the rest of the write is.
    Refusing,
    /// The chip drives.
    Reading,
    /// The chip drives, and nobody says what.
    ReadingAnything,
    /// Acknowledged and lost.
    Losing,
    /// The data of a security command, which protects blocks from this one on.
    Commanding {
        first_block: u32,
    },
}

/// A chip with all address pins low.
pub struct Reference {
    model: ChipModel,
    memory: Vec<u8>,
    pointer: Option<u32>,
    next: Next,
    block: u32,
    control: u8,
    start: u32,
    sent: Vec<u8>,
    wp: bool,
    wp_seen: bool,
    /// End of the write cycle, what it stores, and the control byte that began it.
    cycle: Option<(u64, BTreeMap<u32, u8>, u8)>,
    /// What a security command has protected for good, or will at the end of the write cycle.
    secured: Option<std::ops::Range<u32>>,
}

impl Reference {
    pub fn new(model: &ChipModel, memory: Vec<u8>) -> Self {
        Self {
            model: model.clone(),
            memory,
            pointer: None,
            next: Next::Nothing,
            block: 0,
            control: 0,
            start: 0,
            sent: Vec::new(),
            wp: false,
            wp_seen: false,
            cycle: None,
            secured: None,
        }
    }

    /// The level of the WP pin.
    pub fn set_wp(&mut self, high: bool) {
        self.wp = high;
        if self.next == Next::Data && !self.sent.is_empty() {
            self.wp_seen |= self.wp_active();
        }
    }

    fn wp_active(&self) -> bool {
        self.wp == self.model.write_protect.active_high
    }

    /// The block-select bits in a 7-bit device address, if it is the chip's (B2).
    fn block_of(&self, address: u8) -> Option<u32> {
        let mut block = 0;
        for (place, role) in self.model.device_bits.iter().enumerate() {
            let level = address >> (6 - place) & 1 == 1;
            let fits = match *role {
                DeviceBit::Fixed(value) => level == value,
                DeviceBit::Pin(_) => !level,
                DeviceBit::PinInverted(_) => level,
                DeviceBit::Ignored => true,
                DeviceBit::Block(n) => {
                    block |= u32::from(level) << n;
                    true
                }
            };
            if !fits {
                return None;
            }
        }
        Some(block)
    }

    fn protected(&self, at: u32, pin: bool) -> bool {
        let inside = |start: u32, len: u32| at >= start && at < start + len;
        let protect = &self.model.write_protect;
        let in_array = self
            .model
            .regions
            .iter()
            .filter(|region| region.device_bits.is_none() && region.access == RegionAccess::ReadOnly);
        pin && inside(protect.pin_range.start, protect.pin_range.len)
            || inside(protect.fixed_range.start, protect.fixed_range.len)
            || in_array.into_iter().any(|region| inside(region.word_address, region.len))
            || self.secured.as_ref().is_some_and(|secured| secured.contains(&at))
    }

    fn settle(&mut self, now: u64) {
        if self.cycle.as_ref().is_some_and(|(ends, _, _)| now >= *ends) {
            let (_, bytes, _) = self.cycle.take().unwrap();
            bytes.into_iter().for_each(|(at, byte)| self.memory[at as usize] = byte);
        }
    }

    /// START, anywhere (B1, W4).
    pub fn start(&mut self) {
        self.sent.clear();
        self.next = Next::DeviceAddress;
    }

    /// A byte that is complete at `now`; whether it is acknowledged.
    pub fn byte(&mut self, now: u64, byte: u8) -> bool {
        match self.next {
            Next::DeviceAddress => self.device_address(now, byte),
            Next::WordAddress { missing, so_far } => {
                let so_far = so_far << 8 | u32::from(byte);
                self.next = Next::WordAddress { missing: missing - 1, so_far };
                self.begin_data_if_addressed();
                true
            }
            Next::Data => self.data(byte),
            Next::Losing => true,
            Next::Commanding { .. } => {
                self.sent.push(byte);
                true
            }
            _ => false,
        }
    }

    fn device_address(&mut self, now: u64, control: u8) -> bool {
        self.next = Next::Nothing;
        self.settle(now);
        let Some(block) = self.block_of(control >> 1) else { return false };
        let read = control & 1 == 1;
        if let Some((_, _, began)) = &self.cycle {
            let answers = match self.model.busy_answer {
                BusyAnswer::AnyAccess => false,
                BusyAnswer::WritesOnly => read,
                BusyAnswer::SameControlByte => control != *began,
            };
            if answers {
                self.next = if read { Next::ReadingAnything } else { Next::Losing };
            }
            return answers;
        }
        (self.block, self.control) = (block, control);
        if !read {
            self.next = Next::WordAddress { missing: self.model.word_address_bytes, so_far: 0 };
            self.begin_data_if_addressed();
            return true;
        }
        let has_blocks = self.model.device_bits.iter().any(|bit| matches!(bit, DeviceBit::Block(_)));
        if has_blocks && self.model.read_block_bits == ReadBlockBits::Latched {
            let below = 8 * u32::from(self.model.word_address_bytes);
            let low = self.pointer.map(|pointer| pointer & ((1 << below) - 1));
            self.pointer = if below == 0 { Some(block) } else { low.map(|low| block << below | low) };
        }
        self.next = Next::Reading;
        true
    }

    /// B4: bits above the capacity are don't care.
    fn begin_data_if_addressed(&mut self) {
        if let Next::WordAddress { missing: 0, so_far } = self.next {
            let sent = self.block << (8 * u32::from(self.model.word_address_bytes)) | so_far;
            self.start = sent % self.model.capacity;
            self.pointer = Some(self.start);
            self.sent.clear();
            self.wp_seen = false;
            self.next = Next::Data;
            // Bits above the capacity that are not don't care.
            let word_address_bits = 8 * u32::from(self.model.word_address_bytes);
            match self.model.upper_bits {
                UpperBits::Zero if sent >= self.model.capacity => (self.next, self.pointer) = (Next::Losing, None),
                UpperBits::SecurityCommand if so_far >= 1 << (word_address_bits - 1) => {
                    let first_byte = so_far >> (word_address_bits - 8);
                    self.next = Next::Commanding { first_block: first_byte / 2 % 16 };
                }
                _ => {}
            }
        }
    }

    /// Where data byte `n` of this write goes (W1).
    fn place(&self, n: usize) -> u32 {
        let page = if self.model.memory == MemoryKind::Fram { self.model.capacity } else { self.model.page };
        self.start / page * page + (self.start + n as u32) % page
    }

    fn data(&mut self, byte: u8) -> bool {
        let at = self.place(self.sent.len());
        let refuses = self.model.write_protect.answer == ProtectedAnswer::NackData;
        let protected = self.protected(at, self.wp_active());
        if self.model.memory == MemoryKind::Fram {
            if !protected {
                self.memory[at as usize] = byte;
            }
            self.sent.push(byte);
            self.pointer = Some((at + 1) % self.model.capacity);
        } else if !(refuses && protected) {
            if self.sent.is_empty() {
                self.wp_seen = self.wp_active();
            }
            self.sent.push(byte);
        }
        if refuses && protected {
            // Where the pointer stands after that, nobody says.
            (self.next, self.pointer) = (Next::Refusing, None);
        }
        !(refuses && protected)
    }

    /// The byte that the chip drives, and the pointer moved on (R1, R3); `None` for anything.
    pub fn drives(&mut self) -> Option<u8> {
        if self.next != Next::Reading {
            return if self.next == Next::ReadingAnything { None } else { Some(0xFF) };
        }
        let at = self.pointer?;
        let wrap = self.model.read_wrap;
        self.pointer = Some(at / wrap * wrap + (at + 1) % wrap);
        Some(self.memory[at as usize])
    }

    /// The controller did not acknowledge a byte that it read.
    pub fn let_go(&mut self) {
        self.next = Next::Nothing;
    }

    /// STOP at `now` (W2, W3).
    pub fn stop(&mut self, now: u64) {
        if let Next::Commanding { first_block } = self.next {
            self.next = Next::Nothing;
            return self.secure(now, first_block);
        }
        let keeps = self.model.write_protect.partial == PartlyProtected::UnprotectedOnly;
        let ends_a_write = self.next == Next::Data || (self.next == Next::Refusing && keeps);
        self.next = Next::Nothing;
        if !ends_a_write || self.sent.is_empty() || self.model.memory == MemoryKind::Fram {
            return;
        }
        let last = self.place(self.sent.len() - 1);
        self.pointer = match self.model.pointer_after_write {
            PointerAfterWrite::WrappedInPage => Some(self.place(self.sent.len())),
            PointerAfterWrite::LastPlusOne => Some((last + 1) % self.model.capacity),
        };
        let pin = self.wp_active() || self.model.write_protect.sampled == WpSampled::DataPhase && self.wp_seen;
        let latched: BTreeMap<u32, u8> = self.sent.iter().enumerate().map(|(n, byte)| (self.place(n), *byte)).collect();
        let mut stored = latched.clone();
        stored.retain(|at, _| !self.protected(*at, pin));
        if stored.len() < latched.len() {
            self.pointer = None;
            if !keeps {
                stored.clear();
            }
            if stored.is_empty() && self.model.write_protect.answer != ProtectedAnswer::AckBusy {
                return;
            }
        }
        let times = match self.model.write_cycle.per {
            CycleUnit::Page => 1,
            CycleUnit::Byte => stored.len().max(1) as u64,
        };
        self.cycle = Some((now + times * self.model.write_cycle.max_ns, stored, self.control));
    }

    /// G3: once and for good, by the first data byte 10xx nnnn.
    fn secure(&mut self, now: u64, first_block: u32) {
        let blocks = self.sent.first().map_or(0, |byte| if byte / 64 == 2 { u32::from(byte % 16) } else { 0 });
        if blocks == 0 || self.secured.is_some() {
            return;
        }
        let block = self.model.capacity / 16;
        self.secured = Some(first_block * block..self.model.capacity.min((first_block + blocks) * block));
        self.cycle = Some((now + self.model.write_cycle.max_ns, BTreeMap::new(), self.control));
    }

    /// What the array holds at `now`.
    pub fn memory(&mut self, now: u64) -> &[u8] {
        self.settle(now);
        &self.memory
    }
}
