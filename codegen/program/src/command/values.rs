//! Values on the command line: densities, offsets, supplies, straps.

use clap::builder::{PossibleValue, PossibleValuesParser, TypedValueParser};

use pagewise_base::fault::{Fault, Faults};
use pagewise_base::form::word;
use pagewise_emit::Record;
use pagewise_judge::board::Strap;
use pagewise_judge::swap::Verdict;
use pagewise_measure::place::Scratch;
use pagewise_part::card::geometry::PinLevels;
use pagewise_part::card::{Card, Footprint, Open};

/// Bytes of a density written as the trade does (`32k`, `32kbit`, `2M`, `2 Mbit`, `512bit`) or in bytes
/// (`4096 bytes`, `4096B`).
///
/// A bare number is refused: nobody knows whether kilobits or bytes are meant.
///
/// # Errors
/// What is wrong with the text.
pub fn density(text: &str) -> Result<u32, String> {
    const FORMS: &str = "write 32k, 32kbit, 2M, 2Mbit or 4096 bytes";
    let trimmed = text.trim();
    let split = trimmed.find(|c: char| !c.is_ascii_digit()).unwrap_or(trimmed.len());
    let (digits, unit) = trimmed.split_at(split);
    let (unit, lower) = (unit.trim(), unit.trim().to_lowercase());
    let bits_per_unit: u64 = match lower.as_str() {
        "k" | "kbit" | "kbits" => 1024,
        "m" | "mbit" | "mbits" => 1024 * 1024,
        "bit" | "bits" => 1,
        "byte" | "bytes" => 8,
        "b" if unit == "B" => 8,
        "" | "b" | "kb" | "mb" => return Err(format!("`{text}` could be bits or bytes; {FORMS}")),
        _ => return Err(format!("`{text}` is not a density; {FORMS}")),
    };
    let number: u64 = digits.parse().map_err(|_| format!("`{text}` is not a density; {FORMS}"))?;
    let bits = number.checked_mul(bits_per_unit).filter(|bits| (128..=134_217_728).contains(bits));
    let bits = bits.ok_or_else(|| format!("`{text}` is out of range; densities go from 128 bit to 128 Mbit"))?;
    if !bits.is_power_of_two() {
        return Err(format!("`{text}` is not a power of two; no such part exists"));
    }
    Ok((bits / 8) as u32)
}

/// A byte offset, decimal or hexadecimal (`0x123`).
///
/// # Errors
/// The text is not a number below 2^32.
pub fn offset(text: &str) -> Result<u32, String> {
    let parsed = match text.strip_prefix("0x").or_else(|| text.strip_prefix("0X")) {
        Some(digits) => u32::from_str_radix(digits, 16),
        None => text.parse(),
    };
    parsed.map_err(|_| format!("`{text}` is not an offset; write bytes, such as 291 or 0x123"))
}

/// Millivolts of a supply in volts (`3.3` or `3.3V`), 0.5 V to 6.5 V.
///
/// # Errors
/// What is wrong with the text.
pub fn millivolts(text: &str) -> Result<u32, String> {
    let digits = text.trim().trim_end_matches(['v', 'V']).trim_end();
    let volts: f64 = digits.parse().map_err(|_| format!("`{text}` is not a supply; write volts, such as 3.3"))?;
    if !(0.5..=6.5).contains(&volts) {
        return Err(format!("{text} is out of range; supplies go from 0.5 V to 6.5 V"));
    }
    Ok((volts * 1000.0).round() as u32)
}

/// A record written as `OFFSET:LENGTH`, such as `0x20:16`.
///
/// # Errors
/// What is wrong with the text.
pub fn record(text: &str) -> Result<Record, String> {
    let form = || format!("`{text}` is not a place of a record; write OFFSET:LENGTH in bytes, such as 0x20:16");
    let (start, length) = text.split_once(':').ok_or_else(form)?;
    let (offset, bytes) = (offset(start).map_err(|_| form())?, offset(length).map_err(|_| form())?);
    match bytes {
        1..=4096 => Ok(Record { offset, bytes }),
        _ => Err(format!("`{text}`: a record has 1 to 4096 bytes")),
    }
}

