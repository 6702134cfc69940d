//! What was measured, as a file that stands beside the cards.

use std::time::SystemTime;

use crate::facts::{BitRole, Facts, Page, Times};
use pagewise_part::card::sample::{Cycle, Sample, SampleFile};
use pagewise_part::card::{Card, Span};

/// Where and how a sample was measured, as far as the user says it.
#[derive(Debug, Clone, Copy)]
pub struct Conditions<'c> {
    /// The bus.
    pub bus: &'c str,
    /// The simulated one.
    pub simulated: bool,
    /// Supply in millivolts.
    pub supply_mv: Option<u32>,
    /// SCL rate in kHz.
    pub scl_khz: Option<u32>,
}

/// Everything that was shown, without a name yet.
#[must_use]
pub fn of(card: &Card, facts: &Facts, conditions: &Conditions<'_>) -> Sample {
    let protection = facts.protection.value();
    let letter = |role: &BitRole| match role {
        BitRole::Compared => "=",
        BitRole::Ignored => "x",
        BitRole::Block => "B",
        BitRole::NotAsked => "?",
    };
    let now = humantime::format_rfc3339_seconds(SystemTime::now()).to_string();
    Sample {
        name: String::new(),
        date: now.chars().take(10).collect(),
        bus: conditions.bus.to_owned(),
        simulated: conditions.simulated,
        supply_v: conditions.supply_mv.map(|mv| f64::from(mv) / 1000.0),
        scl_khz: conditions.scl_khz,
        word_address_bytes: facts.width.value().copied(),
        device_bits: facts.device_bits.value().map(|bits| bits.iter().map(letter).collect::<Vec<_>>().join(" ")),
        capacity_bytes: facts.capacity.value().copied(),
        page_bytes: match facts.page.value() {
            Some(Page::Exactly(bytes)) => Some(*bytes),
            Some(Page::AtLeast(_)) | None => None,
        },
        page_wrap: facts.page_wrap.value().copied(),
        busy_answer: facts.busy.value().and_then(|busy| busy.word()),
        pointer_after_write: facts.pointer.value().copied(),
        read_block_bits: facts.read_block_bits.value().copied(),
        read_wrap_bytes: facts.read_wrap.value().copied(),
        protect_range: protection.and_then(|found| {
            let stretches = found.protected.as_ref()?;
            let found = stretches.iter().map(|stretch| (stretch.start, stretch.bytes));
            span(&found.collect::<Vec<_>>(), card.capacity_bytes.value)
        }),
        wp_active_high: protection.and_then(|found| found.active_high),
        protected_answer: protection.and_then(|found| found.answer),
        write_cycle: [&facts.byte_cycle, &facts.page_cycle]
            .into_iter()
            .filter_map(|it| it.value())
            .map(cycle)
            .collect(),
    }
}

/// The word of the cards for what was protected, where there is one.
fn span(found: &[(u32, u32)], capacity: u32) -> Option<Span> {
    use Span::{All, LowerHalf, LowerQuarter, None, UpperEighth, UpperHalf, UpperQuarter};
    let words = [None, All, UpperHalf, LowerHalf, UpperQuarter, LowerQuarter, UpperEighth];
    let is = |span: &Span| {
        let (start, bytes) = span.bytes(capacity);
        found.iter().copied().eq((bytes > 0).then_some((start, bytes)))
    };
    words.into_iter().find(is)
}

const fn cycle(times: &Times) -> Cycle {
    let Times { writes, min_us, median_us, max_us, resolution_us, bytes } = *times;
    Cycle { bytes, writes, min_us, median_us, max_us, resolution_us }
}

/// What the samples of a file say together of the write cycle: writes, shortest and longest, in microseconds.
#[must_use]
pub fn spread(file: &SampleFile, bytes: u32) -> Option<(u32, u64, u64)> {
    let all = file.sample.iter().flat_map(|sample| &sample.write_cycle).filter(|cycle| cycle.bytes == bytes);
    all.map(|cycle| (cycle.writes, cycle.min_us, cycle.max_us)).reduce(|a, b| (a.0 + b.0, a.1.min(b.1), a.2.max(b.2)))
}

/// The file as text. What the samples bound together, and what they do not settle, stands above them.
///
/// # Errors
/// A value that TOML does not know.
pub fn text(file: &SampleFile) -> Result<String, String> {
    let body = toml::to_string(file).map_err(|error| error.to_string())?;
    let count = file.sample.len();
    let mut head = format!(
        "# Measured on {count} sample{} of {}: what these did, and nobody promises of the next one. `--cards` takes the\n\
         # folder of this file: structure that no sheet states is then as measured. Not settled by any number of samples:\n\
         # the longest write cycle, endurance, retention, other temperatures and supplies, the next lot.\n",
        if count == 1 { "" } else { "s" },
        file.measured_of
    );
    let mut sizes: Vec<u32> = file.sample.iter().flat_map(|s| s.write_cycle.iter().map(|cycle| cycle.bytes)).collect();
    sizes.sort_unstable();
    sizes.dedup();
    for bytes in sizes {
        if let Some((writes, min, max)) = spread(file, bytes) {
            head += &format!("# Behind {writes} writes of {bytes} bytes together: {min} us to {max} us.\n");
        }
    }
    Ok(head + "\n" + &body)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ranges_are_named_as_cards_name_them() {
        assert_eq!(span(&[], 256), Some(Span::None));
        assert_eq!(span(&[(0, 256)], 256), Some(Span::All));
        assert_eq!(span(&[(192, 64)], 256), Some(Span::UpperQuarter));
        assert_eq!(span(&[(0, 32)], 256), None);
        assert_eq!(span(&[(0, 64), (192, 64)], 256), None);
    }
}
