//! Files of measured samples: what real parts did, beside the cards.
//!
//! A value that the sheet read does not state is taken from the samples where all of them agree, with the basis
//! *measured*: nobody promises it. A value that a sheet states is never replaced; samples that differ from it are not of
//! this part, or the card is wrong, and the file is refused. Samples settle structure. The longest write cycle, endurance,
//! retention, temperature and supply are what a sheet promises for every part to come, and are left to it.

use std::sync::LazyLock;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Answer, BlockBitsOnRead, Busy, Card, Pointer, Role, Span, role};
use crate::fact::{Basis, Fact};
use pagewise_base::fault::Faults;
use pagewise_base::form::{Document, Shape};

/// The shape of such files.
pub static SHAPE: LazyLock<Shape<SampleFile>> = LazyLock::new(Shape::new);

/// Samples of one part.
#[derive(Debug, Clone, PartialEq, JsonSchema, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SampleFile {
    /// Identifier of the card that the samples are marked as.
    #[schemars(regex(pattern = r"\S"))]
    pub measured_of: String,
    /// The samples.
    pub sample: Vec<Sample>,
}

/// What was measured on one sample; what was not is left out.
#[derive(Debug, Clone, PartialEq, Default, JsonSchema, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Sample {
    /// What the sample is called.
    #[schemars(regex(pattern = r"\S"))]
    pub name: String,
    /// Day of the measurement, such as 2026-11-29.
    #[schemars(regex(pattern = r"^\d{4}-\d{2}-\d{2}$"), example = &"2026-11-29")]
    pub date: String,
    /// The bus.
    pub bus: String,
    /// A card was measured, on the simulated bus: this counts nowhere.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub simulated: bool,
    /// Supply in volts, as the user said.
    #[schemars(range(min = 0.5, max = 7))]
    #[serde(skip_serializing_if = "Option::is_none")]
    pub supply_v: Option<f64>,
    /// SCL rate in kHz, as the user said.
    #[schemars(range(min = 1, max = 5000))]
    #[serde(skip_serializing_if = "Option::is_none")]
    pub scl_khz: Option<u32>,
    /// Word-address bytes.
    #[schemars(range(min = 0, max = 3))]
    #[serde(skip_serializing_if = "Option::is_none")]
    pub word_address_bytes: Option<u8>,
    /// What bits 6 to 0 of the device address do: = compared, x ignored, B block, ? not asked.
    #[schemars(regex(pattern = r"^[=xB?]( [=xB?]){6}$"), example = &"= = = = B = =")]
    #[serde(skip_serializing_if = "Option::is_none")]
    pub device_bits: Option<String>,
    /// Bytes reached over word address and device address.
    #[schemars(range(min = 16, max = 16_777_216))]
    #[serde(skip_serializing_if = "Option::is_none")]
    pub capacity_bytes: Option<u32>,
    /// Page in bytes.
    #[schemars(range(min = 1, max = 65_536))]
    #[serde(skip_serializing_if = "Option::is_none")]
    pub page_bytes: Option<u32>,
    /// Whether longer writes wrap inside the page.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub page_wrap: Option<bool>,
    /// Which accesses are refused inside a write cycle.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub busy_answer: Option<Busy>,
    /// Pointer after a page write.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pointer_after_write: Option<Pointer>,
    /// Block bits of a read's device address.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub read_block_bits: Option<BlockBitsOnRead>,
    /// A read comes back to its first byte after so many.
    #[schemars(range(min = 1, max = 16_777_216))]
    #[serde(skip_serializing_if = "Option::is_none")]
    pub read_wrap_bytes: Option<u32>,
    /// What WP protected.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub protect_range: Option<Span>,
    /// Whether WP protected when high.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub wp_active_high: Option<bool>,
    /// How a protected write was answered.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub protected_answer: Option<Answer>,
    /// Times behind writes.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub write_cycle: Vec<Cycle>,
}

/// Times between the end of a write and the part's answer.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Cycle {
    /// Bytes of each write.
    #[schemars(range(min = 1, max = 65_536))]
    pub bytes: u32,
    /// Writes.
    #[schemars(range(min = 1, max = 1_000_000))]
    pub writes: u32,
    /// Shortest, in microseconds.
    pub min_us: u64,
    /// The middle one.
    pub median_us: u64,
    /// Longest.
    pub max_us: u64,
    /// Each may have been shorter by so much.
    pub resolution_us: u64,
}

