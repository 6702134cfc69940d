//! Each format of recordings, sample by sample: the edges are those of the levels that were written into the file.

use std::path::{Path, PathBuf};

use pagewise_simulator::Line;
use pagewise_simulator::recording::{Bus, Edge, ReadOptions, Recording};
use proptest::prelude::*;
use tempfile::{TempDir, tempdir};

use super::drawn::{edges, edges_of, open};
use super::files::{self, write};
use crate::common::cases;

/// Runs of equal samples: how many, and SCL, SDA, the supply, and one bit of another channel.
fn runs() -> impl Strategy<Value = Vec<(usize, u8)>> {
    let length = prop_oneof![8 => 1..20_usize, 1 => 20..400_usize, 1 => 60_000..70_000_usize];
    prop::collection::vec((length, 0..16_u8), 1..24)
}

/// What these runs are, sampled so often a second: the first sample of a run has its time.
fn expected(runs: &[(usize, u8)], hz: u64, supply: bool) -> Vec<Edge> {
    let ns = |index: usize| (index as u128 * 1_000_000_000 / u128::from(hz)) as u64;
    let (mut index, mut edges, mut before): (_, Vec<Edge>, Option<u8>) = (0, Vec::new(), None);
    let rows = |levels: u8| (levels & 1 == 1, levels & 2 == 2);
    for &(length, levels) in runs {
        let (at_ns, (scl, sda)) = (ns(index), rows(levels));
        match before {
            None => edges.push(Edge::Begin { scl, sda }),
            Some(before) => {
                let (scl_was, sda_was) = rows(before);
                let both = edges_of(&[(0, scl_was, sda_was), (at_ns, scl, sda)], 0);
                edges.extend(&both[1..both.len() - 1]);
            }
        }
        if supply && before.is_none_or(|before| (before ^ levels) & 4 != 0) {
            edges.push(Edge::Supply { at_ns, on: levels & 4 != 0, mv: None });
        }
        (before, index) = (Some(levels), index + length);
    }
    edges.push(Edge::End { at_ns: ns(index) });
    edges
}

