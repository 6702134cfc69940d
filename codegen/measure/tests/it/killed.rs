//! A measurement that is killed at a random moment leaves a copy, and the part is put back from it.

use pagewise_measure::probe::Trouble;

use crate::draws::{Draws, models, seed};
use crate::held::Held;
use crate::models::{random, with_width};
use pagewise_simulator::ChipModel;

#[test]
fn what_was_killed_is_put_back() {
    let mut draws = Draws::new(seed() ^ 0xDEAD);
    // Reading takes most of the transactions of a large part, and changes nothing.
    killed(&mut draws, models(32), random, |draws| draws.pick(&[4000, 12_000]));
}

/// Parts without word-address bytes, whose device-address bits choose the byte in any order.
#[test]
fn what_was_killed_without_a_word_address_is_put_back() {
    let mut draws = Draws::new(seed() ^ 0x70DD);
    killed(&mut draws, models(24), |draws| with_width(draws, 0), |_| 4000);
}

fn killed(draws: &mut Draws, runs: u32, model: fn(&mut Draws) -> ChipModel, most: fn(&mut Draws) -> u32) {
    let (mut killed, mut changed) = (0, 0);
    for _ in 0..runs {
        let model = model(draws);
        let held = Held::new(draws, model);
        let folder = tempfile::tempdir().unwrap();
        let copy = folder.path().join("copy");
        let most = most(draws);
        let transactions = u64::from(draws.below(most));
        match held.measure(&copy, transactions) {
            Ok(_) => {}
            Err(Trouble::Bus(_)) => {
                killed += 1;
                held.release();
                if copy.exists() {
                    let restored = held.restore(&copy).unwrap_or_else(|trouble| panic!("{trouble}: {:?}", held.model));
                    changed += u32::from(restored > 0);
                }
            }
            Err(trouble) => panic!("{trouble}: {:?}", held.model),
        }
        held.untouched();
    }
    println!("{killed} of {runs} runs killed, {changed} of them with bytes to put back");
    assert!(killed * 3 >= runs && changed * 8 >= runs, "too few to show anything");
}
