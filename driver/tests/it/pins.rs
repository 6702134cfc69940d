//! The exact bus calls of the canonical operations, for every address shape.

use crate::common::{FRAM, KBIT_1, KBIT_16, KBIT_32, KBIT_1024_TOP, KBIT_2048, ZERO_BYTE};
use embedded_hal::i2c::{ErrorKind, NoAcknowledgeSource};
use embedded_hal_mock::eh1::delay::{CheckedDelay, NoopDelay, Transaction as Delay};
use embedded_hal_mock::eh1::i2c::{Mock, Transaction};
use pagewise_driver::{Eeprom, Error, Geometry, Options, Trust, Wait};

type Driver = Eeprom<Mock, NoopDelay, 259>;

/// Runs a piece of work against an exact list of expected calls.
fn pinned(geometry: Geometry, options: Options, calls: &[Transaction], work: impl FnOnce(&mut Driver)) {
    let mut driver = Driver::new(Mock::new(calls), NoopDelay, geometry, options);
    work(&mut driver);
    driver.release().0.done();
}

fn nack() -> ErrorKind {
    ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address)
}

fn write(address: u8, header: &[u8], data: &[u8]) -> Transaction {
    Transaction::write(address, [header, data].concat())
}

/// Every address shape: geometry, an offset at the start of a page, its device address and its header.
fn shapes() -> [(Geometry, u32, u8, Vec<u8>); 5] {
    [
        (KBIT_1, 0x48, 0x50, vec![0x48]),
        (KBIT_16, 0x5A0, 0x55, vec![0xA0]),
        (KBIT_32, 0xA60, 0x50, vec![0x0A, 0x60]),
        (KBIT_1024_TOP, 0x1_0080, 0x54, vec![0x00, 0x80]),
        (KBIT_2048, 0x3_0100, 0x50, vec![0x03, 0x01, 0x00]),
    ]
}

#[test]
fn byte_write_is_one_contiguous_write_and_one_poll() {
    for (geometry, offset, address, header) in shapes() {
        let calls = [write(address, &header, &[0xC3]), write(address, &header, &[])];
        pinned(geometry, Options::new(), &calls, |d| d.write(offset, &[0xC3]).unwrap());
    }
}

#[test]
fn page_write_is_one_contiguous_write_and_one_poll() {
    for (geometry, offset, address, header) in shapes() {
        let page: Vec<u8> = (0..geometry.page_bytes()).map(|i| i as u8).collect();
        let calls = [write(address, &header, &page), write(address, &header, &[])];
        pinned(geometry, Options::new(), &calls, |d| d.write(offset, &page).unwrap());
    }
}

#[test]
fn write_across_a_page_end_is_cut_there() {
    for (geometry, offset, address, header) in shapes() {
        let before = geometry.locate(offset - 2);
        let first = before.header.as_bytes();
        let calls =
            [write(before.device_address, first, &[1, 2]), write(address, &header, &[3]), write(address, &header, &[])];
        pinned(geometry, Options::new(), &calls, |d| d.write(offset - 2, &[1, 2, 3]).unwrap());
    }
}

#[test]
fn write_across_a_block_border_changes_the_device_address_and_polls_at_its_own() {
    let calls =
        [write(0x53, &[0xFF], &[7]), write(0x53, &[0xFF], &[]), write(0x54, &[0x00], &[8]), write(0x54, &[0x00], &[])];
    pinned(KBIT_16, Options::new(), &calls, |d| d.write(0x3FF, &[7, 8]).unwrap());
}

#[test]
fn random_read_is_one_write_read() {
    for (geometry, offset, address, header) in shapes() {
        let calls = [Transaction::write_read(address, header, vec![0x5A])];
        pinned(geometry, Options::new(), &calls, |d| {
            let mut byte = [0];
            d.read(offset, &mut byte).unwrap();
            assert_eq!(byte, [0x5A]);
        });
    }
}

#[test]
fn sequential_read_crosses_page_ends_in_one_call() {
    for (geometry, offset, address, header) in shapes() {
        let bytes: Vec<u8> = (0..40).collect();
        let calls = [Transaction::write_read(address, header, bytes.clone())];
        pinned(geometry, Options::new(), &calls, |d| {
            let mut back = [0; 40];
            d.read(offset, &mut back).unwrap();
            assert_eq!(back.as_slice(), bytes);
        });
    }
}

