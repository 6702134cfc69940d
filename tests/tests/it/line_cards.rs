//! The production line on every card of the catalogue, on every wrong part, and under faults: what it calls good is
//! good, and its look, its verification and its dump write nothing.

use std::path::Path;
use std::sync::Mutex;
use std::sync::atomic::AtomicBool;

use pagewise_content::image::Image;
use pagewise_line::bench::Bench;
use pagewise_line::difference::differences;
use pagewise_line::journal::{Event, Journal, Particulars};
use pagewise_line::look;
use pagewise_line::plan::{Holds, Permissions};
use pagewise_line::progress::Progress;
use pagewise_line::units::Unit;
use pagewise_line::{Ending, LineBus, Order, Socket, Step, UnitReport, Wanted, program};
use pagewise_part::card::{Card, Catalogue};
use pagewise_simulator::{
    ChipId, EventKind, Fault, Faults, Incident, Level, Note, PowerUp, Ratio, Rig, RigConfig, Straps, SupplyProfile,
    TornModel,
};
use pagewise_tests::draws::Draws;
use pagewise_tests::search::{scaled, seed};
use pagewise_tests::seat::Seat;

static GO_ON: AtomicBool = AtomicBool::new(false);

/// A socket for one card with the chip of another, or of the same, in it.
pub(crate) struct Place {
    pub(crate) socket: Socket,
    pub(crate) rig: Rig,
    pub(crate) chip: ChipId,
    bus: LineBus,
}

impl Place {
    pub(crate) fn new(told: &Seat, fitted: &Seat, contents: PowerUp) -> Self {
        let rig = Rig::new(RigConfig { scl_hz: fitted.scl_hz.min(told.scl_hz), supply_mv: fitted.supply_mv, seed: 1 });
        rig.set_trace(false);
        let model = fitted.card.chip_model();
        let straps: Straps = fitted.straps();
        let chip = rig.attach_with(model.clone(), straps, contents);
        let socket = Socket {
            card: told.card.clone(),
            pins: told.pins,
            geometry: told.geometry,
            max_transfer_bytes: 8192,
            other_is_nack: false,
            scan: true,
        };
        let bus = LineBus::Simulated(Box::new(Bench::over(&rig, chip, &model)));
        Self { socket, rig, chip, bus }
    }

    pub(crate) fn run(&mut self, unit: &Unit, folder: &Path, permissions: Permissions) -> UnitReport {
        // A process that another test starts holds our locks between its fork and its exec.
        let open = || Journal::open(&folder.join("line.jsonl"));
        let again = || std::thread::sleep(std::time::Duration::from_millis(100));
        let journal = (0..20).find_map(|_| open().ok().or_else(|| (again(), None).1));
        let journal = Mutex::new(journal.map_or_else(open, Ok).unwrap());
        let backups = folder.join("backups");
        let socket = &self.socket;
        let order = Order {
            unit,
            socket,
            buses: &[],
            particulars: &Particulars::default(),
            backups: &backups,
            permissions,
            identification: None,
            lock: None,
        };
        program(order, &mut self.bus, &journal, &Progress::silent(&GO_ON))
    }
}

/// Bytes in a few places of what can be written: at its beginning, across a page end in the middle, at its end.
fn unit(name: &str, seat: &Seat, draws: &mut Draws) -> Unit {
    let (from, to) = (seat.writable.start, seat.writable.end);
    let page = seat.geometry.page_bytes().min(256);
    let mut image = Image::new();
    let middle = from + (to - from) / 2 + page / 2;
    for (offset, length) in [(from, 2 * page + 3), (middle, 2 * page), (to.saturating_sub(page + 5), page + 5)] {
        let offset = offset.clamp(from, to);
        let bytes = draws.bytes(length.min(to - offset) as usize);
        // Where the part is small, the places overlap: the first one stays.
        let _ = image.put(offset, &bytes);
    }
    let wanted = Wanted::new(image, &draws.bytes(8));
    Unit { name: name.to_owned(), file: format!("{name}.bin"), wanted, made_for: None }
}

fn catalogue() -> Catalogue {
    Catalogue::embedded().unwrap()
}

fn seat(catalogue: &Catalogue, card: &str) -> Seat {
    Seat::new(catalogue.find(card).unwrap(), 0, 0)
}

fn reached(place: &Place) -> Vec<u8> {
    place.rig.memory(place.chip)[..place.socket.capacity() as usize].to_vec()
}

