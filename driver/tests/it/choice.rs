//! The choice at run time, as seen through both shells: which answers of the bus end it, and that a record is read
//! again byte by byte.

use crate::common::*;
use embedded_hal::i2c::{ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation};
use pagewise_driver::{Candidate, ChooseError, LongerHeader, Options, choose};

const CANDIDATES: [Candidate; 2] = [Candidate::new(KBIT_16, 0x10, 4), Candidate::new(KBIT_32, 0x40, 4)];
const RECORDS: [[u8; 4]; 2] = [[0x5E, 16, 0xEF, 0x77], [0x5E, 32, 0xDF, 0x77]];

fn accepts(index: usize, bytes: &[u8]) -> bool {
    bytes == RECORDS[index]
}

/// A bus on which every read is answered by a function of its number.
struct Answers<F> {
    reads: usize,
    answer: F,
}

impl<F> ErrorType for Answers<F> {
    type Error = ErrorKind;
}

impl<F: FnMut(usize, &mut [u8]) -> Result<(), ErrorKind>> I2c for Answers<F> {
    fn transaction(&mut self, _: u8, operations: &mut [Operation<'_>]) -> Result<(), ErrorKind> {
        let number = self.reads;
        self.reads += 1;
        match operations {
            [Operation::Write(_), Operation::Read(bytes)] => (self.answer)(number, bytes),
            _ => panic!("only random reads are made"),
        }
    }
}

/// What comes of it, and how many reads were made.
fn chosen(
    options: &Options,
    answer: impl FnMut(usize, &mut [u8]) -> Result<(), ErrorKind>,
) -> (Result<usize, ChooseError<ErrorKind>>, usize) {
    let mut bus = Answers { reads: 0, answer };
    let mut delay = embedded_hal_mock::eh1::delay::NoopDelay;
    let longer = LongerHeader::AfterShorter;
    let result = choose(&mut bus, &mut delay, &CANDIDATES, &mut [0; 4], options, longer, accepts);
    (result, bus.reads)
}

#[test]
fn a_missing_ack_means_the_next_candidate_and_any_other_error_is_the_end() {
    let nack = ErrorKind::NoAcknowledge(NoAcknowledgeSource::Unknown);
    let none = Err(ChooseError::NoneFits { untried: 0 });
    assert_eq!(chosen(&Options::new(), |_, _| Err(nack)), (none, 2));
    for kind in [ErrorKind::Bus, ErrorKind::ArbitrationLoss, ErrorKind::Overrun, ErrorKind::Other] {
        assert_eq!(chosen(&Options::new(), |_, _| Err(kind)), (Err(ChooseError::Bus(kind)), 1));
    }
    let vague = Options::new().with_other_is_nack(true);
    assert_eq!(chosen(&vague, |_, _| Err(ErrorKind::Other)), (none, 2));
    assert_eq!(chosen(&vague, |_, _| Err(ErrorKind::Bus)), (Err(ChooseError::Bus(ErrorKind::Bus)), 1));
}

#[test]
fn every_byte_of_a_record_is_read_again_before_it_counts() {
    for wrong in 0..=RECORDS[0].len() {
        // The first reading gives the record of the first candidate, the second one byte of it wrong, or none.
        let (result, reads) = chosen(&Options::new(), |number, bytes| {
            match number {
                0 => bytes.copy_from_slice(&RECORDS[0]),
                1..=4 => {
                    let index = 4 - number;
                    bytes[0] = RECORDS[0][index] ^ u8::from(index == wrong);
                }
                _ => bytes.fill(0xEE),
            }
            Ok(())
        });
        if wrong == RECORDS[0].len() {
            // A longer header is not sent to a part that fits a shorter one.
            assert_eq!((result, reads), (Ok(0), 1 + 4));
        } else {
            assert_eq!(result, Err(ChooseError::NoneFits { untried: 0 }), "byte {wrong}");
        }
    }
}

#[test]
#[cfg(feature = "async")]
fn the_async_choice_makes_the_same_reads_and_finds_the_same() {
    use crate::common::at_once::{AsyncBus, AsyncClock, now};
    use pagewise_driver::choose_async;
    let options = Options::new();
    for (fitted, at, held) in [(KBIT_16, 0x10, 0), (KBIT_32, 0x40, 1), (KBIT_32, 0x40, 0)] {
        for longer in [LongerHeader::Refuse, LongerHeader::AfterShorter] {
            let (one, mut bus, mut clock) = rig(fitted.parameters());
            let (other, async_bus, async_clock) = rig(fitted.parameters());
            for chip in [&one, &other] {
                chip.borrow_mut().memory[at..][..4].copy_from_slice(&RECORDS[held]);
            }
            let blocking = choose(&mut bus, &mut clock, &CANDIDATES, &mut [0; 4], &options, longer, accepts);
            let (mut bus, mut clock) = (AsyncBus(async_bus), AsyncClock(async_clock));
            let mut scratch = [0; 4];
            let call = choose_async(&mut bus, &mut clock, &CANDIDATES, &mut scratch, &options, longer, accepts);
            assert_eq!(now(call), blocking);
            assert_eq!(one.borrow().calls, other.borrow().calls);
            assert_eq!(one.borrow().now_us, other.borrow().now_us);
        }
    }
}
