//! The driver's promises about a loss of supply: each row of the table in its documentation ("When supply is lost"), and the
//! exceptions named below it, with a test that cuts the supply there. A row without a test here is found.

use std::ops::Range;
use std::sync::LazyLock;

use pagewise_driver::{Eeprom, Options, Trust, Wait};
use pagewise_part::card::Catalogue;
use pagewise_simulator::{
    ChipId, CycleTime, EventKind, Note, PowerUp, Rig, RigBus, RigConfig, RigDelay, SupplyProfile, TornModel,
};
use pagewise_tests::seat::Seat;

type Driver = Eeprom<RigBus, RigDelay, 259>;

/// The rows, as the documentation words them, and where each is cut.
const ROWS: [(&str, &str); 5] = [
    ("in a read", "a_cut_in_a_read_changes_nothing"),
    ("in a write, between two pages", "a_cut_in_a_write_leaves_all_pages_but_the_one_in_its_cycle_as_they_should_be"),
    ("while a page is sent", "a_cut_in_a_write_leaves_all_pages_but_the_one_in_its_cycle_as_they_should_be"),
    ("in a page's write cycle", "a_cut_in_a_write_leaves_all_pages_but_the_one_in_its_cycle_as_they_should_be"),
    ("after the call has returned `Ok`", "a_cut_after_ok_finds_everything_stored_and_if_lazy_all_but_the_last_page"),
];
/// One word-address byte with block-select bits, two, and one alone.
const PARTS: [&str; 3] = ["24lc16b", "24lc32a", "24lc01b"];
const CYCLE_NS: u64 = 300_000;

/// What a write leaves: its place, and the cycles that it took without a cut.
struct Bench {
    seat: Seat,
    rig: Rig,
    chip: ChipId,
}

impl Bench {
    fn new(id: &str, model: TornModel, draw: u64) -> Self {
        static CATALOGUE: LazyLock<Catalogue> = LazyLock::new(|| Catalogue::embedded().unwrap());
        let seat = Seat::new(CATALOGUE.find(id).unwrap(), 0, 0);
        let rig =
            Rig::new(RigConfig::default().with_scl_hz(seat.scl_hz).with_supply_mv(seat.supply_mv).with_seed(draw));
        let chip = rig.attach_with(seat.card.chip_model(), seat.straps(), PowerUp::Random);
        rig.set_write_cycle(chip, CycleTime::Exact(CYCLE_NS));
        rig.set_torn_model(model, draw);
        Self { seat, rig, chip }
    }

    fn driver(&self, options: Options) -> Driver {
        Eeprom::new(self.rig.bus(), self.rig.delay(), self.seat.geometry, options)
    }

    /// From the middle of a page to the middle of the next one but one.
    fn place(&self) -> Range<usize> {
        let page = self.seat.geometry.page_bytes();
        let start = self.seat.writable.start + 3 * page + page / 2;
        start as usize..(start + 2 * page) as usize
    }

    /// Loses the supply at a time from now on.
    fn cut_at(&self, ns: u64) {
        self.rig.set_supply_profile(&SupplyProfile::new().step(ns, 0));
    }

    fn memory(&self) -> Vec<u8> {
        if self.rig.supply_mv() == 0 {
            self.rig.restore_supply_mv(self.seat.supply_mv);
        }
        self.rig.memory(self.chip)
    }
}

fn bytes(length: usize) -> Vec<u8> {
    (0..length).map(|index| (index * 37 + 11) as u8).collect()
}

/// Times of everything that happens in a run, and write cycles: start, end and page.
fn events(rig: &Rig) -> (Vec<u64>, Vec<(u64, u64, usize)>) {
    let trace = rig.trace();
    let cycles = trace.iter().filter_map(|event| match event.kind {
        EventKind::Chip { note: Note::CycleStart { page, ends_ns, .. }, .. } => {
            Some((event.at_ns, ends_ns, page as usize))
        }
        _ => None,
    });
    (trace.iter().map(|event| event.at_ns).collect(), cycles.collect())
}

#[test]
fn every_row_of_the_table_is_cut_here() {
    let source = include_str!("guarantee.rs");
    let lib = include_str!("../../../driver/src/lib.rs");
    let (_, rest) = lib.split_once("//! | Supply is lost | Then |\n//! |---|---|\n").unwrap();
    let rows: Vec<&str> = rest
        .lines()
        .map_while(|line| line.strip_prefix("//! | "))
        .map(|row| row.split(" | ").next().unwrap())
        .collect();
    assert_eq!(rows, ROWS.map(|(row, _)| row));
    for (row, test) in ROWS {
        assert!(source.contains(&format!("#[test]\nfn {test}()")), "{row}: no test {test}");
    }
}