/// Every event since the trace was switched on is part of a read: no write cycle, nothing stored, and behind a START
/// with R/W = 0 no more bytes than the word address has.
fn only_reads(place: &Place, card: &Card) -> Result<usize, String> {
    let header = usize::from(card.word_address_bytes.value);
    let (mut written, mut reads) = (0, 0);
    for event in place.rig.trace() {
        match event.kind {
            EventKind::Start | EventKind::RepeatedStart => written = 0,
            EventKind::Write { .. } => written += 1,
            EventKind::Read { .. } => reads += 1,
            EventKind::Stop if written > 0 && reads == 0 => return Err("a STOP behind a header".to_owned()),
            EventKind::Chip { note: Note::CycleStart { .. }, .. } => return Err("a write cycle".to_owned()),
            _ => {}
        }
        if written > header {
            return Err(format!("{written} bytes sent"));
        }
    }
    Ok(reads)
}

fn harmless(incidents: &[Incident]) -> bool {
    incidents.is_empty()
}

#[test]
fn every_card_is_programmed_verified_and_dumped_and_the_three_agree() {
    let catalogue = catalogue();
    let mut draws = Draws::new(seed());
    for card in catalogue.cards() {
        let folder = tempfile::tempdir().unwrap();
        let seat = Seat::new(card, 0, 0);
        let mut place = Place::new(&seat, &seat, PowerUp::Erased);
        let before = reached(&place);
        let unit = unit("TI-1", &seat, &mut draws);
        let report = place.run(&unit, folder.path(), Permissions { overwrite: true, again: false });
        assert_eq!(report.result, Ending::Good, "{}: {:?}", card.id, report.halt);
        assert!(harmless(&place.rig.incidents()), "{}: {:?}", card.id, place.rig.incidents());
        let memory = reached(&place);
        assert!(memory == unit.wanted.over(&before), "{}: memory is not the image over what was there", card.id);

        // Verify and dump read the same, and write nothing.
        place.rig.forget();
        place.rig.set_trace(true);
        let progress = Progress::silent(&GO_ON);
        let look = look::look(&mut place.bus, &place.socket, &progress).unwrap();
        assert!(look.contents == memory, "{}: the dump differs", card.id);
        assert_eq!(look.unsteady, None, "{}", card.id);
        for (offset, run) in unit.wanted.image().runs() {
            let mut found = vec![0; run.len()];
            look::read(&mut place.bus, &place.socket, Step::Verify, offset, &mut found, &progress).unwrap();
            assert_eq!(differences(offset, run, &found), [], "{}", card.id);
        }
        let reads = only_reads(&place, card).unwrap_or_else(|what| panic!("{}: {what}", card.id));
        assert!(reads >= memory.len(), "{}: only {reads} bytes read", card.id);
        assert!(harmless(&place.rig.incidents()), "{}: {:?}", card.id, place.rig.incidents());
        assert!(reached(&place) == memory, "{}: reading changed the memory", card.id);

        // Nothing is left to be written.
        place.rig.set_trace(false);
        let again = place.run(&unit, folder.path(), Permissions { overwrite: false, again: true });
        assert_eq!(
            (again.result, again.held, again.pages_written),
            (Ending::Good, Some(Holds::AsWanted), 0),
            "{}",
            card.id
        );
    }
}

/// WP at the level that protects: the part keeps what it held there, and the line says so, whether the part refuses
/// data or takes and drops it.
#[test]
fn a_protected_part_is_found_out_on_every_card_with_a_wp_pin() {
    let catalogue = catalogue();
    let mut draws = Draws::new(seed());
    let mut tried = 0;
    for card in catalogue.cards() {
        let range = card.chip_model().write_protect.pin_range;
        let seat = Seat::new(card, 0, 0);
        let unit = unit("TI-1", &seat, &mut draws);
        let covered = unit
            .wanted
            .image()
            .runs()
            .any(|(offset, run)| (offset..offset + run.len() as u32).any(|at| range.contains(at)));
        if !covered {
            continue;
        }
        let folder = tempfile::tempdir().unwrap();
        let mut place = Place::new(&seat, &seat, PowerUp::Erased);
        place.rig.set_wp(place.chip, Level::from_bit(card.wp_active_high.value));
        let before = place.rig.memory(place.chip);
        let report = place.run(&unit, folder.path(), Permissions::default());
        let halt = report.halt.unwrap_or_else(|| panic!("{}: called good in spite of WP", card.id));
        assert_eq!((report.result, halt.hazard), (Ending::Failed, Some("write-protect")), "{}: {halt:?}", card.id);
        let protected = range.start as usize..(range.start + range.len) as usize;
        assert!(place.rig.memory(place.chip)[protected.clone()] == before[protected], "{}", card.id);
        // WP released, the same command goes on.
        place.rig.set_wp(place.chip, Level::from_bit(!card.wp_active_high.value));
        let report = place.run(&unit, folder.path(), Permissions::default());
        assert_eq!(report.result, Ending::Good, "{}: {:?}", card.id, report.halt);
        tried += 1;
    }
    println!("WP on {tried} cards");
    assert!(tried > 100);
}

