//! Programs in the notation, played on simulated chips.

mod bounds;
mod breaks;
mod notation;
mod steps;
