//! Recordings that are not what they should be: one clear message each.

use std::path::Path;

use pagewise_simulator::recording::{ReadOptions, Recording, RecordingError};
use tempfile::tempdir;

use super::files::{self, Layout, PLAIN};
use super::{read, recorded};

/// The message of the first error of a recording, however far it was read.
fn error(path: &Path) -> String {
    let result = (|| {
        let recording = Recording::open(path, &ReadOptions::default())?;
        let bus = recording.buses()?.remove(0);
        recording.check(&bus)?;
        recording.events(&bus)?.try_for_each(|event| event.map(|_| ()))
    })();
    let text = result.expect_err("it is bad").to_string();
    assert!(text.starts_with(&path.display().to_string()), "{text}");
    text
}

#[test]
fn files_that_are_cut_off_say_what_is_missing() {
    let rig = recorded();
    let folder = tempdir().unwrap();
    let waves = rig.waves();
    let samples = files::samples(&waves, 4_000_000, 50_000);
    let layout = Layout { hz: 4_000_000, unit: 2, piece: 10_000, ..PLAIN };
    let session = files::session(&folder, "x.sr", &samples, &layout);
    assert!(error(&files::cut(&session, 0.6)).contains("cut off: its archive is not whole"));
    let odd = files::session(&folder, "odd.sr", &samples, &Layout { unit: 2, piece: 0, ..layout.clone() });
    assert!(read(&Recording::open(&odd, &ReadOptions::default()).unwrap()).len() > 100, "the whole file is good");
    let table = files::table(&folder, &samples, 4_000_000);
    let text = std::fs::read_to_string(&table).unwrap();
    let short = files::write(&folder, "short.csv", &text[..text.len() - 4]);
    assert!(error(&short).contains("has 2 of 3 columns"), "{}", error(&short));
    let vcd = folder.path().join("rig.vcd");
    rig.write_vcd(&mut std::fs::File::create(&vcd).unwrap()).unwrap();
    let text = std::fs::read_to_string(&vcd).unwrap();
    let inside = text.rfind('#').unwrap() + 2;
    let short = files::write(&folder, "short.vcd", &text[..inside]);
    assert!(error(&short).contains("ends in the middle of line"), "{}", error(&short));
    let header = files::write(&folder, "header.vcd", "$timescale 1 ns $end\n$scope module a $end\n");
    assert!(error(&header).contains("cut off"), "{}", error(&header));
}

#[test]
fn damaged_samples_and_missing_pieces_are_named() {
    let rig = recorded();
    let folder = tempdir().unwrap();
    let samples = files::samples(&rig.waves(), 4_000_000, 50_000);
    let stored = files::session(&folder, "x.sr", &samples, &Layout { hz: 4_000_000, piece: 0, ..PLAIN });
    let mut bytes = std::fs::read(&stored).unwrap();
    // Between the entries in front and the directory at the end lie the samples, stored as they are.
    let middle = bytes.len() / 2;
    bytes[middle] ^= 0x80;
    std::fs::write(&stored, &bytes).unwrap();
    assert!(error(&stored).contains("logic-1: its checksum does not match"), "{}", error(&stored));
    let pieces = files::session(&folder, "y.sr", &samples, &Layout { hz: 4_000_000, piece: 20_000, ..PLAIN });
    let mut bytes = std::fs::read(&pieces).unwrap();
    // The second piece gets a name of another capture, in front of its samples and in the directory.
    let name = b"logic-1-2";
    let places: Vec<usize> = (0..bytes.len() - name.len()).filter(|at| &bytes[*at..*at + name.len()] == name).collect();
    places.iter().for_each(|at| bytes[*at] = b'L');
    std::fs::write(&pieces, &bytes).unwrap();
    assert!(error(&pieces).contains("piece 2 of logic-1 is missing"), "{}", error(&pieces));
}

#[test]
fn swapped_channels_are_found_and_said() {
    let rig = recorded();
    let folder = tempdir().unwrap();
    let samples = files::samples(&rig.waves(), PLAIN.hz, 50_000);
    let turned: Vec<u8> = samples.iter().map(|sample| sample >> 1 | sample << 1 & 2).collect();
    let path = files::session(&folder, "x.sr", &turned, &PLAIN);
    assert!(error(&path).contains("channels swapped: SCL carries the data and SDA the clock"), "{}", error(&path));
    // Two channels without names: both orders are tried.
    let table: String = samples.iter().map(|sample| format!("{},{}\n", sample >> 1, sample & 1)).collect();
    let two = files::write(&folder, "two.csv", &("; Samplerate: 8 MHz\n".to_owned() + &table));
    let recording = Recording::open(&two, &ReadOptions::default()).unwrap();
    let bus = recording.buses().unwrap().remove(0);
    assert_eq!((bus.scl.as_str(), bus.sda.as_str()), ("2", "1"));
}