/// Bytes that may be written, as `OFFSET:LENGTH`.
///
/// # Errors
/// What is wrong with the text.
pub fn scratch(text: &str) -> Result<Scratch, String> {
    let form = || format!("`{text}` is not a range; write OFFSET:LENGTH in bytes, such as 0x100:256");
    let (start, length) = text.split_once(':').ok_or_else(form)?;
    let (start, bytes) = (offset(start).map_err(|_| form())?, offset(length).map_err(|_| form())?);
    Scratch::new(start, bytes).map_err(|reason| format!("`{text}`: {reason}"))
}

/// A device address that is not reserved.
///
/// # Errors
/// The text is no number from 0x08 to 0x77.
pub fn device_address(text: &str) -> Result<u8, String> {
    let number = offset(text).ok().and_then(|number| u8::try_from(number).ok());
    let asked = number.filter(|number| (0x08..=0x77).contains(number));
    asked.ok_or_else(|| format!("`{text}` is not a device address; write one from 0x08 to 0x77, such as 0x50"))
}

/// A verdict by its word, with what each means for whoever asks.
#[must_use]
pub fn verdict() -> impl TypedValueParser<Value = Verdict> {
    let words = Verdict::ALL.map(|verdict| PossibleValue::new(verdict.word()).help(verdict.meaning()));
    PossibleValuesParser::new(words)
        .map(|word| Verdict::ALL.into_iter().find(|verdict| verdict.word() == word).unwrap_or(Verdict::Reject))
}

/// A footprint by its word.
///
/// # Errors
/// The text is not a known word.
pub fn footprint(text: &str) -> Result<Footprint, String> {
    word::read(&text.to_lowercase())
        .ok_or_else(|| format!("`{text}` is not a footprint; use one of: {}", word::all::<Footprint>().join(", ")))
}

/// A range of temperatures in degrees Celsius, written as `-40..85`.
///
/// # Errors
/// The text is no such range.
pub fn temperatures(text: &str) -> Result<(i32, i32), String> {
    let ends = text.split_once("..").map(|(low, high)| (low.trim().parse(), high.trim().parse()));
    match ends {
        Some((Ok(low), Ok(high))) if low <= high => Ok((low, high)),
        _ => Err(format!("`{text}` is not a range of temperatures; write -40..85")),
    }
}

/// What the user said about the address pins; `None` where nothing was said.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Straps(pub [Option<Strap>; 3]);

/// Reads straps written as `a0=gnd,a1=vcc,a2=open`.
///
/// # Errors
/// What is wrong with the text.
pub fn straps(text: &str) -> Result<Straps, String> {
    let mut straps = Straps::default();
    for item in text.split(',').map(str::trim) {
        let (pin, word) =
            item.split_once('=').ok_or_else(|| format!("`{item}` is not a strap; write a0=gnd,a1=vcc"))?;
        let index = match pin.trim().to_lowercase().as_str() {
            "a0" => 0,
            "a1" => 1,
            "a2" => 2,
            _ => return Err(format!("`{pin}` is not an address pin; use a0, a1, a2")),
        };
        let strap = match word.trim().to_lowercase().as_str() {
            "gnd" => Strap::Gnd,
            "vcc" => Strap::Vcc,
            "open" => Strap::Open,
            _ => return Err(format!("`{word}` is not a level; use gnd, vcc or open")),
        };
        if straps.0[index].replace(strap).is_some() {
            return Err(format!("{pin} is given twice"));
        }
    }
    Ok(straps)
}

