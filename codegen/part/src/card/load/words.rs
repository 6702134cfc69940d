//! The words of card files, and what they stand for.

use crate::card::{
    Access, Answer, BlockBitsOnRead, Busy, CyclePer, Kind, Open, Partial, Pointer, RegionKind, Sampled, Span, Wear,
};

pub(super) const KINDS: [(&str, Kind); 2] = [("eeprom", Kind::Eeprom), ("fram", Kind::Fram)];
pub(super) const OPEN: [(&str, Open); 3] = [("low", Open::Low), ("high", Open::High), ("random", Open::Random)];
pub(super) const PER: [(&str, CyclePer); 2] = [("page", CyclePer::Page), ("byte", CyclePer::Byte)];
pub(super) const BUSY: [(&str, Busy); 3] =
    [("any-access", Busy::AnyAccess), ("writes-only", Busy::WritesOnly), ("same-control-byte", Busy::SameControlByte)];
pub(super) const POINTER: [(&str, Pointer); 2] =
    [("wrapped-in-page", Pointer::WrappedInPage), ("last-plus-one", Pointer::LastPlusOne)];
pub(super) const BLOCK_BITS: [(&str, BlockBitsOnRead); 2] =
    [("ignored", BlockBitsOnRead::Ignored), ("latched", BlockBitsOnRead::Latched)];
pub(super) const WEAR: [(&str, Wear); 3] = [("byte", Wear::Byte), ("group-4", Wear::Group4), ("page", Wear::Page)];
pub(super) const SPANS: [(&str, Span); 7] = [
    ("none", Span::None),
    ("all", Span::All),
    ("upper-half", Span::UpperHalf),
    ("lower-half", Span::LowerHalf),
    ("upper-quarter", Span::UpperQuarter),
    ("lower-quarter", Span::LowerQuarter),
    ("upper-eighth", Span::UpperEighth),
];
pub(super) const ACTIVE: [(&str, bool); 2] = [("high", true), ("low", false)];
pub(super) const SAMPLED: [(&str, Sampled); 2] = [("stop", Sampled::Stop), ("data-phase", Sampled::DataPhase)];
pub(super) const ANSWER: [(&str, Answer); 3] =
    [("ack-ready", Answer::AckReady), ("ack-busy", Answer::AckBusy), ("nack-data", Answer::NackData)];
pub(super) const PARTIAL: [(&str, Partial); 2] =
    [("nothing", Partial::Nothing), ("unprotected-only", Partial::UnprotectedOnly)];
pub(super) const RAILS: [(&str, bool); 2] = [("gnd", false), ("vcc", true)];
pub(super) const REGIONS: [(&str, RegionKind); 7] = [
    ("serial-number", RegionKind::SerialNumber),
    ("identification-page", RegionKind::IdentificationPage),
    ("eui-48", RegionKind::Eui48),
    ("eui-64", RegionKind::Eui64),
    ("permanent-protection", RegionKind::PermanentProtection),
    ("reversible-protection", RegionKind::ReversibleProtection),
    ("bank-select", RegionKind::BankSelect),
];
pub(super) const ACCESS: [(&str, Access); 3] =
    [("read-only", Access::ReadOnly), ("lockable", Access::Lockable), ("read-write", Access::ReadWrite)];
