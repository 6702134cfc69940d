//! What needs a person at the line: the name typed before a lock, and Ctrl-C.

use std::fs;
use std::io::Write;
use std::process::Stdio;

use crate::cli_support::line::{Line, flat, image, over};
use crate::cli_support::{Run, command, finished};

/// A card with an identification page that can be locked.
fn lockable(line: &Line) {
    fs::create_dir(line.path("cards")).unwrap();
    let card = crate::cli_support::card("\"own\"")
        + "word_address_bytes = 2\n[[region]]\nkind = \"identification-page\"\ndevice_code = \"1 0 1 1\"\n\
           address_bits = \"A2 A1 A0\"\nword_address_bytes = 2\nlength = 32\naccess = \"lockable\"\n";
    fs::write(line.path("cards/own.toml"), card).unwrap();
    fs::write(line.path("id.bin"), b"Tamarind Instruments TI-1 rev 3 ").unwrap();
    fs::write(line.path("other.bin"), b"something else").unwrap();
}

#[test]
fn a_lock_needs_its_flag_and_the_name_of_the_unit_typed() {
    let line = Line::new(300);
    lockable(&line);
    let call = ["program", "--simulate", "TI-1.bin", "--cards", "cards", "--part", "own", "--memory", "chip.bin"];
    let lock = [&call[..], &["--identification", "id.bin", "--lock-identification"]].concat();
    for (confirm, typed) in [(&["--confirm", "TI-2"][..], ""), (&[], ""), (&[], "yes\n"), (&[], "TI-1 \n")] {
        let run = typing(&line, &[&lock[..], confirm].concat(), typed);
        assert_eq!(run.code, 2, "{confirm:?} {typed:?}: {}{}", run.out, run.err);
        assert!(run.err.contains("was not confirmed") && line.events().is_empty(), "{}", run.err);
    }
    // Written without the lock, it can be written again.
    assert_eq!(line.run(&[&call[..], &["--identification", "other.bin"]].concat()).code, 0);
    let run = typing(&line, &[&lock[..], &["--again"]].concat(), "TI-1\n");
    assert_eq!(run.code, 0, "{}{}", run.out, run.err);
    assert!(run.err.contains("cannot be undone") && run.out.contains("locked for ever"), "{}{}", run.err, run.out);
    assert_eq!(line.events(), ["begin", "good", "begin", "lock-begin", "locked", "good"]);
    // Locked is locked, also for the next command.
    let refused = line.run(&[&call[..], &["--again", "--identification", "other.bin"]].concat());
    assert!(refused.code == 1 && flat(&refused).contains("locked already"), "{}", refused.out);
    let same = line.run(&[&call[..], &["--identification", "id.bin"]].concat());
    assert_eq!(same.code, 0, "it holds this already: {}", same.out);
}

fn typing(line: &Line, arguments: &[&str], typed: &str) -> Run {
    let mut command = command(arguments);
    command.current_dir(line.folder.path());
    let mut child = command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    // It may have ended without reading.
    let _ = child.stdin.take().unwrap().write_all(typed.as_bytes());
    finished(child.wait_with_output().unwrap())
}

#[cfg(unix)]
#[test]
fn ctrl_c_stops_between_two_pages_and_the_same_command_goes_on() {
    let line = Line::new(4000);
    let mut command =
        command(&["program", "--simulate", "TI-1.bin", "--part", "24lc32a", "--memory", "chip.bin", "--json"]);
    command.args(["--trouble", "real-time", "--scl-khz", "400"]).current_dir(line.folder.path());
    let child = command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    let begun = std::time::Instant::now();
    while line.events_so_far() < 1 && begun.elapsed().as_secs() < 60 {
        std::thread::sleep(std::time::Duration::from_millis(2));
    }
    std::thread::sleep(std::time::Duration::from_millis(50));
    let asked = std::process::Command::new("kill").args(["-INT", &child.id().to_string()]).status().unwrap();
    let run = finished(child.wait_with_output().unwrap());
    let unit = run.json()["units"][0].clone();
    assert!(asked.success() && run.code == 1, "{}{}", run.out, run.err);
    assert_eq!((&unit["result"], &unit["survey"]["neither"]), (&"stopped".into(), &0.into()), "{unit}");
    assert_eq!(line.events(), ["begin", "stopped"]);
    let chip = line.chip();
    let wanted = over(&image(1, 4000), 4096);
    let pages = chip.chunks(32).zip(wanted.chunks(32));
    assert!(pages.clone().all(|(is, page)| is == page || is.iter().all(|byte| *byte == 0xFF)), "no page is torn");
    assert!(pages.clone().any(|(is, page)| is != page), "it was stopped before the end");
    let good = line.program(&["--json"]);
    assert_eq!((good.code, &good.json()["units"][0]["resumed"]), (0, &true.into()), "{}", good.out);
    assert!(line.chip() == wanted);
}
