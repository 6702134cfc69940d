//! Pagewise: swap a serial I2C EEPROM and keep the boards working.

pub mod anatomy;
pub mod board;
pub mod budget;
pub mod card;
pub mod command;
pub mod fact;
pub mod fault;
pub mod fleet;
pub mod form;
pub mod generate;
pub mod hazard;
pub mod image;
pub mod inspect;
pub mod layout;
pub mod line;
pub mod marking;
pub mod output;
pub mod report;
pub mod schema;
pub mod stock;
pub mod sure;
pub mod swap;