#[test]
fn channels_without_i2c_say_so() {
    let folder = tempdir().unwrap();
    let rows = |of: &dyn Fn(u32) -> (u32, u32)| -> String {
        let rows = (0..20_000).map(of).map(|(scl, sda)| format!("{scl},{sda}\n"));
        "; Samplerate: 8 MHz\nSCL,SDA\n".to_owned() + &rows.collect::<String>()
    };
    let idle = files::write(&folder, "idle.csv", &rows(&|_| (1, 1)));
    assert!(error(&idle).contains("SCL never changes"));
    let serial = files::write(&folder, "serial.csv", &rows(&|i| (1, (i / 40) & (i / 70) & 1)));
    assert!(error(&serial).contains("SCL never changes"));
    let clock = files::write(&folder, "clock.csv", &rows(&|i| ((i / 10) & 1, (i / 200) & 1)));
    assert!(error(&clock).contains("no I2C"), "{}", error(&clock));
    let named = files::write(&folder, "named.csv", "a,b,c\n0,0,0\n");
    let no_bus = error(&named);
    assert!(no_bus.contains("no channels are called SCL and SDA; name two of a, b, c"), "{no_bus}");
    let text = files::write(&folder, "readme.txt", "nothing of the kind\n");
    assert!(matches!(Recording::open(&text, &ReadOptions::default()), Err(RecordingError::UnknownFormat { .. })));
    let recording = Recording::open(&idle, &ReadOptions::default()).unwrap();
    let missing = recording.bus("SCL", "3").unwrap_err().to_string();
    assert!(missing.ends_with("no channel \"3\"; name one of SCL, SDA, or give its number from 1 to 2"), "{missing}");
}

#[test]
fn values_that_are_none_are_named_with_their_line() {
    let folder = tempdir().unwrap();
    let rows = "SCL,SDA\n1,1\n1,0\n0,0\n1,0\n1,1\n";
    let no_rate = files::write(&folder, "rate.csv", rows);
    assert!(error(&no_rate).contains("neither a column of times nor a sample rate"));
    let level = files::write(&folder, "level.csv", &format!("; Samplerate: 1 MHz\n{rows}1,2\n"));
    assert!(error(&level).contains("line 8: \"2\" is not a level; write 0 or 1"), "{}", error(&level));
    let back = files::write(&folder, "back.csv", "Time [us],SCL,SDA\n0,1,1\n5,1,0\n4,0,0\n");
    assert!(error(&back).contains("line 4: time goes back to 4"), "{}", error(&back));
    let vcd =
        "$timescale 1 ns $end $var wire 1 ! SCL $end $var wire 1 \" SDA $end $enddefinitions $end\n#0 1! 1\"\n#9 0!\n";
    let back = files::write(&folder, "back.vcd", &format!("{vcd}#7 0\"\n#20\n"));
    assert!(error(&back).contains("time goes back from 9 to 7"), "{}", error(&back));
}

#[test]
fn too_few_samples_are_said_with_what_can_still_be_told() {
    let rig = recorded();
    let folder = tempdir().unwrap();
    for (hz, slow) in [(4_000_000, false), (1_000_000, true)] {
        let samples = files::samples(&rig.waves(), hz, 50_000);
        let path = files::session(&folder, "slow.sr", &samples, &Layout { hz, ..PLAIN });
        let recording = Recording::open(&path, &ReadOptions::default()).unwrap();
        let mut events = recording.events(&recording.buses().unwrap()[0]).unwrap();
        assert!(events.by_ref().all(|event| event.is_ok()));
        assert_eq!(events.too_slow().is_some(), slow, "{hz}");
        assert!(events.health().bytes > 300, "{hz}: {:?}", events.health());
    }
}

/// The error of a recording that is nothing but these lines or entries, without its file name.
fn said(path: &Path) -> String {
    error(path).strip_prefix(&path.display().to_string()).unwrap().to_owned()
}