proptest! {
    #![proptest_config(cases(24))]

    #[test]
    fn samples_of_a_session_file_are_read_at_any_width_and_in_any_pieces(
        runs in runs(), unit in 1..=9_usize, places in prop::collection::hash_set(0..72_usize, 20),
        piece in prop::sample::select(vec![0, 4_096, 65_537, 100_000]), hz in prop::sample::select(vec![1_000_000, 24_000_000, 4_999_999]),
        supply in any::<bool>(),
    ) {
        let mut places: Vec<usize> = places.into_iter().filter(|place| *place < unit * 8).collect();
        (0..4).filter(|place| !places.contains(place)).collect::<Vec<_>>().into_iter().for_each(|place| places.push(place));
        let mut bytes = Vec::new();
        for (length, levels) in &runs {
            let mut sample = vec![0_u8; unit];
            for (bit, place) in places[..4].iter().enumerate() {
                sample[place / 8] |= (levels >> bit & 1) << (place % 8);
            }
            bytes.extend(sample.repeat(*length));
        }
        let names = ["SCL", "SDA", if supply { "VCC" } else { "D" }, "other"];
        let probes: String =
            places[..4].iter().zip(names).map(|(place, name)| format!("probe{}={name}\n", place + 1)).collect();
        let metadata = format!("[device 1]\ncapturefile=logic-1\nsamplerate={hz}\nunitsize={unit}\n{probes}");
        let folder = tempdir().unwrap();
        let path = session(&folder, &metadata, &bytes, piece);
        prop_assert!(edges(&path) == expected(&runs, hz, supply));
        let (recording, bus) = open(&path, 0);
        prop_assert_eq!(recording.edges(&bus).unwrap().resolution_ns(), 1_000_000_000_u64.div_ceil(hz));
    }

    #[test]
    fn changes_are_read_from_a_dump_and_from_tables(runs in runs(), supply in any::<bool>()) {
        let folder = tempdir().unwrap();
        let edges_wanted = expected(&runs, 100_000_000, supply);
        let name = if supply { "VCC" } else { "D" };
        let (mut at, mut dump, mut changes) = (0, String::new(), format!("Time [us];{name};SCL;other;SDA\n"));
        let mut rows = format!("#Sample rate: 100 MHz\n\nSDA\tSCL\t{name}\tother\n");
        for (length, levels) in &runs {
            let bit = |n: u8| levels >> n & 1;
            dump += &format!("#{at}\n{}!\n{}\"\n{}#\n{}$\n", bit(0), bit(1), bit(2), bit(3));
            changes += &format!("{}.{:02};{};{};{};{}\n", at / 100, at % 100, bit(2), bit(0), bit(3), bit(1));
            rows += &format!("{}\t{}\t{}\t{}\n", bit(1), bit(0), bit(2), bit(3)).repeat((*length).min(1_000));
            at += length;
        }
        let last = runs.last().unwrap().1;
        changes += &format!("{}.{:02};{};{};0;{}\n", at / 100, at % 100, last >> 2 & 1, last & 1, last >> 1 & 1);
        let vars: String = ["! SCL", "\" SDA", &format!("# {name}"), "$ other"]
            .map(|var| format!("$var wire 1 {var} $end\n"))
            .concat();
        let dump = format!("$timescale 10 ns $end\n$scope module a $end\n{vars}$upscope $end\n$enddefinitions $end\n{dump}#{at}\n");
        prop_assert!(edges(&write(&folder, "x.vcd", &dump)) == edges_wanted, "a dump");
        prop_assert!(edges(&write(&folder, "changes.csv", &changes)) == edges_wanted, "a table of changes");
        let short: Vec<_> = runs.iter().map(|(length, levels)| ((*length).min(1_000), *levels)).collect();
        let mut edges_wanted = expected(&short, 100_000_000, supply);
        // The last row of a table is its last sample, and no time is known behind it.
        let end_ns = (short.iter().map(|(length, _)| *length as u64).sum::<u64>() - 1) * 10;
        *edges_wanted.last_mut().unwrap() = Edge::End { at_ns: end_ns };
        prop_assert!(edges(&write(&folder, "rows.csv", &rows)) == edges_wanted, "a table of samples");
    }
}

fn session(folder: &TempDir, metadata: &str, samples: &[u8], piece: usize) -> PathBuf {
    let mut entries =
        vec![("version".to_owned(), b"2".as_slice(), false), ("metadata".to_owned(), metadata.as_bytes(), true)];
    if piece == 0 {
        entries.push(("logic-1".to_owned(), samples, false));
    } else {
        // In the order of an archive that was packed again.
        let pieces = samples.chunks(piece).enumerate().map(|(n, piece)| (format!("logic-1-{}", n + 1), piece, true));
        entries.extend(pieces.collect::<Vec<_>>().into_iter().rev());
    }
    files::archive(folder, "drawn.sr", &entries)
}

/// START at 10 us, SCL low at 20, SDA up at 30, SCL up at 40, and the end at 50.
const FEW: [(u64, bool, bool); 5] =
    [(0, true, true), (10_000, true, false), (20_000, false, false), (30_000, false, true), (40_000, true, true)];

fn few() -> Vec<Edge> {
    edges_of(&FEW, 50_000)
}

/// IEEE 1364: the time scale is 1, 10 or 100 of a unit.
#[test]
fn time_stamps_count_in_the_unit_of_the_dump() {
    let folder = tempdir().unwrap();
    let head = "$var wire 1 ! SCL $end $var wire 1 \" SDA $end $enddefinitions $end\n";
    for (scale, ten_us) in [
        ("1 us", 10_u64),
        ("10 us", 1),
        ("100 ns", 100),
        ("1 ns", 10_000),
        ("10 ps", 1_000_000),
        ("1 fs", 10_000_000_000),
    ] {
        let at = |n: u64| n * ten_us;
        let text = format!(
            "$timescale {scale} $end {head}#0 1! 1\" #{} 0\" #{} 0! #{} 1\" #{} 1! #{}\n",
            at(1),
            at(2),
            at(3),
            at(4),
            at(5)
        );
        assert_eq!(edges(&write(&folder, "scale.vcd", &text)), few(), "{scale}");
    }
    for (scale, ns) in [("1 s", 1_000_000_000), ("100 ms", 100_000_000), ("1 ms", 1_000_000)] {
        let text = format!("$timescale {scale} $end {head}#0 1! 1\" #7 0! #9\n");
        let slow = edges_of(&[(0, true, true), (7 * ns, false, true)], 9 * ns);
        assert_eq!(edges(&write(&folder, "scale.vcd", &text)), slow, "{scale}");
    }
}

