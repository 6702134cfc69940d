//! What the notation takes, and what it says of what it does not take.

use pagewise_player::Program;
use pagewise_player::program::Action;

fn faults(text: &str) -> Vec<String> {
    Program::parse(text).map(drop).expect_err(text).iter().map(ToString::to_string).collect()
}

#[test]
fn every_fault_comes_at_once_with_line_and_column() {
    let told = faults("S 50 00 P\nwiat 5ms\nS 50W GG\n  supply 9V\nrepeat 3\nmeans 0000 11");
    assert_eq!(
        told,
        [
            "line 1, column 3: `50` is not a device address; write a device address from 00 to 7F with `W` or `R`, such as `50W`",
            "line 2, column 1: no line begins with `wiat`; begin with S or one of: wait, poll, recover, cut, reset, repeat, end, supply, wp, \
             scl, a0, a1, a2, cycle, torn, holds, means, worn, other, family, lines, noise, contents, seed",
            "line 3, column 7: `GG` is not a byte; write two hexadecimal digits (`A5`), bytes that count upwards (`80..8F`), or one of \
             them often (`FFx16`)",
            "line 4, column 3: `supply` is not followed by what it needs; write volts from 0.5V to 6.5V, or `off`",
            "line 3, column 1: the transfer has no end; write `P` behind its last byte",
            "line 6, column 1: `means` says how the board is, and the program has begun; put it above the first line of the program",
            "line 5, column 1: `repeat` has no `end`; write `end` behind the last line of the loop",
        ]
    );
}

#[test]
fn transfers_must_be_whole() {
    for (text, part) in [
        ("50W 00 P", "no line begins"),
        ("Sr 50W P", "stands inside a transfer"),
        ("P", "no transfer to end"),
        ("S 50W 00\nS 50W P", "the transfer before has no end"),
        ("S 50W ?? P", "is a byte to be read"),
        ("S 80W P", "not a device address"),
        ("repeat 2\nend", "does nothing"),
        ("end", "has no `repeat`"),
        ("S 50W é P", "not a byte"),
    ] {
        assert!(faults(text).iter().any(|fault| fault.contains(part)), "{text}: {:?}", faults(text));
    }
}

#[test]
fn marks_of_a_read_are_the_controllers() {
    let acks = |text: &str| -> Vec<bool> {
        let (_, program) = Program::parse(text).unwrap();
        let ack = |(action, _)| if let Action::Receive { ack, .. } = action { Some(ack) } else { None };
        program.actions().filter_map(ack).collect()
    };
    assert_eq!(acks("S 50R ?? ?? P"), [true, false]);
    assert_eq!(acks("S 50R ??x3+ P"), [true, true, true]);
    assert_eq!(acks("S 50R 01- 02 Sr 50R 03 P"), [false, false, false]);
}

#[test]
fn a_lesson_gives_its_board() {
    let (board, _) = Program::parse("A0 open").unwrap();
    let read = |text: &str, may: &[&str]| {
        let may: Vec<String> = may.iter().map(|word| (*word).to_owned()).collect();
        Program::parse_on(board.clone(), text, &may)
    };
    let refused = read("A0 low\nS 50W P", &[]).unwrap_err();
    assert_eq!(refused[0].to_string(), "line 1, column 1: `A0` is given by the lesson; remove it");
    assert!(read("A0 low\nS 50W P", &["A0"]).is_ok());
    assert!(read("SCL 100kHz\nS 50W P\nSCL 400kHz", &[]).is_ok(), "the clock is the program's own");
    let told = read("means 0000 11\nS 50W P\nsupply 5V", &["A0"]).unwrap_err();
    assert_eq!((told.len(), told[0].remedy.as_str()), (2, "you may set: A0"));
}
