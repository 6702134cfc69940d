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