#[test]
fn released_and_unknown_lines_are_high_and_a_time_stamp_is_one_sample() {
    let folder = tempdir().unwrap();
    let head = "$timescale 1 us $end $var wire 1 ! SCL $end $var reg 1 \" SDA $end $var real 64 % power $end \
                $var real 64 & temperature $end $var wire 8 ' bus $end $enddefinitions $end\n";
    // What a dump does not say from its beginning on is high; what is there and back in a time stamp was not seen.
    let text = format!(
        "$comment of a program $end {head}#5 r25.5 & b10101010 ' #10 b0 \" #20 0! 1! 0! #30 z\" 1! #30 0! #40 x! 0\" 1\" #40 #50\n"
    );
    assert_eq!(edges(&write(&folder, "z.vcd", &text)), few());
    let supply = |at_us: u64, mv: u32, on| Edge::Supply { at_ns: at_us * 1000, on, mv: Some(mv) };
    let text = format!("{head}#0 r0 % #1 r1.4994 % #2 r1.4996 % #3 r5 & #4 r1.4996 % #5 r-3 % #6 r1e30 % #7\n");
    let expected = [
        Edge::Begin { scl: true, sda: true },
        supply(0, 0, false),
        supply(1, 1499, false),
        supply(2, 1500, true),
        supply(5, 0, false),
        supply(6, 1_000_000, true),
        Edge::End { at_ns: 7_000 },
    ];
    assert_eq!(edges(&write(&folder, "volts.vcd", &text)), expected);
    let text = format!("{}#0 1% #1 x% #2 z% #3 1% #4\n", head.replace("real 64 %", "wire 1 %"));
    let supply = |at_us: u64, on| Edge::Supply { at_ns: at_us * 1000, on, mv: None };
    let expected = [
        Edge::Begin { scl: true, sda: true },
        supply(0, true),
        supply(1, false),
        supply(3, true),
        Edge::End { at_ns: 4_000 },
    ];
    assert_eq!(edges(&write(&folder, "level.vcd", &text)), expected, "a supply that is not known is off");
}

fn channels(path: &Path, options: ReadOptions) -> Vec<String> {
    Recording::open(path, &options).unwrap().channels().map(str::to_owned).collect()
}

#[test]
fn channels_of_a_dump_are_its_one_bit_variables_by_scope_where_a_name_is_there_twice() {
    let folder = tempdir().unwrap();
    let text = "$timescale 1 us $end $var wire 1 a SDA $end $scope module top $end $var wire 1 ! SCL $end \
                $var wire 1 \" line [3] $end $var wire 8 b bus $end $var real 64 c volts $end \
                $scope module inner $end $var wire 1 # SCL $end $var wire 1 d SDA $end $upscope $end $upscope $end \
                $enddefinitions $end\n#0 1!\n";
    let path = write(&folder, "names.vcd", text);
    let names = ["SDA", "top.SCL", "line[3]", "top.inner.SCL", "top.inner.SDA"];
    assert_eq!(channels(&path, ReadOptions::default()), names);
    let recording = Recording::open(&path, &ReadOptions::default()).unwrap();
    assert_eq!(recording.file(), path.display().to_string());
    let buses: Vec<_> = recording.buses().unwrap().into_iter().map(|bus| (bus.name, bus.scl, bus.sda)).collect();
    let one = |name: &str, scl: &str, sda: &str| (name.to_owned(), scl.to_owned(), sda.to_owned());
    assert_eq!(buses, [one("top.inner", "top.inner.SCL", "top.inner.SDA")]);
    // By number among them, from 1; by name with or without capitals, the exact one first.
    let bus = |scl, sda| recording.bus(scl, sda).map(|bus: Bus| (bus.scl, bus.sda));
    assert_eq!(bus("2", "5").unwrap(), ("top.SCL".to_owned(), "top.inner.SDA".to_owned()));
    assert_eq!(bus("TOP.SCL", "sda").unwrap(), ("top.SCL".to_owned(), "SDA".to_owned()));
    for none in ["0", "6", "volts", "bus"] {
        let error = bus("SDA", none).unwrap_err().to_string();
        let list = names.join(", ");
        let wanted =
            format!("{}: no channel \"{none}\"; name one of {list}, or give its number from 1 to 5", path.display());
        assert_eq!(error, wanted);
    }
}