#[test]
fn sequential_read_is_cut_at_its_block_and_sends_a_new_address() {
    let calls = [
        Transaction::write_read(0x50, vec![0xFF, 0xFE], vec![1, 2]),
        Transaction::write_read(0x54, vec![0x00, 0x00], vec![3]),
    ];
    pinned(KBIT_1024_TOP, Options::new(), &calls, |d| {
        let mut back = [0; 3];
        d.read(0xFFFE, &mut back).unwrap();
        assert_eq!(back, [1, 2, 3]);
    });
}

#[test]
fn a_transfer_limit_counts_the_header_for_reads_and_writes() {
    let options = Options::new().with_max_transfer_bytes(4);
    let calls = [
        write(0x50, &[0, 0], &[1, 2]),
        write(0x50, &[0, 2], &[3]),
        write(0x50, &[0, 2], &[]),
        Transaction::write_read(0x50, vec![0, 0], vec![1, 2]),
        Transaction::write_read(0x50, vec![0, 2], vec![3]),
    ];
    pinned(KBIT_32, options, &calls, |d| {
        d.write(0, &[1, 2, 3]).unwrap();
        d.read(0, &mut [0; 3]).unwrap();
    });
}

#[test]
fn current_address_read_sends_no_address() {
    let calls = [Transaction::write_read(0x55, vec![0xA0], vec![9]), Transaction::read(0x55, vec![10, 11])];
    pinned(KBIT_16, Options::new(), &calls, |d| {
        d.read(0x5A0, &mut [0]).unwrap();
        let mut next = [0; 2];
        d.current_address_read(&mut next).unwrap();
        assert_eq!(next, [10, 11]);
    });
}

#[test]
fn current_address_read_polls_only_for_a_write_of_ours() {
    let calls = [Transaction::read(0x50, vec![0]).with_error(nack())];
    pinned(KBIT_32, Options::new(), &calls, |d| {
        assert_eq!(d.current_address_read(&mut [0]), Err(Error::NotAnswering { source: nack(), safe_bytes: 0 }));
    });
    let calls = [write(0x50, &[0, 7], &[1]), write(0x50, &[0, 7], &[]), Transaction::read(0x50, vec![1])];
    pinned(KBIT_32, Options::new().with_lazy(true), &calls, |d| {
        d.write(7, &[1]).unwrap();
        d.current_address_read(&mut [0]).unwrap();
    });
    // In the block that follows the bytes written, although a wait comes between.
    let calls = [write(0x53, &[0x20], &[1]), write(0x53, &[0x20], &[]), Transaction::read(0x53, vec![1])];
    pinned(KBIT_16, Options::new().with_lazy(true), &calls, |d| {
        d.write(0x320, &[1]).unwrap();
        d.current_address_read(&mut [0]).unwrap();
    });
}

#[test]
fn the_part_without_word_address_bytes_takes_the_offset_as_device_address() {
    let calls = [
        Transaction::write(0x44, vec![1, 2, 3, 4]),
        Transaction::read(0x44, vec![0]).with_error(nack()),
        Transaction::read(0x44, vec![1]),
        Transaction::write(0x48, vec![5]),
        Transaction::read(0x48, vec![5]),
        Transaction::read(0x46, vec![3, 4, 5]),
    ];
    pinned(ZERO_BYTE, Options::new(), &calls, |d| {
        d.write(0x44, &[1, 2, 3, 4, 5]).unwrap();
        d.read(0x46, &mut [0; 3]).unwrap();
        assert_eq!(d.current_address_read(&mut [0]), Err(Error::Unsupported));
    });
}

#[test]
fn the_part_without_word_address_bytes_is_read_in_pieces_that_every_hal_moves_unless_told_otherwise() {
    // A HAL that splits a longer read by itself would get the same bytes for each piece.
    let pieces = [Transaction::read(0x46, vec![1; 4]), Transaction::read(0x4A, vec![1])];
    pinned(ZERO_BYTE, Options::new(), &pieces, |d| d.read(0x46, &mut [0; 5]).unwrap());
    let whole = [Transaction::read(0, vec![1; 128])];
    pinned(ZERO_BYTE, Options::new().with_max_transfer_bytes(128), &whole, |d| d.read(0, &mut [0; 128]).unwrap());
}

