//! Records on everything that can hold them: a driver, a driver behind a WP pin, several chips as one address space.
#![cfg(feature = "records")]

use crate::common::*;
use embedded_hal::i2c::ErrorKind;
use pagewise_driver::records::{RecordLayout, RecordSpec, RecordStore};
use pagewise_driver::{Chips, Eeprom, Geometry, Memory, Options, Protected, WriteProtectTiming};

const SPECS: [RecordSpec; 1] = [RecordSpec::new(1, 6, 4)];
/// Four slots of a page each, the last two of them in the second chip.
const START: u32 = 4096 - 2 * 32;
/// Twice the part, for the layout only.
const SPACE: Geometry = Geometry::new(part(8192, 32, 2, 0));

fn layout(geometry: Geometry, start: u32) -> RecordLayout<'static> {
    let layout = RecordLayout::try_new(&geometry, start, &SPECS).unwrap();
    assert_eq!((layout.start(), layout.end()), (start, start + 4 * 32));
    layout
}

fn write_and_read_back<M: Memory>(mut medium: M, layout: RecordLayout<'static>) {
    let mut back = [0; 6];
    for round in 0..6 {
        // Each call through a store of its own, which cannot give what it still has in memory.
        RecordStore::<_, 19>::new(&mut medium, layout).write(1, 1, &[round; 6]).unwrap();
        RecordStore::<_, 19>::new(&mut medium, layout).read(1, &mut back).unwrap();
        assert_eq!(back, [round; 6]);
    }
}

#[test]
fn records_live_behind_a_wp_pin() {
    let (chip, bus, clock) = rig(KBIT_32.parameters());
    let driver = Eeprom::<_, _, 34>::new(bus, clock, KBIT_32, Options::new());
    let guarded = Protected::new::<ErrorKind>(driver, Pin, WriteProtectTiming::new()).unwrap();
    write_and_read_back(guarded, layout(KBIT_32, 64));
    assert!(chip.borrow().memory[64..].windows(6).any(|bytes| bytes == [5; 6]));
}

#[test]
fn records_live_in_several_chips() {
    let (one, _, _) = rig(KBIT_32.parameters());
    let (two, _, _) = rig(KBIT_32.parameters().with_device_address(0x51));
    let parts = vec![one.clone(), two.clone()];
    let driver = Eeprom::<_, _, 34>::new(Bus(parts.clone()), Clock(parts), KBIT_32, Options::new());
    write_and_read_back(Chips::new(driver, [0x50, 0x51]).unwrap(), layout(SPACE, START));
    let holds = |bytes: &[u8], value: u8| bytes.windows(6).any(|found| found == [value; 6]);
    assert!(holds(&one.borrow().memory[START as usize..], 5), "the sixth write is in the second slot");
    assert!(holds(&two.borrow().memory[..64], 3), "the fourth write is in the last slot");
}

#[cfg(feature = "async")]
mod asynch {
    use crate::common::at_once::{AsyncBus, AsyncClock, now};
    use pagewise_driver::records::AsyncRecordStore;
    use pagewise_driver::{AsyncEeprom, AsyncMemory};

    use super::*;

    fn write_and_read_back<M: AsyncMemory>(mut medium: M, layout: RecordLayout<'static>) {
        let mut back = [0; 6];
        for round in 0..6 {
            now(AsyncRecordStore::<_, 19>::new(&mut medium, layout).write(1, 1, &[round; 6])).unwrap();
            now(AsyncRecordStore::<_, 19>::new(&mut medium, layout).read(1, &mut back)).unwrap();
            assert_eq!(back, [round; 6]);
        }
    }

    #[test]
    fn records_live_behind_a_wp_pin() {
        let (_, bus, clock) = rig(KBIT_32.parameters());
        let driver = AsyncEeprom::<_, _, 34>::new(AsyncBus(bus), AsyncClock(clock), KBIT_32, Options::new());
        let guarded = Protected::new::<ErrorKind>(driver, Pin, WriteProtectTiming::new()).unwrap();
        write_and_read_back(guarded, layout(KBIT_32, 64));
    }

    #[test]
    fn records_live_in_several_chips() {
        let (one, _, _) = rig(KBIT_32.parameters());
        let (two, _, _) = rig(KBIT_32.parameters().with_device_address(0x51));
        let parts = vec![one, two];
        let (bus, clock) = (AsyncBus(Bus(parts.clone())), AsyncClock(Clock(parts)));
        let driver = AsyncEeprom::<_, _, 34>::new(bus, clock, KBIT_32, Options::new());
        write_and_read_back(Chips::new(driver, [0x50, 0x51]).unwrap(), layout(SPACE, START));
    }
}