#[test]
fn each_fault_of_a_table_says_where_it_is_and_what_to_do() {
    let folder = tempdir().unwrap();
    for (text, message) in [
        ("Time;SCL;SDA\n", ": cut off: it has no rows; copy or record it again"),
        ("; only, a comment\n", ": cut off: it has no rows; copy or record it again"),
        (
            "; a, b\nSCL\n1\n",
            ": header: one column only; a table of two channels or more is needed, separated by commas",
        ),
        (
            "SCL,SDA\n1,1\n",
            ": header: neither a column of times nor a sample rate; add a column \"Time [s]\" or give the rate",
        ),
        ("# x\nTime,SCL,SDA\n0,1,1\ninf,1,0\n", ": line 4: \"inf\" is not a time"),
        ("Time,SCL,SDA\nNaN,1,1\n", ": line 2: \"NaN\" is not a time"),
        ("Time,SCL,SDA\n\n0,1,1\n,1,0\n", ": line 4: \"\" is not a time"),
        ("Time,SCL,SDA\n1,1,1\n0.5,1,1\n", ": line 3: time goes back to 0.5"),
        ("Time,SCL,SDA\n1,1,1\n2,1,on\n", ": line 3: \"on\" is not a level; write 0 or 1"),
        ("Time,SCL,SDA,VDD\n1,1,1,high\n", ": line 2: \"high\" is neither a level nor volts (VDD)"),
        ("Time,SCL,SDA\n1,1,1\n2,1\n", ": cut off: line 3 has 2 of 3 columns; copy or record it again"),
    ] {
        assert_eq!(said(&files::write(&folder, "bad.csv", text)), message, "{text}");
    }
}

#[test]
fn each_fault_of_a_dump_says_where_it_is() {
    let folder = tempdir().unwrap();
    let vars = "$var wire 1 ! SCL $end\n$var wire 1 \" SDA $end\n$enddefinitions $end\n";
    for (text, message) in [
        (vars.to_owned(), ": header: no $timescale, so that no time is known; add one"),
        (format!("$timescale 1 ns $end\n{vars}#0 1!\n#1 q!\n"), ": line 6: "),
        (format!("$timescale 1 parsec $end\n{vars}"), ": line 1: "),
        (format!("$timescale 1 ns $end\n{vars}#5\n#4\n"), ": line 6: time goes back from 5 to 4"),
        (format!("$timescale 1 ns $end\n{vars}#5\n1"), ": cut off: it ends in the middle of line "),
    ] {
        let found = said(&files::write(&folder, "bad.vcd", &text));
        assert!(found.starts_with(message), "{found}: {text}");
    }
}

#[test]
fn each_fault_of_a_session_file_says_what_is_missing() {
    let folder = tempdir().unwrap();
    let metadata = |unit: u8| {
        format!("[device 1]\ncapturefile=logic-1\nsamplerate=1 MHz\nprobe1=SCL\nprobe2=SDA\nunitsize={unit}\n")
    };
    let entry = |name: &str, bytes: &'static [u8]| (name.to_owned(), bytes, false);
    for (unit, entries, message) in [
        (1, vec![], ": cut off: there are no samples (logic-1); copy or record it again"),
        (
            1,
            vec![entry("logic-2", b"x"), entry("logic-1x", b"x")],
            ": cut off: there are no samples (logic-1); copy or record it again",
        ),
        (1, vec![entry("logic-1", b"")], ": cut off: it holds no samples; copy or record it again"),
        (2, vec![entry("logic-1-1", b"12345")], ": cut off: the last sample has 1 bytes of 2; copy or record it again"),
        (
            3,
            vec![entry("logic-1-1", b"1234"), entry("logic-1-2", b"5")],
            ": cut off: the last sample has 2 bytes of 3; copy or record it again",
        ),
        (
            1,
            vec![entry("logic-1-2", b"x")],
            ": cut off: piece 1 of logic-1 is missing before logic-1-2; copy or record it again",
        ),
        (
            1,
            vec![entry("logic-1-4", b"x"), entry("logic-1-1", b"x"), entry("logic-1-2", b"x")],
            ": cut off: piece 3 of logic-1 is missing before logic-1-4; copy or record it again",
        ),
    ] {
        let text = metadata(unit);
        let mut all = vec![("metadata".to_owned(), text.as_bytes(), true)];
        all.extend(entries);
        assert_eq!(said(&files::archive(&folder, "bad.sr", &all)), message);
    }
    let other = files::archive(&folder, "other.sr", &[entry("readme", b"x")]);
    assert_eq!(said(&other), ": archive: it has no entry \"metadata\": it is not a session file");
    for bytes in [&b"1,\x002"[..], b"", b"no separator"] {
        let path = folder.path().join("unknown");
        std::fs::write(&path, bytes).unwrap();
        assert!(said(&path).starts_with(": no recording that can be read; a session file (.sr), "));
    }
    let absent = Recording::open(folder.path().join("absent.sr"), &ReadOptions::default()).unwrap_err();
    assert!(absent.to_string().contains("absent.sr: cannot be read: "), "{absent}");
}