#[test]
fn a_cut_in_a_read_changes_nothing() {
    let mut cuts = 0;
    for id in PARTS {
        let run = |cut: Option<u64>| {
            let bench = Bench::new(id, TornModel::ErasedThenProgrammed, 1);
            let before = bench.memory();
            if let Some(ns) = cut {
                bench.cut_at(ns);
            }
            let place = bench.place();
            let result = bench.driver(Options::new()).read(place.start as u32, &mut vec![0; place.len()]);
            (events(&bench.rig).0, result.is_ok(), before, bench.memory())
        };
        let (times, done, ..) = run(None);
        assert!(done);
        for ns in times.into_iter().step_by(3) {
            let (_, _, before, after) = run(Some(ns));
            assert_eq!(before, after, "{id}, cut at {ns} ns");
            cuts += 1;
        }
    }
    assert!(cuts > 30, "{cuts}");
}

#[test]
fn a_cut_in_a_write_leaves_all_pages_but_the_one_in_its_cycle_as_they_should_be() {
    // Cuts between pages, while one is sent, and in its cycle; pages that were damaged in their cycle.
    let mut met = [0; 4];
    for (id, model) in PARTS.into_iter().flat_map(|id| TornModel::ALL.map(|model| (id, model))) {
        let run = |cut: Option<u64>| {
            let bench = Bench::new(id, model, 0);
            bench.rig.set_torn_model(model, cut.unwrap_or(0));
            let before = bench.memory();
            if let Some(ns) = cut {
                bench.cut_at(ns);
            }
            let place = bench.place();
            let result = bench.driver(Options::new()).write(place.start as u32, &bytes(place.len()));
            (events(&bench.rig), result.map_err(|error| error.safe_bytes()), before, bench.memory(), place)
        };
        let ((times, cycles), done, old, new, place) = run(None);
        let page = place.len() / 2;
        assert_eq!((done, cycles.len(), &new[place.clone()]), (Ok(()), 3, &bytes(place.len())[..]));
        let inside =
            cycles.iter().flat_map(|(start, end, _)| [1, 3, 5, 7].map(|eighth| start + (end - start) * eighth / 8));
        let last = cycles[2].1;
        for ns in times.into_iter().filter(|ns| *ns <= last).step_by(5).chain(inside) {
            let (_, result, before, after, _) = run(Some(ns));
            assert_eq!(before, old, "each run begins alike");
            let under_way = cycles.iter().find(|(start, end, _)| (*start..*end).contains(&ns)).map(|cycle| cycle.2);
            for (this, found) in (0..).step_by(page).zip(after.chunks(page)) {
                let (old, new) = (&old[this..this + page], &new[this..this + page]);
                if under_way == Some(this) {
                    let odd = found.iter().zip(old).zip(new).filter(|((byte, old), new)| byte != old && byte != new);
                    met[3] += odd.count();
                    continue;
                }
                let stored = cycles.iter().any(|(_, end, first)| *first == this && *end <= ns);
                assert_eq!(found, if stored { new } else { old }, "{id}, {model:?}, cut at {ns} ns: page {this}");
            }
            // And the error does not claim more than is stored.
            if let Err(safe) = result {
                assert!(after[place.start..place.start + safe] == bytes(place.len())[..safe], "{id}, {ns} ns: {safe}");
            }
            let sent = cycles.iter().any(|(start, ..)| ns < *start && ns + 400_000 > *start);
            met[if under_way.is_some() { 2 } else { usize::from(sent) }] += 1;
        }
    }
    println!(
        "{} cuts between pages, {} while one was sent, {} in a cycle, {} bytes neither old nor new",
        met[0], met[1], met[2], met[3]
    );
    assert!(met.iter().all(|count| *count > 20), "{met:?}");
}

