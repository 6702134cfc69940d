//! Random numbers from a seed that is printed.

use rand_core::{Rng, SeedableRng};
use rand_xorshift::XorShiftRng;

pub struct Draws(XorShiftRng);

impl Draws {
    pub fn new(seed: u64) -> Self {
        Self(XorShiftRng::seed_from_u64(seed))
    }

    /// From 0 to below `bound`.
    pub fn below(&mut self, bound: u32) -> u32 {
        self.0.next_u32() % bound.max(1)
    }

    pub fn one_in(&mut self, times: u32) -> bool {
        self.below(times) == 0
    }

    pub fn pick<T: Clone>(&mut self, of: &[T]) -> T {
        of[self.below(of.len() as u32) as usize].clone()
    }

    pub fn byte(&mut self) -> u8 {
        self.below(256) as u8
    }
}

/// The seed, from the environment or the usual one.
pub fn seed() -> u64 {
    let given = std::env::var("PAGEWISE_SEED").ok();
    let seed =
        given.and_then(|text| u64::from_str_radix(text.trim_start_matches("0x"), 16).ok()).unwrap_or(0x0EE9_0013);
    println!("PAGEWISE_SEED={seed:#x}");
    seed
}

/// How many random models are measured: some dozens, or what `PAGEWISE_MODELS` says.
pub fn models(usual: u32) -> u32 {
    std::env::var("PAGEWISE_MODELS").ok().and_then(|text| text.parse().ok()).unwrap_or(usual)
}
