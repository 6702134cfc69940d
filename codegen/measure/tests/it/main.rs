//! Measures simulated parts without being told what they are.

mod blind;
mod draws;
mod held;
mod killed;
mod models;
