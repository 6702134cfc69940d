use std::fs;

use super::*;
use crate::journal::{Event, Particulars, Site, now};
use crate::wanted::digest;

fn record(event: Event, unit: &str) -> Record {
    Record {
        pagewise: "0".into(),
        event,
        unit: unit.into(),
        at: now(),
        begun_at: None,
        part: "24lc32a".into(),
        simulated: false,
        particulars: Particulars::default(),
        bus: "/dev/i2c-1".into(),
        memory: None,
        device_address: 0x50,
        image: "a.bin".into(),
        sha256: "aa".into(),
        wanted_sha256: None,
        backup: None,
        backup_sha256: None,
        part_sha256: None,
        pages_written: None,
        step: None,
        reason: None,
    }
}

fn site(bus: &str) -> Site {
    Site { bus: bus.into(), simulated: bus == "simulated", memory: None }
}

fn sought<'s>(unit: &'s str, site: &'s Site) -> Sought<'s> {
    Sought { unit, sha256: "aa", part: "24lc32a", site, buses: &[] }
}

/// A journal with these records, closed again.
fn written(records: &[Record]) -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("j.jsonl");
    let mut journal = Journal::open(&path).unwrap();
    for record in records {
        journal.append(record.clone()).unwrap();
    }
    (folder, path)
}

#[test]
fn a_unit_is_good_only_behind_its_last_begin() {
    let (_folder, path) = written(&[]);
    assert!(!path.exists(), "without a record nothing is left");
    let mut journal = Journal::open(&path).unwrap();
    let steps = [
        (Event::Begin, false, true),
        (Event::Failed, false, true),
        (Event::Good, true, false),
        (Event::Refused, true, false),
        (Event::Begin, false, true),
        (Event::Stopped, false, true),
    ];
    let site = site("/dev/i2c-1");
    for (event, good, open) in steps {
        journal.append(record(event, "a")).unwrap();
        journal.append(record(Event::Good, "b")).unwrap();
        drop(journal);
        journal = Journal::open(&path).unwrap();
        let history = journal.of(&sought("a", &site));
        assert_eq!((history.good.is_some(), history.open.is_some()), (good, open), "{event:?}");
    }
    assert!(Journal::open(&path).unwrap_err().0[0].reason.contains("in use"));
}

#[test]
fn good_means_this_unit_this_image_this_part_and_this_bus() {
    let (_folder, path) = written(&[record(Event::Begin, "a"), record(Event::Good, "a")]);
    let journal = Journal::open(&path).unwrap();
    let (here, other, simulated) = (site("/dev/i2c-1"), site("/dev/i2c-2"), site("simulated"));
    let good = sought("a", &here);
    assert!(journal.of(&good).good.is_some());
    let cases = [
        (Sought { sha256: "bb", ..good }, "another image"),
        (Sought { part: "24lc64", ..good }, "another part, 24lc32a"),
        (Sought { site: &other, ..good }, "another bus, /dev/i2c-1"),
        (Sought { site: &simulated, ..good }, "on hardware, not on a simulated part"),
    ];
    for (sought, why) in cases {
        assert!(journal.of(&sought).good.is_none(), "{why}");
        assert!(journal.good_elsewhere(&sought).unwrap().contains(why));
    }
    // A line that works on several buses may have had the unit on another of them.
    let buses = ["/dev/i2c-1".to_owned(), "/dev/i2c-2".to_owned()];
    assert!(journal.of(&Sought { site: &other, buses: &buses, ..good }).good.is_some());
    assert_eq!(journal.good_elsewhere(&good), None);
    assert!(journal.of(&Sought { unit: "b", ..good }).good.is_none());
}

/// What the simulation did neither makes hardware good nor ends its being good.
#[test]
fn a_simulated_run_counts_for_nothing_on_hardware() {
    let simulated = |event| Record { simulated: true, bus: "simulated".into(), ..record(event, "a") };
    let here = site("/dev/i2c-1");
    let (_folder, path) = written(&[simulated(Event::Begin), simulated(Event::Good)]);
    let journal = Journal::open(&path).unwrap();
    assert!(journal.of(&sought("a", &here)).good.is_none());
    assert!(journal.good_elsewhere(&sought("a", &here)).unwrap().contains("on a simulated part, not on hardware"));
    drop(journal);
    let (_folder, path) = written(&[record(Event::Good, "a"), simulated(Event::Begin)]);
    assert!(Journal::open(&path).unwrap().of(&sought("a", &here)).good.is_some());
}

