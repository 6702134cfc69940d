//! Messages of the kernel's I2C layer on the simulated bus: each begins with a (repeated) START, unless it is glued to the
//! one before.

use embedded_hal::i2c::Operation;
use pagewise_simulator::StepBus;

use crate::errno::Trouble;
use crate::protocol::{BLOCK_MAX, Kind, Message};

/// Runs a whole transfer, START to STOP.
pub(crate) fn transfer(bus: &mut StepBus, messages: &mut [Message]) -> Result<(), Trouble> {
    let done = all(bus, messages);
    let stopped = match messages.first().map(|message| message.address) {
        Some(address) if messages.iter().all(|message| message.address == address) => {
            let asked: Vec<Operation<'_>> = messages.iter_mut().map(operation).collect();
            bus.stop_after(address, &asked, done.is_ok())
        }
        _ => bus.stop(),
    };
    done.and(stopped.map_err(Trouble::from))
}

fn operation(message: &mut Message) -> Operation<'_> {
    match &mut message.kind {
        Kind::Write(bytes) => Operation::Write(bytes),
        Kind::Read(bytes) | Kind::ReadBlock(bytes) => Operation::Read(bytes),
    }
}

fn all(bus: &mut StepBus, messages: &mut [Message]) -> Result<(), Trouble> {
    for i in 0..messages.len() {
        let goes_on = messages.get(i + 1).is_some_and(|next| next.glued && next.reads());
        let message = &mut messages[i];
        if !message.glued || i == 0 {
            bus.start()?;
            let read = u8::from(message.reads());
            if !bus.send(message.address << 1 | read) {
                return Err(Trouble::AddressNack);
            }
        }
        match &mut message.kind {
            Kind::Write(bytes) => {
                if bytes.iter().any(|byte| !bus.send(*byte)) {
                    return Err(Trouble::DataNack);
                }
            }
            Kind::Read(bytes) => {
                let last = bytes.len().saturating_sub(1);
                for (at, byte) in bytes.iter_mut().enumerate() {
                    *byte = bus.receive(at < last || goes_on);
                }
            }
            Kind::ReadBlock(bytes) => *bytes = block(bus)?,
        }
    }
    Ok(())
}

/// A block with its length first. A length that cannot be ends it with one more byte that is not acknowledged.
fn block(bus: &mut StepBus) -> Result<Vec<u8>, Trouble> {
    let length = bus.receive(true);
    if !(1..=BLOCK_MAX).contains(&usize::from(length)) {
        bus.receive(false);
        return Err(Trouble::Protocol);
    }
    let mut bytes = vec![length];
    for left in (0..length).rev() {
        bytes.push(bus.receive(left > 0));
    }
    Ok(bytes)
}

#[cfg(test)]
mod tests {
    use pagewise_simulator::{ChipModel, CycleTime, Hazard, Rig, RigConfig, Straps};

    use super::*;

    fn rig() -> (Rig, StepBus) {
        let rig = Rig::new(RigConfig::default());
        let chip = rig.attach(ChipModel::example_32_kbit(), Straps::GROUND);
        rig.set_write_cycle(chip, CycleTime::Max);
        let bus = rig.bus().steps();
        (rig, bus)
    }

    #[test]
    fn a_random_read_is_two_messages_with_a_repeated_start() {
        let (rig, mut bus) = rig();
        let mut write = [Message::write(0x50, vec![0, 0x10, 1, 2, 3])];
        assert_eq!(transfer(&mut bus, &mut write), Ok(()));
        rig.advance_ns(5_000_000);
        let mut read = [Message::write(0x50, vec![0, 0x10]), Message::read(0x50, 3)];
        assert_eq!(transfer(&mut bus, &mut read), Ok(()));
        assert_eq!(read[1].kind, Kind::Read(vec![1, 2, 3]));
        let last = rig.transfers_text().lines().last().unwrap().to_owned();
        assert!(last.ends_with("S 50W+ 00+ 10+ Sr 50R+ 01+ 02+ 03- P"), "{last}");
        assert!(rig.finish().is_empty());
    }

    #[test]
    fn a_busy_chip_is_an_address_nack_and_a_dropped_write_is_busy_access() {
        let (rig, mut bus) = rig();
        assert_eq!(transfer(&mut bus, &mut [Message::write(0x50, vec![0, 0, 1])]), Ok(()));
        let refused = transfer(&mut bus, &mut [Message::write(0x50, vec![0, 1, 2])]);
        assert_eq!(refused, Err(Trouble::AddressNack));
        rig.advance_ns(5_000_000);
        assert!(rig.finish().iter().any(|incident| incident.hazard == Hazard::BusyAccess));
    }

    #[test]
    fn two_write_messages_have_a_start_between_and_lose_the_data() {
        let (rig, mut bus) = rig();
        let split = &mut [Message::write(0x50, vec![0, 0]), Message::write(0x50, vec![7, 7, 7])];
        assert_eq!(transfer(&mut bus, split), Ok(()));
        rig.advance_ns(5_000_000);
        assert!(!rig.finish().is_empty());
    }

    #[test]
    fn glued_messages_are_one_run_of_bytes() {
        let (rig, mut bus) = rig();
        let mut glued = Message::write(0x50, vec![9]);
        glued.glued = true;
        assert_eq!(transfer(&mut bus, &mut [Message::write(0x50, vec![0, 5]), glued]), Ok(()));
        let last = rig.transfers_text().lines().last().unwrap().to_owned();
        assert!(last.ends_with("S 50W+ 00+ 05+ 09+ P"), "{last}");
    }

    #[test]
    fn a_block_tells_its_length() {
        let (rig, mut bus) = rig();
        assert_eq!(transfer(&mut bus, &mut [Message::write(0x50, vec![0, 0, 2, 0xA, 0xB])]), Ok(()));
        rig.advance_ns(5_000_000);
        let block = Message { address: 0x50, kind: Kind::ReadBlock(Vec::new()), glued: false };
        let mut read = [Message::write(0x50, vec![0, 0]), block.clone()];
        assert_eq!(transfer(&mut bus, &mut read), Ok(()));
        assert_eq!(read[1].kind, Kind::ReadBlock(vec![2, 0xA, 0xB]));
        let mut erased = [Message::write(0x50, vec![1, 0]), block];
        assert_eq!(transfer(&mut bus, &mut erased), Err(Trouble::Protocol));
    }
}