#[test]
fn channels_of_a_table_are_named_by_its_head_its_comment_or_their_number() {
    let folder = tempdir().unwrap();
    let named = |head: &str, row: &str| {
        let path = write(&folder, "names.csv", &format!("{head}{row}\n"));
        channels(&path, ReadOptions::default()).join(" ")
    };
    assert_eq!(named("\u{FEFF}Time [s],\"SCL\" , SDA\r\n", "0,1,1"), "SCL SDA");
    assert_eq!(named("SCL,Time (ms),SDA\n", "1,0,1"), "SCL SDA");
    assert_eq!(named("; Channels (2/8): SCL, SDA\n;\n# more: of it\n", "0,1,1"), "SCL SDA 3");
    assert_eq!(named("; Channels (2/8): SCL, SDA\nlogic,V,A\n", "0,1,1"), "SCL SDA 3");
    assert_eq!(named("; Channels (2/8): X, Y\nSCL,,logic\n", "0,1,1"), "SCL Y logic");
    assert_eq!(named("", "0.5\t1\t1"), "1 2 3");
    assert_eq!(named("a;b;c\n", "0,1;1;1"), "a b c");
}

/// A column of times is one whose name says so, in the unit that it says.
#[test]
fn times_of_a_table_count_in_the_unit_of_their_column() {
    let folder = tempdir().unwrap();
    for (name, ten_us) in [
        ("Time", "0.00001"),
        ("time [s]", "1e-5"),
        ("Time (sec)", "0.00001"),
        ("TIME_SECONDS", "0.00001"),
        ("seconds", "0.00001"),
        ("Time ms", "0.01"),
        ("milliseconds", "0.01"),
        ("Time[us]", "10"),
        ("Time [µs]", "10"),
        ("Time [μs]", "10"),
        ("microseconds", "10"),
        ("Time_ns", "10000"),
        ("nanoseconds", "10000"),
        ("Time (ps)", "10000000"),
    ] {
        let unit: f64 = ten_us.parse().unwrap();
        // Its beginning is the time of the first row.
        let rows = FEW.iter().chain([&(50_000, true, true)]).map(|&(at, scl, sda)| {
            format!("{},{},{}\n", at as f64 / 10_000.0 * unit - 7.0 * unit, u8::from(sda), u8::from(scl))
        });
        let text = format!("{name},SDA,SCL\n{}", rows.collect::<String>());
        assert_eq!(edges(&write(&folder, "unit.csv", &text)), few(), "{name}");
    }
    for name in ["Time [days]", "timer", "second"] {
        let text = format!("; Samplerate: 100 kHz\n{name},SDA,SCL\n0,1,1\n1,1,1\n");
        assert_eq!(channels(&write(&folder, "unit.csv", &text), ReadOptions::default()), [name, "SDA", "SCL"]);
    }
}