#[test]
fn a_cut_after_ok_finds_everything_stored_and_if_lazy_all_but_the_last_page() {
    let mut unfinished = 0;
    for (id, model) in PARTS.into_iter().flat_map(|id| TornModel::ALL.map(|model| (id, model))) {
        for lazy in [false, true] {
            let bench = Bench::new(id, model, 3);
            let (place, old) = (bench.place(), bench.memory());
            let data = bytes(place.len());
            let mut driver = bench.driver(Options::new().with_lazy(lazy));
            driver.write(place.start as u32, &data).unwrap();
            bench.rig.set_supply_mv(0);
            let after = bench.memory();
            let page = bench.seat.geometry.page_bytes() as usize;
            let last = if lazy { (place.end - 1) / page * page } else { place.end };
            assert_eq!(after[place.start..last], data[..last - place.start], "{id}, {model:?}, lazy: {lazy}");
            assert_eq!(after[..place.start], old[..place.start]);
            unfinished += usize::from(after[place.clone()] != data);
            // The next call waits for the last page.
            let bench = Bench::new(id, model, 3);
            let mut driver = bench.driver(Options::new().with_lazy(lazy));
            driver.write(place.start as u32, &data).unwrap();
            driver.wait_ready().unwrap();
            bench.rig.set_supply_mv(0);
            assert_eq!(bench.memory()[place.clone()], data, "{id}, {model:?}, lazy: {lazy}");
        }
    }
    assert!(unfinished > 0, "lazy writes are cut in their last cycle");
}

/// "If the part alone loses it in a write cycle and is back before the polling ends, no driver can tell; if it is not back,
/// the call fails. With `Wait::Fixed` nobody asks. `write_verified` reads back in both cases."
#[test]
fn a_part_that_alone_loses_its_supply_is_found_out_by_write_verified_only() {
    let data = [0xA5; 8];
    let write = |options: Options, back_ns: Option<u64>, verified: bool| {
        let bench = Bench::new("24lc32a", TornModel::Old, 0);
        let mut probe = bench.driver(options);
        probe.write(0x40, &[0x11; 8]).unwrap();
        let start = bench.rig.now_ns();
        // Header and data take eleven bytes; then the write cycle runs.
        let cut = start + 11 * 9 * (1_000_000_000 / u64::from(bench.seat.scl_hz)) + CYCLE_NS / 2;
        let mut profile = SupplyProfile::new().step(cut, 0);
        if let Some(ns) = back_ns {
            profile = profile.step(cut + ns, bench.seat.supply_mv);
        }
        bench.rig.set_supply_profile(&profile);
        let mut driver = bench.driver(options);
        let result = if verified { driver.write_verified(0x40, &data) } else { driver.write(0x40, &data) };
        (result, bench.memory()[0x40..0x48] == data)
    };
    // Polls that are far apart, so that none falls into the time without supply, which this bus would report.
    let (poll, fixed) = (Options::new().with_poll_interval_us(500), Options::new().with_wait(Wait::Fixed));
    assert_eq!(write(poll, Some(100_000), false), (Ok(()), false), "back in time: no driver can tell");
    let (result, stored) = write(poll, None, false);
    assert!(result.as_ref().is_err_and(|error| error.safe_bytes() == 0) && !stored, "{result:?}");
    for back in [Some(100_000), None] {
        assert_eq!(write(fixed, back, false), (Ok(()), false), "nobody asks");
        for options in [poll, fixed] {
            let (result, stored) = write(options, back, true);
            assert!(result.is_err() && !stored, "{options:?}: {result:?}");
        }
    }
}

/// "A page that was cut before the start may read right now and wrong later. `update` therefore keeps only what its `Trust`
/// vouches for." All cuts are in `update_under_cuts.rs`; here is one.
#[test]
fn a_page_that_was_cut_before_the_start_is_written_by_the_first_update() {
    let (mut suspect, data) = (0, [0x0F]);
    for draw in 0..40 {
        let bench = Bench::new("24lc32a", TornModel::Unstable, draw);
        let mut driver = bench.driver(Options::new().with_lazy(true));
        driver.write(0x40, &[0x0E]).unwrap();
        driver.wait_ready().unwrap();
        driver.write(0x40, &data).unwrap();
        bench.rig.advance_ns(CYCLE_NS / 2);
        bench.rig.set_supply_mv(0);
        bench.rig.restore_supply_mv(bench.seat.supply_mv);
        let mut driver = bench.driver(Options::new());
        if driver.compare(0x40, &data) != Ok(None) {
            continue;
        }
        suspect += 1;
        let mut trust = Trust::new();
        assert_eq!(driver.update(0x40, &data, &mut trust).unwrap().kept, 0);
        for _ in 0..20 {
            assert_eq!(driver.compare(0x40, &data), Ok(None), "draw {draw}");
        }
    }
    assert!(suspect > 0, "no page that was cut read right");
}
