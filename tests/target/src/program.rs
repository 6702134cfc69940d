//! Seeded programs of driver and simulated chip together. The host's test includes this very file.

use alloc::vec;
use alloc::vec::Vec;
use core::fmt::{self, Write};

use pagewise_driver::{Eeprom, Geometry, Options, Parameters};
use pagewise_simulator::model::{BusyAnswer, ByteRange, PointerAfterWrite, ReadBlockBits};
use pagewise_simulator::{ChipModel, CycleTime, Rig, RigBus, RigConfig, RigDelay, Straps};

/// Programs that are run, with the seeds from 0 on.
pub const PROGRAMS: u64 = 48;
/// Calls of the driver in each.
const CALLS: u32 = 30;
/// Buffer of the driver: two word-address bytes and the largest page.
const BUFFER: usize = 2 + 32;

/// FNV-1a over everything that is written.
struct Digest(u64);

impl Digest {
    fn bytes(&mut self, bytes: &[u8]) {
        for byte in bytes {
            self.0 = (self.0 ^ u64::from(*byte)).wrapping_mul(0x0000_0100_0000_01B3);
        }
    }
}

impl Write for Digest {
    fn write_str(&mut self, text: &str) -> fmt::Result {
        self.bytes(text.as_bytes());
        Ok(())
    }
}

/// SplitMix64.
struct Draws(u64);

impl Draws {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ z >> 30).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ z >> 27).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ z >> 31
    }

    fn below(&mut self, limit: u32) -> u32 {
        (self.next() % u64::from(limit)) as u32
    }
}

/// A chip with drawn habits, and the geometry of the same part in the words of the driver.
fn part(draws: &mut Draws) -> (ChipModel, Geometry) {
    let (mut model, word_address_bytes, block_select_bits) = match draws.below(3) {
        0 => (ChipModel::example_2_kbit(), 1, 0),
        1 => (ChipModel::example_16_kbit(), 1, 3),
        _ => (ChipModel::example_32_kbit(), 2, 0),
    };
    model.page = 8 << draws.below(3);
    model.read_wrap = [model.capacity, 256][draws.below(2) as usize];
    model.busy_answer = [BusyAnswer::AnyAccess, BusyAnswer::WritesOnly][draws.below(2) as usize];
    model.pointer_after_write =
        [PointerAfterWrite::WrappedInPage, PointerAfterWrite::LastPlusOne][draws.below(2) as usize];
    model.read_block_bits = [ReadBlockBits::Ignored, ReadBlockBits::Latched][draws.below(2) as usize];
    model.write_protect.pin_range = ByteRange { start: 0, len: model.capacity };
    let geometry = Geometry::new(
        Parameters::new()
            .with_capacity_bytes(model.capacity)
            .with_page_bytes(model.page)
            .with_word_address_bytes(word_address_bytes)
            .with_block_select_bits(block_select_bits)
            .with_sequential_read_bytes(model.read_wrap)
            .with_write_cycle_us((model.write_cycle.max_ns / 1000) as u32),
    );
    (model, geometry)
}

/// Runs the program of a seed. Returns a digest of the whole trace, of memory, of time and of what was read.
///
/// # Panics
///
/// If the driver fails, or reads anything but what it wrote.
#[must_use]
pub fn digest(seed: u64) -> u64 {
    let mut draws = Draws(seed.wrapping_mul(0x2545_F491_4F6C_DD1D));
    let (model, geometry) = part(&mut draws);
    let scl_hz = [100_000, 400_000, 1_000_000][draws.below(3) as usize];
    let rig = Rig::new(RigConfig::default().with_scl_hz(scl_hz).with_seed(seed));
    let (capacity, mut meant) = (model.capacity, vec![0xFF; model.capacity as usize]);
    let chip = rig.attach(model, Straps::GROUND);
    if draws.below(2) == 0 {
        rig.set_write_cycle(chip, CycleTime::Max);
    }
    let mut eeprom = Eeprom::<_, _, BUFFER>::new(rig.bus(), rig.delay(), geometry, Options::new());
    let mut digest = Digest(0xCBF2_9CE4_8422_2325);
    for _ in 0..CALLS {
        call(&mut eeprom, &mut draws, capacity, &mut meant, &mut digest);
        drain(&rig, &mut digest);
    }
    rig.advance_ns(10_000_000);
    drain(&rig, &mut digest);
    assert!(rig.memory(chip) == meant, "seed {seed}: memory is not what was written");
    assert!(rig.finish().is_empty(), "seed {seed}: a hazard in a correct program");
    digest.bytes(&meant);
    digest.bytes(&rig.now_ns().to_le_bytes());
    digest.0
}

/// One drawn call of the driver.
fn call(
    eeprom: &mut Eeprom<RigBus, RigDelay, BUFFER>,
    draws: &mut Draws,
    capacity: u32,
    meant: &mut [u8],
    digest: &mut Digest,
) {
    let offset = draws.below(capacity);
    let length = (1 + draws.below(80)).min(capacity - offset) as usize;
    let place = &mut meant[offset as usize..][..length];
    match draws.below(4) {
        0 | 1 => {
            let mut bytes = vec![0; length];
            eeprom.read(offset, &mut bytes).expect("a read succeeds");
            assert!(bytes == place, "read something else at {offset}");
            digest.bytes(&bytes);
        }
        2 => {
            let bytes: Vec<u8> = (0..length).map(|_| draws.next() as u8).collect();
            eeprom.write(offset, &bytes).expect("a write succeeds");
            place.copy_from_slice(&bytes);
        }
        _ => {
            let mut bytes = place.to_vec();
            bytes[length / 2] = draws.next() as u8;
            eeprom.update_trusting(offset, &bytes).expect("an update succeeds");
            place.copy_from_slice(&bytes);
        }
    }
}

/// Takes the trace so far into the digest and empties it.
fn drain(rig: &Rig, digest: &mut Digest) {
    for event in rig.trace() {
        // Writing to a digest cannot fail.
        let _ = write!(digest, "{event:?}");
    }
    rig.set_trace(true);
}