/// Whether a text is a file of samples rather than a card.
pub(super) fn is_samples(text: &str) -> bool {
    text.lines().any(|line| line.split('=').next().is_some_and(|key| key.trim() == "measured_of"))
}

/// Reads a file of samples.
///
/// # Errors
/// Every fault of the file.
pub fn read(file: &str, text: &str) -> Result<SampleFile, Faults> {
    SHAPE.complete(file, text, |form, samples| {
        if samples.sample.is_empty() {
            form.fault("sample", "holds no sample", "measure one: `pagewise measure --part PART -o FILE`");
        }
        samples
    })
}

/// The card with what its samples show where its sheet says nothing. Samples that differ from the sheet are faults.
///
/// # Errors
/// Every value of the sheet that a sample differs from.
pub fn onto(card: &Card, samples: &SampleFile, file: &str, text: &str) -> Result<Card, Faults> {
    let document = Document::parse(file, text);
    let mut measured = card.clone();
    let source = source(samples);
    let with = Onto { document: &document, samples: &samples.sample, source: &source };
    let capacity = card.reachable_bytes();
    with.stated("capacity_bytes", true, &capacity, |sample| sample.capacity_bytes);
    with.stated("page_bytes", !card.page_bytes.is_assumed(), &card.page_bytes.value, |sample| sample.page_bytes);
    with.take("word_address_bytes", &mut measured.word_address_bytes, |sample| sample.word_address_bytes, false);
    with.device_bits(card, &mut measured);
    with.take("busy_answer", &mut measured.busy_answer, |sample| sample.busy_answer, true);
    with.take("pointer_after_write", &mut measured.pointer_after_write, |sample| sample.pointer_after_write, true);
    with.take("read_block_bits", &mut measured.read_block_bits, |sample| sample.read_block_bits, true);
    with.take("read_wrap_bytes", &mut measured.read_wrap_bytes, |sample| sample.read_wrap_bytes, true);
    with.take("protect_range", &mut measured.protect_range, |sample| sample.protect_range, true);
    with.take("wp_active_high", &mut measured.wp_active_high, |sample| sample.wp_active_high, true);
    with.take("protected_answer", &mut measured.protected_answer, |sample| sample.protected_answer, true);
    if measured.page_wrap.is_none()
        && let Some(wraps) = with.agreed(|sample| sample.page_wrap)
    {
        measured.page_wrap = Some(with.fact(wraps));
    }
    with.cycles(card);
    for (index, _) in samples.sample.iter().enumerate().filter(|(_, sample)| sample.simulated) {
        let reason = "was measured on the simulated bus, which shows a card and no part";
        document.fault(&format!("sample[{index}].simulated"), reason, "remove the sample, and measure a real one");
    }
    document.finish().or_ok(())?;
    measured.unmeasured = Some(Box::new(Card { unmeasured: None, ..card.clone() }));
    Ok(measured)
}

struct Onto<'o> {
    document: &'o Document<'o>,
    samples: &'o [Sample],
    source: &'o str,
}