#[test]
fn a_part_without_write_cycle_is_not_polled() {
    let calls = [write(0x50, &[0, 0], &[1; 200])];
    pinned(FRAM, Options::new(), &calls, |d| d.write(0, &[1; 200]).unwrap());
}

#[test]
fn acknowledge_polling_takes_every_kind_of_missing_ack_for_busy() {
    let kinds = [
        (ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address), false),
        (ErrorKind::NoAcknowledge(NoAcknowledgeSource::Data), false),
        (ErrorKind::NoAcknowledge(NoAcknowledgeSource::Unknown), false),
        (ErrorKind::Other, true),
    ];
    for (geometry, offset, address, header) in shapes() {
        for (kind, other_is_nack) in kinds {
            let calls = [
                write(address, &header, &[1]),
                write(address, &header, &[]).with_error(kind),
                write(address, &header, &[]).with_error(kind),
                write(address, &header, &[]),
            ];
            let delays = [Delay::delay_us(20), Delay::delay_us(20)];
            let (i2c, delay) = (Mock::new(&calls), CheckedDelay::new(&delays));
            let options = Options::new().with_other_is_nack(other_is_nack);
            let mut driver = Eeprom::<_, _, 259>::new(i2c, delay, geometry, options);
            driver.write(offset, &[1]).unwrap();
            let (mut i2c, mut delay) = driver.release();
            i2c.done();
            delay.done();
        }
    }
}

#[test]
fn the_next_page_write_asks_for_the_end_of_the_one_before() {
    let next = || write(0x50, &[0, 0x20], &[2, 3]);
    let calls = [
        write(0x50, &[0, 0x1F], &[1]),
        next().with_error(nack()),
        next().with_error(nack()),
        next(),
        write(0x50, &[0, 0x20], &[]).with_error(nack()),
        write(0x50, &[0, 0x20], &[]),
    ];
    let delays = [Delay::delay_us(70), Delay::delay_us(70), Delay::delay_us(70)];
    let (i2c, delay) = (Mock::new(&calls), CheckedDelay::new(&delays));
    let mut driver = Eeprom::<_, _, 34>::new(i2c, delay, KBIT_32, Options::new().with_poll_interval_us(70));
    driver.write(0x1F, &[1, 2, 3]).unwrap();
    let (mut i2c, mut delay) = driver.release();
    i2c.done();
    delay.done();
}

#[test]
fn the_reading_back_asks_for_the_end_of_its_write() {
    let calls = [
        write(0x50, &[0, 0x1F], &[1]),
        Transaction::write_read(0x50, vec![0, 0x1F], vec![0]).with_error(nack()),
        Transaction::write_read(0x50, vec![0, 0x1F], vec![1]),
        write(0x50, &[0, 0x20], &[2]),
        Transaction::write_read(0x50, vec![0, 0x20], vec![2]),
    ];
    pinned(KBIT_32, Options::new(), &calls, |d| d.write_verified(0x1F, &[1, 2]).unwrap());
}

#[test]
fn other_is_an_error_while_polling_unless_configured() {
    for kind in [ErrorKind::Other, ErrorKind::Bus, ErrorKind::ArbitrationLoss, ErrorKind::Overrun] {
        let calls = [write(0x50, &[0, 0], &[1]), write(0x50, &[0, 0], &[]).with_error(kind)];
        pinned(KBIT_32, Options::new(), &calls, |d| {
            assert_eq!(d.write(0, &[1]), Err(Error::Bus { source: kind, safe_bytes: 0 }));
        });
    }
}

#[test]
fn a_fixed_wait_sends_no_poll_and_waits_cycle_and_margin() {
    let calls = [write(0x50, &[0, 0x1F], &[1]), write(0x50, &[0, 0x20], &[2])];
    let delays = [Delay::delay_us(5500), Delay::delay_us(5500)];
    let (i2c, delay) = (Mock::new(&calls), CheckedDelay::new(&delays));
    let options = Options::new().with_wait(Wait::Fixed).with_margin_percent(10);
    let mut driver = Eeprom::<_, _, 34>::new(i2c, delay, KBIT_32, options);
    driver.write(0x1F, &[1, 2]).unwrap();
    let (mut i2c, mut delay) = driver.release();
    i2c.done();
    delay.done();
}

