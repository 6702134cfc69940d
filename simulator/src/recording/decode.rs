//! START, bits, acknowledge bits and STOP out of edges.

use crate::event::Line;
use crate::recording::edges::{Edge, Edges};
use crate::recording::error::RecordingError;
use crate::recording::timing::Timing;

/// What a byte is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// The first byte after a START: device address and R/W. The controller drives it.
    Address,
    /// The controller drives it, or nobody does.
    Written,
    /// A device drives it, the controller acknowledges it.
    Read,
}

/// Nine clocks: eight bits and the acknowledge bit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BusByte {
    /// What it is for.
    pub role: Role,
    /// The eight bits.
    pub value: u8,
    /// The ninth bit was low.
    pub acked: bool,
    /// SCL falls before the first bit, in nanoseconds from the start of the recording.
    pub begin_ns: u64,
    /// SCL rises for each bit.
    pub rises_ns: [u64; 9],
    /// SCL falls after the acknowledge bit.
    pub end_ns: u64,
}

/// Something on the bus.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BusEvent {
    /// SDA falls while SCL is high.
    Start {
        /// When, in nanoseconds from the start of the recording.
        at_ns: u64,
        /// There was no STOP since the START before.
        repeated: bool,
        /// Whole bits of a byte that it cut short.
        cut_bits: u8,
    },
    /// A whole byte with its acknowledge bit.
    Byte(BusByte),
    /// SDA rises while SCL is high.
    Stop {
        /// When.
        at_ns: u64,
        /// Whole bits of a byte that it cut short.
        cut_bits: u8,
    },
    /// The supply was recorded, and is on or off from here on.
    Supply {
        /// When.
        at_ns: u64,
        /// Whether it is on.
        on: bool,
        /// Millivolts, where the recording has them.
        mv: Option<u32>,
    },
    /// The recording ends.
    End {
        /// When.
        at_ns: u64,
        /// It ends between a START and its STOP.
        in_transfer: bool,
    },
}

/// How well the edges make sense as I2C.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Health {
    /// Changes of SCL.
    pub scl_edges: u64,
    /// Changes of SDA.
    pub sda_edges: u64,
    /// Samples in which both lines changed.
    pub together: u64,
    /// STARTs, repeated ones included.
    pub starts: u64,
    /// STOPs.
    pub stops: u64,
    /// Whole bytes.
    pub bytes: u64,
    /// Device addresses that were acknowledged.
    pub answered: u64,
    /// STARTs and STOPs that cut a byte short.
    pub cut: u64,
    /// Clocks before the first START: the recording began in the middle of a transfer.
    pub clocks_before_start: u64,
}

/// The state of a decoder.
#[derive(Debug, Clone)]
pub(crate) struct Decoder {
    scl: bool,
    sda: bool,
    /// A START has been seen, and no STOP since.
    pub(crate) in_transfer: bool,
    pub(crate) role: Role,
    pub(crate) bits: u8,
    shift: u16,
    begin_ns: u64,
    rises_ns: [u64; 9],
    pub(crate) health: Health,
    pub(crate) timing: Timing,
}

impl Decoder {
    pub(crate) fn new() -> Self {
        Self {
            scl: true,
            sda: true,
            in_transfer: false,
            role: Role::Address,
            bits: 0,
            shift: 0,
            begin_ns: 0,
            rises_ns: [0; 9],
            health: Health::default(),
            timing: Timing::default(),
        }
    }

    /// Takes an edge in; returns what it completes.
    pub(crate) fn take(&mut self, edge: Edge) -> Option<BusEvent> {
        match edge {
            Edge::Begin { scl, sda } => {
                (self.scl, self.sda) = (scl, sda);
                None
            }
            Edge::Line { at_ns, line: Line::Scl, level, together } => {
                self.scl = level;
                self.health.scl_edges += 1;
                self.health.together += u64::from(together);
                if level { self.rise(at_ns) } else { self.fall(at_ns) }
            }
            Edge::Line { at_ns, line: Line::Sda, level, .. } => {
                self.sda = level;
                self.health.sda_edges += 1;
                if self.scl {
                    Some(self.condition(at_ns))
                } else {
                    if self.in_transfer {
                        let by_controller = (self.role == Role::Read) == (self.bits == 8);
                        self.timing.data(at_ns, by_controller, self.bits, level);
                    }
                    None
                }
            }
            Edge::Supply { at_ns, on, mv } => {
                if !on {
                    (self.in_transfer, self.bits) = (false, 0);
                }
                Some(BusEvent::Supply { at_ns, on, mv })
            }
            Edge::End { at_ns } => Some(BusEvent::End { at_ns, in_transfer: self.in_transfer }),
        }
    }

