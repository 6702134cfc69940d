//! `update` of the generated C under cuts of supply: after a start it writes what it cannot vouch for, so what it has
//! acknowledged reads right however often it is read. The Rust driver does the same, byte for byte.

use std::fmt::Write as _;

use pagewise_simulator::TornModel;
use pagewise_tests::tools;

use super::workshop::{compile, difference, generate, run, seats};
use super::{rig, rust_side};

/// One byte is stored, then changed by a lazy driver whose write cycle is cut, then updated by a new driver and read again
/// and again.
fn script(index: usize, seat: &pagewise_tests::seat::Seat, model: TornModel, draw: u32, verb: &str) -> String {
    let at = seat.writable.start + 5;
    let mut script = rig(seat, draw + 1);
    writeln!(script, "driver {index} 259 0 0 25 50 1\nupdate {at} 1 0\nready\nupdate {at} 1 1").unwrap();
    writeln!(script, "cut {} {draw}\ndriver {index} 259 0 0 25 50 0\n{verb} {at} 1 1", model.name()).unwrap();
    for _ in 0..12 {
        writeln!(script, "compare {at} 1 1").unwrap();
    }
    script + "trace\n"
}

#[test]
fn what_update_in_c_has_acknowledged_after_a_cut_reads_right_for_ever() {
    let Some(cc) = tools::need("cc", "gcc") else { return };
    let folder = tempfile::tempdir().unwrap();
    let all = seats();
    let named = |id: &str| all.iter().find(|seat| seat.card.id == id).unwrap().clone();
    let seats = ["24lc256", "24lc16b", "24aa1025", "24lc01b"].map(named);
    generate(folder.path(), &seats);
    let program = compile(&cc, folder.path());
    let (mut cuts, mut unlike) = (0, 0);
    for (index, seat) in seats.iter().enumerate() {
        for (model, draw) in TornModel::ALL.into_iter().flat_map(|model| (0..8).map(move |draw| (model, draw))) {
            let script = script(index, seat, model, draw, "update");
            let found = run(&program, folder.path(), &script);
            let name = format!("{}, {}/{draw}", seat.card.id, model.name());
            assert!(!found.contains("unlike"), "{name}:\n{found}");
            let expected = rust_side::run(&seats, 259, &script);
            assert_eq!(difference(&script, &found, &expected), None, "{name}");
            cuts += 1;
            // To trust what reads right is what must not be done: it is caught.
            let trusting = self::script(index, seat, model, draw, "trusting");
            unlike += usize::from(run(&program, folder.path(), &trusting).contains("unlike"));
        }
    }
    println!("{cuts} cuts, none lost; {unlike} lost where what reads right is trusted");
    assert!(unlike > 0, "no cut was met that reads right now and wrong later");
}