#[test]
fn the_part_of_another_unit_is_known_by_what_it_holds() {
    let left = |unit: &str, contents: &str| {
        let part_sha256 = Some(contents.to_owned());
        Record { part_sha256, ..record(Event::Good, unit) }
    };
    let here = site("/dev/i2c-1");
    let of = |records: &[Record], unit: &str| {
        let (_folder, path) = written(records);
        let journal = Journal::open(&path).unwrap();
        journal.part_of_other("cc", &sought(unit, &here)).map(|record| record.unit.clone())
    };
    assert_eq!(of(&[left("a", "cc")], "b").as_deref(), Some("a"));
    assert_eq!(of(&[left("a", "dd")], "b"), None);
    assert_eq!(of(&[left("a", "cc")], "a"), None);
    // Both hold the same: the one that was in the socket last is still there, until it is shown otherwise.
    assert_eq!(of(&[left("a", "cc"), left("b", "cc")], "a").as_deref(), Some("b"));
    assert_eq!(of(&[left("a", "cc"), left("b", "cc"), left("c", "dd")], "a"), None);
    // A run that was killed behind its last write.
    let begun = Record { wanted_sha256: Some("cc".into()), ..record(Event::Begin, "a") };
    assert_eq!(of(std::slice::from_ref(&begun), "b").as_deref(), Some("a"));
    assert_eq!(of(&[begun], "a"), None);
    // A simulated part is not one of hardware.
    let simulated = Record { simulated: true, bus: "simulated".into(), ..left("a", "cc") };
    assert_eq!(of(&[simulated], "b"), None);
}

#[test]
fn a_last_line_cut_anywhere_is_no_record_and_everything_before_it_is() {
    let (_folder, path) = written(&[record(Event::Begin, "a")]);
    let first = fs::metadata(&path).unwrap().len() as usize;
    Journal::open(&path).unwrap().append(record(Event::Good, "a")).unwrap();
    let whole = fs::read(&path).unwrap();
    let site = site("/dev/i2c-1");
    for cut in first..whole.len() {
        for tail in [&b""[..], b"\0\0\0", b"\0\0\n"] {
            let mut bytes = whole[..cut].to_vec();
            bytes.extend_from_slice(tail);
            fs::write(&path, &bytes).unwrap();
            let mut journal = Journal::open(&path).unwrap();
            // Only the line feed is missing: the record is whole.
            let complete = cut + 1 == whole.len() && tail.is_empty();
            assert_eq!(journal.of(&sought("a", &site)).good.is_some(), complete, "cut at {cut}, {tail:?}");
            journal.append(record(Event::Failed, "a")).unwrap();
            drop(journal);
            let events: Vec<_> = Journal::open(&path).unwrap().records().iter().map(|r| r.event).collect();
            let good = if complete { &[Event::Good][..] } else { &[] };
            assert_eq!(events, [&[Event::Begin], good, &[Event::Failed]].concat(), "cut at {cut}, {tail:?}");
        }
    }
}

/// A whole last line that this version does not understand stays, whatever it is.
#[test]
fn a_complete_line_that_is_not_understood_is_refused_and_never_erased() {
    let (_folder, path) = written(&[record(Event::Begin, "a"), record(Event::Good, "a")]);
    let text = fs::read_to_string(&path).unwrap();
    let (first, last) = text.split_at(text.find('\n').unwrap() + 1);
    let lines = [
        last.replace("\"good\"", "\"better\""),
        last.replace("{\"journal\":2", "{\"journal\":3"),
        last.replace("\"unit\"", "\"mood\":1,\"unit\""),
        last.replace("{\"journal\":2,", "{"),
        last[..last.len() - 40].to_owned() + "\n",
        "{\"event\":\n".to_owned(),
        "[]".to_owned(),
    ];
    for line in lines {
        let changed = format!("{first}{line}");
        fs::write(&path, &changed).unwrap();
        let faults = Journal::open(&path).unwrap_err();
        assert_eq!((faults.0.len(), faults.0[0].line), (1, 2), "{line}: {faults}");
        assert_eq!(fs::read_to_string(&path).unwrap(), changed, "it stays");
    }
}