    fn rise(&mut self, at_ns: u64) -> Option<BusEvent> {
        if !self.in_transfer {
            self.health.clocks_before_start += u64::from(self.health.starts + self.health.stops == 0);
            self.timing.clock_rises(at_ns, None);
            return None;
        }
        self.timing.clock_rises(at_ns, Some(self.bits));
        self.rises_ns[usize::from(self.bits)] = at_ns;
        None
    }

    /// The bit of the clock that ends here counts: no START or STOP came while SCL was high.
    fn fall(&mut self, at_ns: u64) -> Option<BusEvent> {
        if !self.in_transfer {
            return None;
        }
        self.timing.clock_falls(at_ns, self.bits);
        if self.rises_ns[usize::from(self.bits)] == 0 {
            // The fall that ends the hold time of a START: no bit yet.
            self.begin_ns = at_ns;
            return None;
        }
        self.shift = self.shift << 1 | u16::from(self.sda);
        self.bits += 1;
        if self.bits < 9 {
            return None;
        }
        let byte = self.byte(at_ns);
        self.begin_byte(at_ns);
        self.after(byte);
        Some(BusEvent::Byte(byte))
    }

    fn byte(&self, end_ns: u64) -> BusByte {
        BusByte {
            role: self.role,
            value: (self.shift >> 1) as u8,
            acked: self.shift & 1 == 0,
            begin_ns: self.begin_ns,
            rises_ns: self.rises_ns,
            end_ns,
        }
    }

    fn begin_byte(&mut self, at_ns: u64) {
        (self.bits, self.shift, self.begin_ns, self.rises_ns) = (0, 0, at_ns, [0; 9]);
    }

    fn after(&mut self, byte: BusByte) {
        self.health.bytes += 1;
        self.role = match byte.role {
            Role::Address => {
                self.health.answered += u64::from(byte.acked);
                if byte.acked && byte.value & 1 == 1 { Role::Read } else { Role::Written }
            }
            Role::Read if byte.acked => Role::Read,
            // After the controller's NACK nobody drives any more.
            Role::Read | Role::Written => Role::Written,
        };
    }

    /// SDA changes while SCL is high: the clock in which that happens is not a bit.
    fn condition(&mut self, at_ns: u64) -> BusEvent {
        let cut_bits = core::mem::take(&mut self.bits);
        let was_open = self.in_transfer;
        self.health.cut += u64::from(was_open && cut_bits > 0);
        let start = !self.sda;
        self.timing.condition(at_ns, start, was_open);
        self.begin_byte(at_ns);
        self.role = Role::Address;
        self.in_transfer = start;
        if start {
            self.health.starts += 1;
            BusEvent::Start { at_ns, repeated: was_open, cut_bits }
        } else {
            self.health.stops += 1;
            BusEvent::Stop { at_ns, cut_bits }
        }
    }
}

/// Iterator over what happens on a bus.
#[derive(Debug)]
pub struct Events {
    edges: Edges,
    decoder: Decoder,
}

impl Events {
    pub(crate) fn new(edges: Edges) -> Self {
        Self { edges, decoder: Decoder::new() }
    }

    /// How well the edges so far make sense as I2C.
    #[must_use]
    pub fn health(&self) -> Health {
        self.decoder.health
    }

    /// Times measured so far.
    #[must_use]
    pub fn timing(&self) -> &Timing {
        &self.decoder.timing
    }

    /// The edges underneath: spikes, resolution, progress.
    #[must_use]
    pub fn edges(&self) -> &Edges {
        &self.edges
    }
}

impl Iterator for Events {
    type Item = Result<BusEvent, RecordingError>;

    fn next(&mut self) -> Option<Self::Item> {
        loop {
            match self.edges.next()? {
                Err(error) => return Some(Err(error)),
                Ok(edge) => {
                    if let Some(event) = self.decoder.take(edge) {
                        return Some(Ok(event));
                    }
                }
            }
        }
    }
}
