//! Faults on the command line.

use pagewise_base::fault::Fault;
use pagewise_simulator::{ChipId, Fault as Kind, Faults, Ratio};

/// What can be written, for the help text and the message about what cannot.
pub(in crate::command) const WORDS: &str = "nack=BYTE, flip=BYTE:MASK, lost-write=CYCLE, long-cycle=CYCLE:MS, \
    stuck=OFFSET:MASK:VALUE, rest-flip=OFFSET:MASK, sda-low=FROM_MS:UNTIL_MS, scl-low=FROM_MS:UNTIL_MS, or a share such as \
    1/100 for nack, flip, lie (pages that do not store) or long (pages with long write cycles)";

/// Reads faults. Bytes on the bus and write cycles are counted from 0; cycles and offsets are those of the first chip.
pub(in crate::command) fn parse(texts: &[String], seed: u64) -> Result<Faults, Fault> {
    let mut faults = Faults { seed, ..Faults::default() };
    for text in texts {
        add(&mut faults, text)
            .ok_or_else(|| Fault::of_file(&format!("--fault {text}"), "is not a fault", format!("write {WORDS}")))?;
    }
    Ok(faults)
}

fn add(faults: &mut Faults, text: &str) -> Option<()> {
    let (kind, places) = text.split_once('=')?;
    if let Some((hits, of)) = places.split_once('/') {
        let share = Ratio::new(hits.parse().ok()?, of.parse().ok().filter(|of| *of > 0)?);
        let place = match kind {
            "nack" => &mut faults.nack,
            "flip" => &mut faults.flip,
            "lie" => &mut faults.lie,
            "long" => &mut faults.long,
            _ => return None,
        };
        *place = share;
        return Some(());
    }
    let parts: Vec<&str> = places.split(':').collect();
    let chip = first_chip()?;
    let fault = match (kind, parts.as_slice()) {
        ("nack", [byte]) => Kind::Nack { byte: number(byte)? },
        ("flip", [byte, mask]) => Kind::Flip { byte: number(byte)?, mask: small(mask)? },
        ("lost-write", [cycle]) => Kind::WriteDoesNotStick { chip, cycle: number(cycle)? },
        ("long-cycle", [cycle, ms]) => Kind::LongCycle { chip, cycle: number(cycle)?, lasts_ns: time(ms)? },
        ("rest-flip", [offset, mask]) => Kind::RestFlip { chip, offset: offset_of(offset)?, mask: small(mask)? },
        ("stuck", [offset, mask, value]) => {
            Kind::StuckBits { chip, offset: offset_of(offset)?, mask: small(mask)?, value: small(value)? }
        }
        ("sda-low", [from, until]) => Kind::SdaLow { from_ns: time(from)?, until_ns: time(until)? },
        ("scl-low", [from, until]) => Kind::SclLow { from_ns: time(from)?, until_ns: time(until)? },
        _ => return None,
    };
    faults.script.push(fault);
    Some(())
}

/// A chip's number comes from the rig that it hangs on, or from outside, as here.
fn first_chip() -> Option<ChipId> {
    serde_json::from_value(0.into()).ok()
}

fn number(text: &str) -> Option<u64> {
    match text.strip_prefix("0x") {
        Some(digits) => u64::from_str_radix(digits, 16).ok(),
        None => text.parse().ok(),
    }
}

fn small(text: &str) -> Option<u8> {
    number(text)?.try_into().ok()
}

fn offset_of(text: &str) -> Option<u32> {
    number(text)?.try_into().ok()
}

/// Milliseconds as nanoseconds.
fn time(text: &str) -> Option<u64> {
    let ms: f64 = text.parse().ok()?;
    (ms.is_finite() && (0.0..=1e9).contains(&ms)).then_some((ms * 1e6) as u64)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(texts: &[&str]) -> Result<Faults, Fault> {
        parse(&texts.iter().map(|text| (*text).to_owned()).collect::<Vec<_>>(), 7)
    }

    #[test]
    fn faults_are_places_or_shares() {
        let faults = read(&["nack=2", "flip=0x10:0x81", "lie=1/100", "long-cycle=3:20", "sda-low=1:2.5"]).unwrap();
        let chip = first_chip().unwrap();
        let long = Kind::LongCycle { chip, cycle: 3, lasts_ns: 20_000_000 };
        let low = Kind::SdaLow { from_ns: 1_000_000, until_ns: 2_500_000 };
        assert_eq!(faults.script, [Kind::Nack { byte: 2 }, Kind::Flip { byte: 16, mask: 0x81 }, long, low]);
        assert_eq!((faults.seed, faults.lie, faults.nack), (7, Ratio::new(1, 100), Ratio::NEVER));
    }

    #[test]
    fn what_is_not_a_fault_is_told_with_what_could_be() {
        for bad in
            ["", "nack", "nack=", "nack=x", "nack=1:2", "flip=1:256", "lie=1/0", "worse=1", "stuck=0:1", "long=3"]
        {
            assert!(read(&[bad]).unwrap_err().remedy.contains("nack=BYTE"), "{bad}");
        }
    }
}