#[test]
fn a_line_that_was_changed_taken_out_or_put_in_is_told_with_its_number() {
    let records: Vec<Record> = ["a", "b", "c", "d"].map(|unit| record(Event::Good, unit)).to_vec();
    let (_folder, path) = written(&records);
    let text = fs::read_to_string(&path).unwrap();
    let lines: Vec<&str> = text.lines().collect();
    let told = |lines: &[&str]| {
        fs::write(&path, lines.join("\n") + "\n").unwrap();
        Journal::open(&path).err().map(|faults| faults.0.iter().map(|fault| fault.line).collect::<Vec<_>>())
    };
    assert_eq!(told(&lines), None);
    // Another unit becomes good: also in the last line.
    for (changed, number) in [(0, 1), (3, 4)] {
        let unit = format!("\"unit\":\"{}\"", ["a", "b", "c", "d"][changed]);
        let line = lines[changed].replace(&unit, "\"unit\":\"e\"");
        let mut lines = lines.clone();
        lines[changed] = &line;
        assert_eq!(told(&lines), Some(vec![number]));
    }
    assert_eq!(told(&[lines[0], lines[2], lines[3]]), Some(vec![2]));
    assert_eq!(told(&[lines[1], lines[2]]), Some(vec![1]));
    assert_eq!(told(&[lines[0], lines[1], lines[0], lines[2]]), Some(vec![3, 4]));
}

/// The digest as DEVELOPERS and README describe it, computed here from the text alone.
#[test]
fn the_digest_is_that_of_the_line_before_and_of_the_line_up_to_it() {
    let (_folder, path) = written(&[record(Event::Begin, "a"), record(Event::Good, "a")]);
    let mut before = String::new();
    for line in fs::read_to_string(&path).unwrap().lines() {
        let (text, own) = line.split_once(",\"chain\":\"").unwrap();
        assert_eq!(own.trim_end_matches("\"}"), digest(format!("{before}\n{text}").as_bytes()));
        before = own.trim_end_matches("\"}").to_owned();
    }
}

/// Lines as version 1 wrote them.
const VERSION_1: &str = r#"{"pagewise":"0.1.0","event":"begin","unit":"a","at":"2026-11-01T08:00:00.000Z","part":"24lc32a","bus":"/dev/i2c-1","device_address":80,"image":"a.bin","sha256":"aa","backup":"backups/a-00.bin","backup_sha256":"00"}
{"pagewise":"0.1.0","event":"good","unit":"a","at":"2026-11-01T08:00:01.000Z","part":"24lc32a","bus":"/dev/i2c-1","device_address":80,"image":"a.bin","sha256":"aa","part_sha256":"cc","pages_written":3}
{"pagewise":"0.1.0","event":"good","unit":"b","at":"2026-11-01T08:00:02.000Z","part":"24lc32a","bus":"simulated","device_address":80,"image":"a.bin","sha256":"aa","part_sha256":"cc","pages_written":3}
"#;

#[test]
fn a_journal_of_version_1_is_read_and_never_extended() {
    let folder = tempfile::tempdir().unwrap();
    let (old, new) = (folder.path().join("old.jsonl"), folder.path().join("new.jsonl"));
    fs::write(&old, VERSION_1).unwrap();
    let faults = Journal::open(&old).unwrap_err().to_string();
    assert!(faults.contains("version 1") && faults.contains("--earlier"), "{faults}");
    let mut journal = Journal::open(&new).unwrap();
    journal.read_earlier(&old).unwrap();
    let here = site("/dev/i2c-1");
    assert!(journal.of(&sought("a", &here)).good.is_some());
    assert!(journal.of(&sought("b", &here)).good.is_none(), "simulated");
    journal.append(record(Event::Begin, "a")).unwrap();
    assert!(journal.of(&sought("a", &here)).good.is_none(), "what comes later counts");
    drop(journal);
    assert_eq!(fs::read_to_string(&old).unwrap(), VERSION_1);
    assert_eq!(Journal::open(&new).unwrap().records().len(), 1);
    // A line of version 1 behind one of version 2 is not.
    let mixed = fs::read_to_string(&new).unwrap() + VERSION_1.lines().next().unwrap() + "\n";
    fs::write(&new, mixed).unwrap();
    assert_eq!(Journal::open(&new).unwrap_err().0[0].line, 2);
}

#[test]
fn files_are_found_from_the_journals_folder() {
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir_all(folder.path().join("line/backups")).unwrap();
    let backup = folder.path().join("line/backups/a.bin");
    fs::write(&backup, b"a").unwrap();
    fs::write(folder.path().join("other.bin"), b"a").unwrap();
    let journal = Journal::open(&folder.path().join("line/j.jsonl")).unwrap();
    assert_eq!(journal.stored(&backup), Path::new("backups").join("a.bin").display().to_string());
    assert!(journal.find("backups/a.bin").is_file());
    let outside = journal.stored(&folder.path().join("other.bin"));
    assert!(Path::new(&outside).is_absolute() && journal.find(&outside).is_file());
}
