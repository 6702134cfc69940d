//! Numbers with units, and bytes.

use alloc::format;
use alloc::vec;
use alloc::vec::Vec;

/// A number in thousandths, as far as it has digits there.
fn thousandths(text: &str) -> Option<u64> {
    let (whole, part) = text.split_once('.').unwrap_or((text, ""));
    let digits = |text: &str| text.bytes().all(|byte| byte.is_ascii_digit());
    if whole.is_empty() || !digits(whole) || !digits(part) || part.len() > 3 || whole.len() > 12 {
        return None;
    }
    let part: u64 = format!("{part:0<3}").parse().ok()?;
    whole.parse::<u64>().ok()?.checked_mul(1000)?.checked_add(part)
}

fn with_units(text: &str, units: &[(&str, u64)]) -> Option<u64> {
    let at = text.find(|c: char| c.is_ascii_alphabetic())?;
    let (number, unit) = text.split_at(at);
    let (_, factor) = units.iter().find(|(name, _)| name.eq_ignore_ascii_case(unit))?;
    thousandths(number)?.checked_mul(*factor).map(|value| value / 1000)
}

/// Nanoseconds, at most an hour.
pub(super) fn time(text: &str) -> Option<u64> {
    let ns = with_units(text, &[("ns", 1), ("us", 1000), ("ms", 1_000_000), ("s", 1_000_000_000)])?;
    (ns <= 3_600_000_000_000).then_some(ns)
}

/// Millivolts, at most 6.5 V.
pub(super) fn supply(text: &str) -> Option<u32> {
    // `mV` and `MV` would be one unit; nobody has the other.
    let mv = with_units(text, &[("mV", 1), ("V", 1000)])?;
    u32::try_from(mv).ok().filter(|mv| *mv <= 6500)
}

/// Hertz, from 1 kHz to 5 MHz.
pub(super) fn rate(text: &str) -> Option<u32> {
    let hz = with_units(text, &[("Hz", 1), ("kHz", 1000), ("MHz", 1_000_000)])?;
    u32::try_from(hz).ok().filter(|hz| (1000..=5_000_000).contains(hz))
}

/// Ohms, from 50 to 1 Mohm.
pub(super) fn resistance(text: &str) -> Option<u32> {
    let ohm = with_units(text, &[("ohm", 1), ("kohm", 1000)])?;
    u32::try_from(ohm).ok().filter(|ohm| (50..=1_000_000).contains(ohm))
}

/// Picofarads, at most 10 nF.
pub(super) fn capacitance(text: &str) -> Option<u32> {
    with_units(text, &[("pF", 1)]).and_then(|pf| u32::try_from(pf).ok()).filter(|pf| *pf <= 10_000)
}

/// A byte of two hexadecimal digits.
pub(super) fn byte(text: &str) -> Option<u8> {
    (text.len() == 2 && text.bytes().all(|b| b.is_ascii_hexdigit()))
        .then(|| u8::from_str_radix(text, 16).ok())
        .flatten()
}

/// An offset of up to eight hexadecimal digits, below 16 MiB.
pub(super) fn offset(text: &str) -> Option<u32> {
    let text = text.strip_prefix("0x").unwrap_or(text);
    let digits = !text.is_empty() && text.bytes().all(|b| b.is_ascii_hexdigit());
    digits.then(|| u32::from_str_radix(text, 16).ok()).flatten().filter(|offset| *offset < 1 << 24)
}

/// Bytes as a token spells them: `AB`, `80..8F`, `FFx16`; `None` in a list stands for `??`.
pub(super) fn bytes(text: &str) -> Option<Vec<Option<u8>>> {
    let one = |text: &str| if text == "??" { Some(None) } else { byte(text).map(Some) };
    if let Some((first, last)) = text.split_once("..") {
        let (first, last) = (byte(first)?, byte(last)?);
        let count = usize::from(last.wrapping_sub(first)) + 1;
        return Some((0..count).map(|at| Some(first.wrapping_add(at as u8))).collect());
    }
    if let Some((value, times)) = text.split_once('x') {
        let times: usize = times.parse().ok().filter(|times| (1..=4096).contains(times))?;
        return Some(vec![one(value)?; times]);
    }
    Some(vec![one(text)?])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_have_units_and_limits() {
        assert_eq!((time("5ms"), time("1.5us"), time("2h"), time("5")), (Some(5_000_000), Some(1500), None, None));
        assert_eq!((supply("3.3V"), supply("900mV"), supply("7V")), (Some(3300), Some(900), None));
        assert_eq!((rate("400kHz"), rate("1MHz"), rate("10Hz")), (Some(400_000), Some(1_000_000), None));
        assert_eq!((resistance("2.2kohm"), capacitance("91pF")), (Some(2200), Some(91)));
        assert_eq!(
            (offset("0010"), offset("FFFFFF"), offset("1000000"), offset("xy")),
            (Some(16), Some(0xFF_FFFF), None, None)
        );
    }

    #[test]
    fn bytes_count_and_repeat() {
        assert_eq!(bytes("FE..01"), Some(vec![Some(0xFE), Some(0xFF), Some(0), Some(1)]));
        assert_eq!(bytes("??x2"), Some(vec![None, None]));
        assert_eq!((bytes("FFx5000"), bytes("F"), bytes("é1"), bytes("..")), (None, None, None, None));
    }
}
