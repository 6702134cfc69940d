//! A measurement that is killed at a random moment leaves a copy, and the part is put back from it.

use pagewise_measure::probe::Trouble;

use crate::draws::{Draws, models, seed};
use crate::held::Held;
use crate::models::{random, with_width};
use pagewise_simulator::ChipModel;

/// A run that notices what drawn ones rarely do: a copy made under a width that reading excludes tells nothing.
const KEPT: [u64; 1] = [0x1299_DEBE];

#[test]
fn what_was_killed_is_put_back() {
    let first = seed() ^ 0xDEAD;
    let runs = (0..u64::from(models(32))).map(|run| first.wrapping_add(run << 20)).chain(KEPT);
    // Reading takes most of the transactions of a large part, and changes nothing.
    killed(runs, random, |draws| draws.pick(&[4000, 12_000]));
}

/// Parts without word-address bytes, whose device-address bits choose the byte in any order.
#[test]
fn what_was_killed_without_a_word_address_is_put_back() {
    let first = seed() ^ 0x70DD;
    let runs = (0..u64::from(models(24))).map(|run| first.wrapping_add(run << 20));
    killed(runs, |draws| with_width(draws, 0), |_| 4000);
}

fn killed(runs: impl Iterator<Item = u64>, model: fn(&mut Draws) -> ChipModel, most: fn(&mut Draws) -> u32) {
    let (mut tried, mut killed, mut changed) = (0, 0, 0);
    for run in runs {
        println!("run {run:#x}");
        let draws = &mut Draws::new(run);
        tried += 1;
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
                    let restored = held.restore(&copy);
                    let restored = restored.unwrap_or_else(|trouble| panic!("{trouble}: {:?}", held.model));
                    changed += u32::from(restored > 0);
                }
            }
            Err(trouble) => panic!("{trouble}: {:?}", held.model),
        }
        held.untouched();
    }
    println!("{killed} of {tried} runs killed, {changed} of them with bytes to put back");
    assert!(killed * 3 >= tried && changed * 8 >= tried, "too few to show anything");
}
