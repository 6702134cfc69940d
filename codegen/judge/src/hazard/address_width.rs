//! address-width, both ways: too few and too many word-address bytes.

pub(super) mod one_to_two;
pub(super) mod two_to_one;