impl Onto<'_> {
    fn fact<T>(&self, value: T) -> Fact<T> {
        Fact { value, basis: Basis::Measured { source: self.source.into() } }
    }

    /// What every sample that says something says.
    fn agreed<T: PartialEq>(&self, of: impl Fn(&Sample) -> Option<T>) -> Option<T> {
        let mut said = self.samples.iter().filter_map(of);
        let first = said.next()?;
        said.all(|next| next == first).then_some(first)
    }

    /// A value that the sheet states has to be that of every sample.
    fn stated<T: PartialEq + std::fmt::Debug>(
        &self,
        field: &str,
        stated: bool,
        sheet: &T,
        of: impl Fn(&Sample) -> Option<T>,
    ) {
        for (index, sample) in self.samples.iter().enumerate().filter(|_| stated) {
            if let Some(found) = of(sample).filter(|found| found != sheet) {
                let reason = format!("is {found:?} on sample `{}`, the sheet says {sheet:?}", sample.name);
                let remedy = "that sample is another part, or the card is wrong: name another card in `measured_of`";
                self.document.fault(&format!("sample[{index}].{field}"), reason, remedy);
            }
        }
    }

    /// Puts what the samples agree on where the sheet says nothing. `other`: whether it may be another value than the
    /// assumed one; where others hang on it, it may not.
    fn take<T>(&self, field: &str, fact: &mut Fact<T>, of: impl Fn(&Sample) -> Option<T>, other: bool)
    where
        T: PartialEq + Clone + std::fmt::Debug,
    {
        self.stated(field, !fact.is_assumed() || !other, &fact.value, &of);
        if let Some(value) = self.agreed(of).filter(|_| fact.is_assumed()) {
            *fact = self.fact(value);
        }
    }

    /// Bits that do what the card says, or assumes.
    fn device_bits(&self, card: &Card, measured: &mut Card) {
        let expected = card.device_bits().map(|role| match role {
            Role::Fixed(_) | Role::Pin(_) | Role::PinInverted(_) => "=",
            Role::Ignored => "x",
            Role::Block(_) => "B",
        });
        let mut all = true;
        for (index, sample) in self.samples.iter().enumerate() {
            let Some(found) = &sample.device_bits else {
                all = false;
                continue;
            };
            let mut pairs = found.split(' ').zip(&expected);
            if pairs.any(|(found, expected)| found != "?" && found != *expected) {
                all = false;
                let row = role::row(&card.device_bits());
                let whether = if card.address_bits.is_assumed() { "assumes" } else { "says" };
                let reason = format!("are `{found}` on sample `{}`, the card {whether} `{row}`", sample.name);
                let remedy = "that sample is another part, or in another package; or the card is wrong";
                self.document.fault(&format!("sample[{index}].device_bits"), reason, remedy);
            }
        }
        if all && card.address_bits.is_assumed() {
            measured.address_bits = self.fact(card.address_bits.value);
        }
    }

    /// No sample may take longer than the sheet allows; that one is within it promises nothing.
    fn cycles(&self, card: &Card) {
        if card.write_cycle_max_us.is_assumed() {
            return;
        }
        let longest = |bytes: u32| match card.write_cycle_per.value {
            super::CyclePer::Page => u64::from(card.write_cycle_max_us.value),
            super::CyclePer::Byte => u64::from(card.write_cycle_max_us.value) * u64::from(bytes),
        };
        for (index, sample) in self.samples.iter().enumerate() {
            for cycle in &sample.write_cycle {
                let at_least = cycle.max_us.saturating_sub(cycle.resolution_us);
                if at_least > longest(cycle.bytes) {
                    let most = longest(cycle.bytes);
                    let reason =
                        format!("a write took {at_least} us on sample `{}`, the sheet allows {most} us", sample.name);
                    self.document.fault(
                        &format!("sample[{index}].write_cycle"),
                        reason,
                        "that sample is another part, or bad",
                    );
                }
            }
        }
    }
}

/// `3 samples, 2026-11-01 to 2026-11-29, 3.3 V, 100 kHz: A, B, C`.
fn source(samples: &SampleFile) -> String {
    let all = &samples.sample;
    let count = all.len();
    let mut dates: Vec<&str> = all.iter().map(|sample| sample.date.as_str()).collect();
    dates.sort_unstable();
    let dates = match (dates.first(), dates.last()) {
        (Some(first), Some(last)) if first != last => format!("{first} to {last}"),
        (Some(first), _) => (*first).to_owned(),
        _ => String::new(),
    };
    let each = |say: &dyn Fn(&Sample) -> Option<String>| {
        let mut said: Vec<String> = all.iter().map(|s| say(s).unwrap_or_else(|| "not stated".into())).collect();
        said.dedup();
        said.join(", ")
    };
    let supply = each(&|sample| sample.supply_v.map(|volts| format!("{volts} V")));
    let rate = each(&|sample| sample.scl_khz.map(|khz| format!("{khz} kHz")));
    let names: Vec<&str> = all.iter().map(|sample| sample.name.as_str()).collect();
    let plural = if count == 1 { "" } else { "s" };
    format!("{count} sample{plural}, {dates}, supply {supply}, SCL {rate}: {}", names.join(", "))
}
