//! A measurement that is killed at a random moment leaves a copy, and the part is put back from it.

use pagewise_measure::probe::Trouble;

use crate::draws::{Draws, models, seed};
use crate::held::Held;
use crate::models::random;

#[test]
fn what_was_killed_is_put_back() {
    let mut draws = Draws::new(seed() ^ 0xDEAD);
    let runs = models(32);
    let (mut killed, mut changed) = (0, 0);
    for _ in 0..runs {
        let model = random(&mut draws);
        let held = Held::new(&mut draws, model);
        let folder = tempfile::tempdir().unwrap();
        let copy = folder.path().join("copy");
        // Reading takes most of the transactions of a large part, and changes nothing.
        let most = draws.pick(&[4000, 12_000]);
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