/// A START, nine clocks of a byte that is acknowledged, STOP, as a table of changes.
fn transfers(text: &mut String, from_us: u64, count: u64) {
    for start in (0..count).map(|n| from_us + n * 40) {
        *text += &format!("{start},1,0\n{},0,0\n", start + 1);
        for clock in 0..9 {
            *text += &format!("{},1,0\n{},0,0\n", start + 2 + clock * 2, start + 3 + clock * 2);
        }
        *text += &format!("{},1,0\n{},1,1\n", start + 22, start + 23);
    }
}

#[test]
fn the_first_part_of_a_recording_is_looked_at_however_it_begins() {
    let folder = tempdir().unwrap();
    // Some hundred conditions without a clock between them come first.
    let mut noisy = String::from("Time [us],SCL,SDA\n0,1,1\n");
    (1..=500).for_each(|n| noisy += &format!("{n},1,{}\n", u8::from(n % 2 == 0)));
    (501..=1_400).for_each(|n| noisy += &format!("{n},{},1\n", u8::from(n % 2 == 0)));
    transfers(&mut noisy, 2_000, 300);
    let recording = Recording::open(files::write(&folder, "noisy.csv", &noisy), &ReadOptions::default()).unwrap();
    assert_eq!(recording.check(&recording.buses().unwrap()[0]), Ok(()));
    // What comes after a hundred thousand edges is not waited for.
    let mut long = String::from("Time [us],SCL,SDA\n0,1,1\n");
    transfers(&mut long, 10, 4_600);
    let recording =
        Recording::open(files::write(&folder, "long.csv", &(long + "0,1,1\n")), &ReadOptions::default()).unwrap();
    let bus = recording.buses().unwrap().remove(0);
    assert_eq!(recording.check(&bus), Ok(()));
    assert!(recording.events(&bus).unwrap().any(|event| event.is_err()), "the end is bad");
}

#[test]
fn of_channels_that_look_alike_the_first_ones_are_named() {
    let folder = tempdir().unwrap();
    let (mut text, mut rows) = (String::from("Time [us],a,b,c,d\n"), String::from("0,1,1\n"));
    transfers(&mut rows, 10, 3);
    for row in rows.lines() {
        let cells: Vec<&str> = row.split(',').collect();
        text += &format!("{},{},{},{},{}\n", cells[0], cells[1], cells[2], cells[1], cells[2]);
    }
    let found = said(&files::write(&folder, "alike.csv", &text));
    let message = ": no channels are called SCL and SDA among a, b, c, d; a looks like SCL and b like SDA: name them";
    assert_eq!(found, message);
}

/// Two samples for the shorter part of the clock are enough; what is said is the interval and that part.
#[test]
fn a_clock_of_less_than_two_samples_is_too_fast_for_the_recording() {
    let folder = tempdir().unwrap();
    for (low, high, slow) in [(2, 2, None), (2, 1, Some(4_100)), (1, 3, Some(4_100)), (3, 2, None)] {
        let mut levels = vec!["1,1"; 3];
        levels.extend(["1,0", "0,0"]);
        for _ in 0..9 {
            levels.extend(vec!["0,0"; low - 1]);
            levels.extend(vec!["1,0"; high]);
            levels.push("0,0");
        }
        levels.extend(["0,0", "1,0", "1,0", "1,1"]);
        // 4100 ns rounded down to a sample rate, and medians to ten bits: neither makes two samples less than two.
        let text = format!("; Samplerate: 243902 Hz\nSCL,SDA\n{}\n", levels.join("\n"));
        let recording = Recording::open(files::write(&folder, "clock.csv", &text), &ReadOptions::default()).unwrap();
        let mut events = recording.events(&recording.buses().unwrap()[0]).unwrap();
        assert!(events.by_ref().all(|event| event.is_ok()));
        let found = events.too_slow();
        assert_eq!(found.map(|(interval, _)| interval), slow.map(|_| 4_101), "{low} {high}");
        assert!(found.zip(slow).is_none_or(|((_, part), of)| of - part < 16), "{found:?}");
    }
}
