//! A part is data: cards of serial I2C EEPROMs, each value with its basis; what a marking says; how an offset becomes an
//! address.

#![forbid(unsafe_code)]

pub mod anatomy;
pub mod card;
pub mod fact;
pub mod marking;
