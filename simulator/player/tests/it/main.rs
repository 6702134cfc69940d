//! Programs in the notation, played on simulated chips.

mod bounds;
mod notation;
mod steps;
