//! The choice of a part at run time, on parts that answer.

use embedded_hal::i2c::ErrorKind;
use pagewise_driver::*;

use crate::common::*;

/// A record that names its part.
fn record(name: u8) -> [u8; 4] {
    [0x5E, name, !name, 0x77]
}

fn accepts(index: usize, bytes: &[u8]) -> bool {
    bytes == record(index as u8)
}

fn choice(
    fitted: Geometry,
    name: u8,
    at: u32,
    candidates: &[Candidate],
    longer: LongerHeader,
) -> Result<usize, ChooseError<ErrorKind>> {
    let (chip, mut bus, mut clock) = rig(fitted.parameters());
    chip.borrow_mut().memory[at as usize..][..4].copy_from_slice(&record(name));
    let before = chip.borrow().memory.clone();
    let mut scratch = [0; 8];
    let result = choose(&mut bus, &mut clock, candidates, &mut scratch, &Options::new(), longer, accepts);
    assert_eq!(chip.borrow().memory, before);
    assert!(!chip.borrow().calls.iter().any(|call| matches!(call, Call::Write(..))), "nothing is ever written");
    result
}

const BOTH: [Candidate; 2] = [Candidate::new(KBIT_32, 0x40, 4), Candidate::new(KBIT_16, 0x10, 4)];

#[test]
fn second_source_is_recognised_by_reading_only() {
    assert_eq!(choice(KBIT_16, 1, 0x10, &BOTH, LongerHeader::Refuse), Ok(1));
    assert_eq!(choice(KBIT_32, 0, 0x40, &BOTH, LongerHeader::AfterShorter), Ok(0));
    assert_eq!(choice(KBIT_32, 0, 0x40, &BOTH, LongerHeader::Refuse), Err(ChooseError::NoneFits { untried: 1 }));
    assert_eq!(choice(KBIT_32, 9, 0x40, &BOTH, LongerHeader::AfterShorter), Err(ChooseError::NoneFits { untried: 0 }));
}

#[test]
fn second_source_waits_out_a_write_cycle_from_before_a_reset() {
    let (chip, mut bus, mut clock) = rig(KBIT_16.parameters());
    chip.borrow_mut().memory[0x10..0x14].copy_from_slice(&record(1));
    chip.borrow_mut().busy_until_us = 4_900;
    let options = Options::new();
    let result = choose(&mut bus, &mut clock, &BOTH, &mut [0; 4], &options, LongerHeader::Refuse, accepts);
    assert_eq!(result, Ok(1));
}

#[test]
fn second_source_that_cannot_be_told_apart_says_so() {
    let larger = Geometry::new(part(8192, 32, 2, 0));
    let candidates = [Candidate::new(KBIT_32, 0x40, 4), Candidate::new(larger, 0x40, 4)];
    let (chip, mut bus, mut clock) = rig(KBIT_32.parameters());
    chip.borrow_mut().memory[0x40..0x44].copy_from_slice(&record(0));
    let any = |_: usize, bytes: &[u8]| bytes == record(0);
    let options = Options::new();
    let result = choose(&mut bus, &mut clock, &candidates, &mut [0; 4], &options, LongerHeader::Refuse, any);
    assert_eq!(result, Err(ChooseError::Ambiguous { first: 0, second: 1 }));
}

#[test]
fn second_source_candidates_that_contradict_themselves_send_nothing() {
    let (chip, mut bus, mut clock) = rig(KBIT_32.parameters());
    let mut try_one = |candidate: Candidate, scratch: &mut [u8]| {
        let options = Options::new();
        choose(&mut bus, &mut clock, &[candidate], scratch, &options, LongerHeader::Refuse, accepts)
    };
    let at = |record_offset, record_bytes| Candidate::new(KBIT_32, record_offset, record_bytes);
    let out_of_range = |offset, length| ChooseError::OutOfRange { index: 0, offset, length, capacity: 4096 };
    assert_eq!(try_one(at(4094, 3), &mut [0; 8]), Err(out_of_range(4094, 3)));
    assert_eq!(try_one(at(0, 0), &mut [0; 8]), Err(out_of_range(0, 0)));
    assert_eq!(try_one(at(0, 9), &mut [0; 8]), Err(ChooseError::ScratchTooSmall { needed: 9 }));
    assert_eq!(chip.borrow().calls, []);
}

#[test]
fn second_source_is_not_fooled_by_a_pointer_that_stands_at_a_record() {
    // A two-byte part that a one-byte header leaves with its pointer where it was: the record is read once.
    let mut reads = 0;
    let mut i2c = Fixed(move |header: &[u8], buffer: &mut [u8]| {
        assert_eq!(header.len(), 1);
        reads += 1;
        buffer.fill(0xEE);
        if reads == 1 {
            buffer.copy_from_slice(&record(1));
        }
    });
    let mut delay = embedded_hal_mock::eh1::delay::NoopDelay;
    let options = Options::new();
    let result = choose(&mut i2c, &mut delay, &BOTH, &mut [0; 4], &options, LongerHeader::Refuse, accepts);
    assert_eq!(result, Err(ChooseError::NoneFits { untried: 1 }));
}

/// A bus that answers every random read by a function.
struct Fixed<F>(F);

impl<F> embedded_hal::i2c::ErrorType for Fixed<F> {
    type Error = ErrorKind;
}

impl<F: FnMut(&[u8], &mut [u8])> embedded_hal::i2c::I2c for Fixed<F> {
    fn transaction(&mut self, _: u8, operations: &mut [embedded_hal::i2c::Operation<'_>]) -> Result<(), ErrorKind> {
        match operations {
            [embedded_hal::i2c::Operation::Write(header), embedded_hal::i2c::Operation::Read(buffer)] => {
                (self.0)(header, buffer);
                Ok(())
            }
            _ => panic!("not a random read"),
        }
    }
}
