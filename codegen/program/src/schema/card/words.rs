//! The words of a card.

use schemars::JsonSchema;
use serde::Deserialize;

#[derive(JsonSchema, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum Kind {
    Eeprom,
    Fram,
}

#[derive(JsonSchema, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum Open {
    Low,
    High,
    Random,
}

#[derive(JsonSchema, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum Busy {
    AnyAccess,
    WritesOnly,
    SameControlByte,
}

#[derive(JsonSchema, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum Pointer {
    WrappedInPage,
    LastPlusOne,
}

#[derive(JsonSchema, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum BlockBits {
    Ignored,
    Latched,
}

#[derive(JsonSchema, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum Wear {
    Byte,
    #[serde(rename = "group-4")]
    Group4,
    Page,
}

#[derive(JsonSchema, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum Shipped {
    Erased,
}

#[derive(JsonSchema, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum Per {
    Page,
    Byte,
}

#[derive(JsonSchema, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum Span {
    None,
    All,
    UpperHalf,
    LowerHalf,
    UpperQuarter,
    LowerQuarter,
    UpperEighth,
}

#[derive(JsonSchema, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum Level {
    High,
    Low,
}

#[derive(JsonSchema, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum Sampled {
    Stop,
    DataPhase,
}

#[derive(JsonSchema, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum Answer {
    AckReady,
    AckBusy,
    NackData,
}

#[derive(JsonSchema, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum Partial {
    Nothing,
    UnprotectedOnly,
}

#[derive(JsonSchema, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum Rail {
    Gnd,
    Vcc,
}

#[derive(JsonSchema, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum RegionKind {
    SerialNumber,
    IdentificationPage,
    #[serde(rename = "eui-48")]
    Eui48,
    #[serde(rename = "eui-64")]
    Eui64,
    PermanentProtection,
    ReversibleProtection,
    BankSelect,
}

#[derive(JsonSchema, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(super) enum Access {
    ReadOnly,
    Lockable,
    ReadWrite,
}