/// Geometries of every kind: one and two word-address bytes, block-select bits, small and large pages.
const KINDS: [&str; 10] = [
    "24lc01b",
    "24lc02b",
    "24lc04b",
    "24lc16b",
    "at24c16c",
    "24lc32a",
    "24lc64",
    "24lc256",
    "at24c512c-5v5",
    "24lc1025",
];

/// The look does no harm to any part in any socket; and whatever the line then calls good holds the image and nothing
/// else that was not there.
#[test]
fn a_wrong_part_is_never_harmed_by_the_look_and_never_called_good_unless_it_serves() {
    let catalogue = catalogue();
    let mut draws = Draws::new(seed());
    let (mut good, mut bad) = (0, 0);
    for told in KINDS {
        for fitted in KINDS {
            for blank in [true, false] {
                let (told, fitted) = (seat(&catalogue, told), seat(&catalogue, fitted));
                let names = format!("{} in a socket for {}, blank {blank}", fitted.card.id, told.card.id);
                let folder = tempfile::tempdir().unwrap();
                let contents = if blank { PowerUp::Erased } else { PowerUp::Random };
                let mut place = Place::new(&told, &fitted, contents);
                let before = place.rig.memory(place.chip);
                place.rig.set_trace(true);
                let looked = look::look(&mut place.bus, &place.socket, &Progress::silent(&GO_ON));
                assert!(place.rig.memory(place.chip) == before, "{names}: the look changed the memory");
                assert!(only_reads_of_any(&place), "{names}: the look wrote");
                place.rig.set_trace(false);
                let unit = unit("TI-1", &told, &mut draws);
                let report = place.run(&unit, folder.path(), Permissions { overwrite: true, again: false });
                let smaller = fitted.card.reachable_bytes() < told.card.reachable_bytes();
                let narrower = fitted.geometry.page_bytes() < told.geometry.page_bytes();
                let width = fitted.card.word_address_bytes.value != told.card.word_address_bytes.value;
                if smaller || narrower || width {
                    assert_ne!(report.result, Ending::Good, "{names}");
                    let halt = report.halt.unwrap();
                    assert!(!halt.reason.is_empty() && !halt.remedy.is_empty(), "{names}");
                    bad += 1;
                    // A part that answers and holds something is found out before it is written, if that can be known.
                    if let (Ok(look), false) = (&looked, blank)
                        && width
                    {
                        assert!(look.unsteady.is_some() || look.period.is_some(), "{names}: {halt:?}");
                    }
                    let journal = Journal::open(&folder.path().join("line.jsonl")).unwrap();
                    assert!(journal.records().iter().all(|record| record.event != Event::Good), "{names}");
                } else if report.result == Ending::Good {
                    let capacity = told.geometry.capacity_bytes() as usize;
                    let after = place.rig.memory(place.chip);
                    assert!(after[..capacity] == unit.wanted.over(&before[..capacity]), "{names}");
                    assert!(after[capacity..] == before[capacity..], "{names}");
                    good += 1;
                }
            }
        }
    }
    println!("{good} runs good, {bad} wrong parts found out");
    assert!(good >= 2 * KINDS.len() && bad > 50);
}

/// No write cycle, whatever the part takes for data.
fn only_reads_of_any(place: &Place) -> bool {
    !place.rig.trace().iter().any(|event| matches!(event.kind, EventKind::Chip { note: Note::CycleStart { .. }, .. }))
}