#[test]
fn levels_of_a_table_are_words_too_and_its_supply_volts() {
    let folder = tempdir().unwrap();
    let text = "Time [us],SCL,SDA,Vdd\n0,H,high,0\n10,True,L,0\n20,low,0.0,1.4994\n30,FALSE,1.0,1.4996\n40,z,X,1\n50,1,1,1.0\n";
    let supply = |at_us: u64, on, mv| Edge::Supply { at_ns: at_us * 1000, on, mv };
    let mut expected = few();
    expected.insert(1, supply(0, false, None));
    expected.insert(4, supply(20, false, Some(1499)));
    expected.insert(6, supply(30, true, Some(1500)));
    expected.insert(8, supply(40, true, None));
    expected.insert(9, supply(50, false, Some(1000)));
    assert_eq!(edges(&write(&folder, "words.csv", text)), expected);
    // Both lines in one row, and the supply with them.
    let text = "Time [ns],SCL,SDA,POWER\n0,1,1,1\n10,0,0,0\n30,0,0,0\n";
    let both = |line| Edge::Line { at_ns: 10, line, level: false, together: true };
    let expected = [
        Edge::Begin { scl: true, sda: true },
        supply(0, true, None),
        both(Line::Scl),
        both(Line::Sda),
        Edge::Supply { at_ns: 10, on: false, mv: None },
        Edge::End { at_ns: 30 },
    ];
    assert_eq!(edges(&write(&folder, "both.csv", text)), expected);
}

/// A rate that is given goes before the one that the table says; with a column of times there is none.
#[test]
fn the_rate_of_a_table_is_given_or_in_a_comment() {
    let folder = tempdir().unwrap();
    let rows = "SCL,SDA\n1,1\n1,0\n0,0\n0,1\n1,1\n1,1\n";
    for (comment, sample_hz) in
        [("", Some(100_000)), ("; samplerate: 1 MHz\n", Some(100_000)), ("#Sample Rate : 0.1MHz\n", None)]
    {
        let path = write(&folder, "rate.csv", &format!("{comment}{rows}"));
        let recording = Recording::open(&path, &ReadOptions { filter_ns: 0, sample_hz }).unwrap();
        let bus = recording.bus("SCL", "SDA").unwrap();
        let mut edges = recording.edges(&bus).unwrap();
        assert_eq!(edges.resolution_ns(), 10_000, "before anything has changed");
        assert_eq!(edges.by_ref().map(Result::unwrap).collect::<Vec<_>>(), few(), "{comment}");
        assert_eq!(edges.resolution_ns(), 10_000);
    }
    let path = write(
        &folder,
        "timed.csv",
        "; Samplerate: 1 MHz\nTime [us],SCL,SDA\n0,1,1\n10,1,0\n20,0,0\n30,0,1\n40,1,1\n50,1,1\n",
    );
    assert_eq!(edges(&path), few());
}

/// Progress is the share of the file that was read, to within what is read ahead; at the end it is all of it.
#[test]
fn progress_follows_the_file() {
    let folder = tempdir().unwrap();
    let rows = 100_000;
    let level = |row: usize| u8::from(row.is_multiple_of(2));
    let table: String = (0..rows).map(|row| format!("{:07},{},1\n", row, level(row))).collect();
    let dump: String = (0..rows).map(|row| format!("#{:07}\n{}!\n", row, level(row))).collect();
    let head = "$timescale 1 us $end $var wire 1 ! SCL $end $var wire 1 \" SDA $end $enddefinitions $end\n";
    let samples: Vec<u8> = (0..rows).flat_map(|row| [level(row) | 2, 0, 0, 0, 0, 0, 0, 0]).collect();
    let metadata = "[device 1]\ncapturefile=logic-1\nsamplerate=1 MHz\nprobe1=SCL\nprobe2=SDA\nunitsize=8\n";
    for path in [
        write(&folder, "long.csv", &format!("Time [us],SCL,SDA\n{table}")),
        write(&folder, "long.vcd", &format!("{head}{dump}")),
        session(&folder, metadata, &samples, 200_000),
    ] {
        let (recording, bus) = open(&path, 0);
        let mut edges = recording.edges(&bus).unwrap();
        let (mut row, mut before) = (0, 0.0);
        while let Some(edge) = edges.next() {
            let (edge, progress) = (edge.unwrap(), edges.progress());
            let share = row as f64 / rows as f64;
            assert!(progress >= before && progress >= share - 1e-3 && progress <= share + 0.1, "{progress} at {share}");
            (row, before) = (row + 1, progress);
            assert!(edge.at_ns() <= rows as u64 * 1000);
        }
        assert_eq!((row, before), (rows + 1, 1.0), "{}", path.display());
    }
}