#[test]
fn a_busy_part_at_the_first_access_is_polled_and_the_access_repeated_once() {
    let calls = [
        Transaction::write_read(0x50, vec![0, 8], vec![0]).with_error(nack()),
        write(0x50, &[0, 8], &[]).with_error(nack()),
        write(0x50, &[0, 8], &[]),
        Transaction::write_read(0x50, vec![0, 8], vec![3]),
    ];
    pinned(KBIT_32, Options::new(), &calls, |d| d.read(8, &mut [0]).unwrap());
}

#[test]
fn refused_data_after_an_answered_poll_is_write_protection() {
    for kind in [NoAcknowledgeSource::Address, NoAcknowledgeSource::Data, NoAcknowledgeSource::Unknown] {
        let kind = ErrorKind::NoAcknowledge(kind);
        let calls = [
            write(0x50, &[0, 0x1F], &[1]),
            write(0x50, &[0, 0x20], &[2]).with_error(kind),
            write(0x50, &[0, 0x20], &[2]).with_error(kind),
            // The last try within the bound.
            write(0x50, &[0, 0x20], &[]),
            write(0x50, &[0, 0x20], &[2]).with_error(kind),
        ];
        let options = Options::new().with_margin_percent(0).with_poll_interval_us(2500);
        pinned(KBIT_32, options, &calls, |d| {
            let error = Error::WriteProtected { offset: 0x20, safe_bytes: 1, source: kind };
            assert_eq!(d.write(0x1F, &[1, 2]), Err(error));
        });
    }
}

#[test]
fn a_part_that_stays_busy_after_a_page_write_is_an_overrun_and_that_page_is_not_safe() {
    let calls = [
        write(0x50, &[0, 0x1E], &[1, 2]),
        write(0x50, &[0, 0x20], &[3]).with_error(nack()),
        write(0x50, &[0, 0x20], &[3]).with_error(nack()),
        write(0x50, &[0, 0x20], &[]).with_error(nack()),
    ];
    let options = Options::new().with_margin_percent(0).with_poll_interval_us(2500);
    pinned(KBIT_32, options, &calls, |d| {
        let error = Error::WriteCycleOverrun { polls: 3, waited_us: 5000, safe_bytes: 0 };
        assert_eq!(d.write(0x1E, &[1, 2, 3]), Err(error));
    });
}

#[test]
fn lazy_writes_leave_the_poll_to_the_next_call_at_the_same_device_address() {
    let calls = [
        write(0x55, &[0xA0], &[1]),
        write(0x55, &[0xA0], &[]).with_error(nack()),
        write(0x55, &[0xA0], &[]),
        Transaction::write_read(0x50, vec![0x10], vec![0]),
    ];
    pinned(KBIT_16, Options::new().with_lazy(true), &calls, |d| {
        d.write(0x5A0, &[1]).unwrap();
        d.read(0x10, &mut [0]).unwrap();
    });
}

#[test]
fn zero_length_and_bad_bounds_send_nothing() {
    pinned(KBIT_32, Options::new(), &[], |d| {
        d.write(4096, &[]).unwrap();
        d.read(17, &mut []).unwrap();
        d.fill(17, 0, 1).unwrap();
        d.current_address_read(&mut []).unwrap();
        assert_eq!(d.compare(0, &[]), Ok(None));
        let error = Error::OutOfRange { offset: 4090, length: 7, capacity: 4096 };
        assert_eq!(d.write(4090, &[0; 7]), Err(error));
        assert_eq!(d.read(4090, &mut [0; 7]), Err(error));
        assert_eq!(d.fill(4090, 7, 0), Err(error));
        assert_eq!(d.compare(4090, &[0; 7]), Err(error));
        assert_eq!(d.update(4090, &[0; 7], &mut Trust::new()), Err(error));
        let error = Error::OutOfRange { offset: 5000, length: 0, capacity: 4096 };
        assert_eq!(d.write(5000, &[]), Err(error));
    });
}