/// On a blank part only the first write can tell. It tells the hazard by its name.
#[test]
fn the_first_write_names_the_hazard_of_a_wrong_part() {
    let catalogue = catalogue();
    let cases = [
        ("24lc32a", "24lc16b", "address-width"),
        ("24lc32a", "24lc02b", "address-width"),
        ("at24c256c", "24lc64", "page-wrap"),
        ("24lc64", "24lc32a", "capacity-alias"),
        ("24lc16b", "24lc08b", "capacity-alias"),
    ];
    for (told, fitted, hazard) in cases {
        let (told, fitted) = (seat(&catalogue, told), seat(&catalogue, fitted));
        let folder = tempfile::tempdir().unwrap();
        let mut place = Place::new(&told, &fitted, PowerUp::Erased);
        let mut image = Image::new();
        image.put(0, &Draws::new(1).bytes(512)).unwrap();
        let wanted = Wanted::new(image, b"");
        let unit = Unit { name: "TI-1".into(), file: "a".into(), wanted, made_for: None };
        let report = place.run(&unit, folder.path(), Permissions::default());
        let names = format!("{} in a socket for {}", fitted.card.id, told.card.id);
        let halt = report.halt.unwrap_or_else(|| panic!("{names} is called good"));
        let known = ["block-alias", "capacity-alias"];
        let fits = |named: &str| named == hazard || (known.contains(&hazard) && known.contains(&named));
        assert!(halt.hazard.is_some_and(fits), "{names}: {halt:?}");
        assert!(report.pages_written <= 1, "{names}: {} pages before it was found out", report.pages_written);
    }
}

/// Whatever goes wrong, a unit that is called good holds its image and nothing else changed; and when the faults are
/// gone the same command ends well, without being allowed to overwrite anything.
#[test]
fn under_any_faults_good_means_good_and_the_next_run_ends_well() {
    let catalogue = catalogue();
    let (mut good, mut bad, mut resumed) = (0, 0, 0);
    for case in 0..scaled(150) {
        let mut draws = Draws::new(seed() ^ u64::from(case) << 20);
        let told = seat(&catalogue, KINDS[draws.below(KINDS.len() as u32) as usize]);
        let folder = tempfile::tempdir().unwrap();
        let mut place = Place::new(&told, &told, PowerUp::Erased);
        let before = reached(&place);
        let unit = unit("TI-1", &told, &mut draws);
        let share = |draws: &mut Draws| match draws.below(3) {
            0 => Ratio::new(1, 200 + draws.below(2000)),
            _ => Ratio::NEVER,
        };
        let mut faults = Faults { seed: draws.any(), ..Faults::default() };
        (faults.nack, faults.flip, faults.lie, faults.long) =
            (share(&mut draws), share(&mut draws), share(&mut draws), share(&mut draws));
        if draws.below(3) == 0 {
            let offset = draws.below(told.geometry.capacity_bytes());
            faults.script.push(Fault::RestFlip { chip: place.chip, offset, mask: 1 << draws.below(8) });
        }
        place.rig.set_faults(faults).unwrap();
        let cut = draws.below(2) == 0;
        if cut {
            let model = TornModel::ALL[draws.below(TornModel::ALL.len() as u32) as usize];
            place.rig.set_torn_model(model, draws.any());
            let read_ns = u64::from(told.geometry.capacity_bytes()) * 9_000_000_000 / u64::from(told.scl_hz);
            let at_ns = read_ns + draws.any() % 100_000_000;
            place.rig.set_supply_profile(&SupplyProfile::new().step(at_ns, 0));
        }
        let report = place.run(&unit, folder.path(), Permissions::default());
        let again = format!("case {case}, again with PAGEWISE_SEED={:#x}", seed());
        let after = unit.wanted.over(&before);
        place.rig.clear_faults();
        place.rig.set_supply_profile(&SupplyProfile::new());
        if report.result == Ending::Good {
            good += 1;
            assert!(reached(&place) == after, "{again}: {}: good, and the memory is not", told.card.id);
            continue;
        }
        bad += 1;
        if place.rig.supply_mv() == 0 {
            place.rig.restore_supply_mv(told.supply_mv);
        }
        let second = place.run(&unit, folder.path(), Permissions::default());
        resumed += u32::from(second.resumed);
        // A page of a part whose writes did not stick holds its old bytes: everything can be taken up, but for damage
        // that a flipped address byte did outside the image.
        if second.result == Ending::Good {
            assert!(reached(&place) == after, "{again}: {}: good, and the memory is not", told.card.id);
        } else {
            let harmed = differences(0, &after, &reached(&place));
            assert!(!harmed.is_empty(), "{again}: {}: {:?}", told.card.id, second.halt);
        }
    }
    println!("{good} runs good in spite of faults, {bad} stopped, {resumed} of them taken up");
    assert!(good > 5 && bad > 20 && resumed > 10);
}