/// Levels of the address pins of a card with these straps; pins that were not named are low, or at the level that the
/// part demands.
///
/// # Errors
/// A pin at another level than the part demands, or open where an open pin reads as anything.
pub fn pin_levels(card: &Card, straps: Straps) -> Result<PinLevels, Faults> {
    let mut levels = [false; 3];
    let mut faults = Vec::new();
    for pin in 0..3u8 {
        let index = usize::from(pin);
        let demanded = card.required_straps.iter().find(|(strapped, _)| *strapped == pin).map(|(_, high)| *high);
        let compared = card.device_bits().iter().any(|role| role.pin() == Some(pin));
        let level = match (straps.0[index], card.open_strap.value) {
            (None, _) => demanded.unwrap_or(false),
            (Some(Strap::Vcc), _) | (Some(Strap::Open), Open::High) => true,
            (Some(Strap::Open), Open::Random) if compared || demanded.is_some() => {
                let reason = format!("a{pin} open reads as anything on {}", card.id);
                faults.push(Fault::of_file("--straps", reason, "tie it to gnd or vcc"));
                demanded.unwrap_or(false)
            }
            _ => false,
        };
        if let Some(high) = demanded
            && level != high
        {
            let rail = if high { "vcc" } else { "gnd" };
            let reason = format!("{} works only with a{pin} tied to {rail}", card.id);
            faults.push(Fault::of_file("--straps", reason, format!("write a{pin}={rail}")));
        }
        levels[index] = level;
    }
    Faults(faults).or_ok(levels)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn densities_are_read_both_ways() {
        for text in ["32k", "32kbit", "32 kbit", "32K", "4096 bytes", "4096bytes", "4096B", "32768bit"] {
            assert_eq!(density(text), Ok(4096), "{text}");
        }
        assert_eq!(density("2Mbit"), Ok(262_144));
        for (text, reason) in [
            ("32", "could be bits or bytes"),
            ("", "could be bits or bytes"),
            ("32KB", "could be bits or bytes"),
            ("32x", "is not a density"),
            ("k", "is not a density"),
            ("33k", "is not a power of two"),
            ("0k", "is out of range"),
            ("99999999999999999999k", "is not a density"),
            ("18446744073709551615M", "is out of range"),
        ] {
            assert!(density(text).unwrap_err().contains(reason), "{text}");
        }
    }

    #[test]
    fn every_size_reads_back_as_it_is_shown() {
        for bytes in (4..=24).map(|bit| 1u32 << bit) {
            let shown = pagewise_part::card::density(bytes);
            for half in shown.split(" = ") {
                assert_eq!(density(half), Ok(bytes), "{half}");
            }
        }
    }

    proptest::proptest! {
        #![proptest_config(proptest::test_runner::Config {
            rng_seed: proptest::test_runner::RngSeed::Fixed(1),
            failure_persistence: None,
            ..Default::default()
        })]

        #[test]
        fn any_text_is_read_or_refused_with_a_reason(text in "[0-9.x=,a-zA-Z é-]{0,12}") {
            let reasons = [density(&text).err(), offset(&text).err(), millivolts(&text).err(), straps(&text).err()];
            proptest::prop_assert!(reasons.iter().flatten().all(|reason| !reason.is_empty()));
        }
    }

    #[test]
    fn offsets_and_supplies_are_read_or_refused() {
        assert_eq!(offset("0x123"), Ok(291));
        assert_eq!(offset("291"), Ok(291));
        assert!(offset("0x").is_err() && offset("-1").is_err() && offset("0x100000000").is_err());
        assert_eq!(millivolts("3.3V"), Ok(3300));
        assert_eq!(millivolts("1.65"), Ok(1650));
        assert!(millivolts("NaN").is_err() && millivolts("12").is_err() && millivolts("x").is_err());
    }

    #[test]
    fn records_are_read_or_refused() {
        assert_eq!(record("0x20:16"), Ok(Record { offset: 0x20, bytes: 16 }));
        for text in ["", "16", "0:", ":16", "0:0", "0:0x1001", "-1:2", "0:1:2"] {
            assert!(record(text).is_err(), "{text}");
        }
    }

    #[test]
    fn straps_are_read_or_refused() {
        let read = straps("a0=vcc, A2=open").unwrap();
        assert_eq!(read.0, [Some(Strap::Vcc), None, Some(Strap::Open)]);
        for text in ["", "a0", "a3=gnd", "a0=high", "a0=gnd,a0=vcc"] {
            assert!(straps(text).is_err(), "{text}");
        }
    }
}
