//! The blocking and the async driver on equal rigs, for every bus-layer preset with every card: equal results, equal
//! traces, equal memory, equal virtual time. The same for the record store and for the choice between parts.

use std::future::Future;
use std::pin::pin;
use std::task::{Context, Poll, Waker};

use pagewise_driver::records::{AsyncRecordStore, RecordLayout, RecordSpec, RecordStore};
use pagewise_driver::{AsyncEeprom, Candidate, Eeprom, LongerHeader, Options, Trust, Wait, choose, choose_async};
use pagewise_part::card::{Card, Catalogue};
use pagewise_simulator::{
    AsyncRigBus, ChipId, CycleTime, NackKind, PowerUp, Preset, Quirks, Rig, RigBus, RigConfig, RigDelay, block_on,
};
use pagewise_tests::seat::Seat;

type Blocking = Eeprom<RigBus, RigDelay, 259>;
type Asynchronous = AsyncEeprom<AsyncRigBus, RigDelay, 259>;

const SPECS: [RecordSpec; 2] = [RecordSpec::new(1, 5, 3), RecordSpec::new(2, 8, 3)];

/// What a program does, and what came of it as text.
#[derive(Debug, Clone, Copy)]
enum Step {
    Write,
    Verified,
    Update,
    Fill,
    Compare,
    Read,
    Current,
    Ready,
    Records,
    Choose,
}

const STEPS: [Step; 11] = [
    Step::Write,
    Step::Read,
    Step::Verified,
    Step::Current,
    Step::Update,
    Step::Compare,
    Step::Fill,
    Step::Ready,
    Step::Records,
    Step::Choose,
    Step::Read,
];

/// A part in its seat with a job over three pages.
struct Bench {
    seat: Seat,
    rig: Rig,
    chip: ChipId,
    offset: u32,
    bytes: Vec<u8>,
    options: Options,
}

impl Bench {
    fn new(card: &Card, options: Options) -> Self {
        let seat = Seat::new(card, 0, 0);
        let rig = Rig::new(RigConfig::default().with_scl_hz(seat.scl_hz).with_supply_mv(seat.supply_mv));
        let chip = rig.attach_with(seat.card.chip_model(), seat.straps(), PowerUp::Random);
        // Short, so that the traces are not mostly polls.
        rig.set_write_cycle(chip, CycleTime::Exact(100_000));
        let page = seat.geometry.page_bytes().min(40);
        let (start, end) = (seat.writable.start, seat.writable.end);
        let offset = (start + page / 2 + 1).min(end - 1);
        let bytes = (0..(2 * page + 3).min(end - offset)).map(|at| at as u8 ^ 0x5A).collect();
        Self { seat, rig, chip, offset, bytes, options }
    }

    /// Where records have room.
    fn layout(&self) -> Option<RecordLayout<'static>> {
        let (geometry, writable) = (&self.seat.geometry, &self.seat.writable);
        let pageless = geometry.page_bytes() == geometry.capacity_bytes();
        let start = if pageless { writable.start } else { writable.start.next_multiple_of(geometry.page_bytes()) };
        let layout = RecordLayout::try_new(geometry, start, &SPECS).ok()?;
        (layout.end() <= writable.end).then_some(layout)
    }

    fn candidates(&self) -> [Candidate; 2] {
        let one = Candidate::new(self.seat.geometry, self.offset, 3);
        [one, Candidate::new(self.seat.geometry, self.seat.writable.start, 3)]
    }

    fn blocking(&self, quirks: Quirks) -> Vec<String> {
        let bus = self.rig.bus_with(quirks);
        let mut driver = Blocking::new(bus.clone(), self.rig.delay(), self.seat.geometry, self.options);
        let mut trust = Trust::new();
        let (offset, bytes) = (self.offset, &self.bytes);
        let mut into = vec![0; bytes.len()];
        let one = |step: &Step| match step {
            Step::Write => format!("{:?}", driver.write(offset, bytes)),
            Step::Verified => format!("{:?}", driver.write_verified(offset, &bytes[1..])),
            Step::Update => format!("{:?}", driver.update(offset, bytes, &mut trust)),
            Step::Fill => format!("{:?}", driver.fill(offset, bytes.len(), 0x11)),
            Step::Compare => format!("{:?}", driver.compare(offset, bytes)),
            Step::Ready => format!("{:?}", driver.wait_ready()),
            Step::Read => format!("{:?} {into:02X?}", driver.read(offset, &mut into)),
            Step::Current => format!("{:?} {into:02X?}", driver.current_address_read(&mut into)),
            Step::Records => self.layout().map_or(String::new(), |layout| {
                let mut store = RecordStore::<_, 21>::new(&mut driver, layout);
                let (mut payload, written) = ([0; 5], store.write(1, 7, b"gain"));
                let (read, counted) = (store.read(1, &mut payload), [store.increment(2), store.increment(2)]);
                format!("{written:?} {read:?} {payload:?} {counted:?} {:?} {:?}", store.count(2), store.erase(1))
            }),
            Step::Choose => {
                let (mut bus, mut delay, mut asked) = (bus.clone(), self.rig.delay(), Vec::new());
                let accepts = |index: usize, record: &[u8]| {
                    asked.push((index, record.to_vec()));
                    index == 0
                };
                let (candidates, longer) = (self.candidates(), LongerHeader::Refuse);
                let found = choose(&mut bus, &mut delay, &candidates, &mut [0; 3], &self.options, longer, accepts);
                format!("{found:?} {asked:?}")
            }
        };
        STEPS.iter().map(one).collect()
    }

    async fn asynchronous(&self, quirks: Quirks) -> Vec<String> {
        let bus = self.rig.async_bus_with(quirks);
        let mut driver = Asynchronous::new(bus.clone(), self.rig.delay(), self.seat.geometry, self.options);
        let mut trust = Trust::new();
        let (offset, bytes) = (self.offset, &self.bytes);
        let mut into = vec![0; bytes.len()];
        let mut results = Vec::new();
        for step in STEPS {
            results.push(match step {
                Step::Write => format!("{:?}", driver.write(offset, bytes).await),
                Step::Verified => format!("{:?}", driver.write_verified(offset, &bytes[1..]).await),
                Step::Update => format!("{:?}", driver.update(offset, bytes, &mut trust).await),
                Step::Fill => format!("{:?}", driver.fill(offset, bytes.len(), 0x11).await),
                Step::Compare => format!("{:?}", driver.compare(offset, bytes).await),
                Step::Ready => format!("{:?}", driver.wait_ready().await),
                Step::Read => format!("{:?} {into:02X?}", driver.read(offset, &mut into).await),
                Step::Current => format!("{:?} {into:02X?}", driver.current_address_read(&mut into).await),
                Step::Records => match self.layout() {
                    None => String::new(),
                    Some(layout) => {
                        let mut store = AsyncRecordStore::<_, 21>::new(&mut driver, layout);
                        let (mut payload, written) = ([0; 5], store.write(1, 7, b"gain").await);
                        let read = store.read(1, &mut payload).await;
                        let counted = [store.increment(2).await, store.increment(2).await];
                        let (count, erased) = (store.count(2).await, store.erase(1).await);
                        format!("{written:?} {read:?} {payload:?} {counted:?} {count:?} {erased:?}")
                    }
                },
                Step::Choose => {
                    let (mut bus, mut delay, mut asked) = (bus.clone(), self.rig.delay(), Vec::new());
                    let accepts = |index: usize, record: &[u8]| {
                        asked.push((index, record.to_vec()));
                        index == 0
                    };
                    let (candidates, longer) = (self.candidates(), LongerHeader::Refuse);
                    let (scratch, options) = (&mut [0; 3], &self.options);
                    let found = choose_async(&mut bus, &mut delay, &candidates, scratch, options, longer, accepts);
                    format!("{:?} {asked:?}", found.await)
                }
            });
        }
        results
    }
}

fn agree(card: &Card, preset: &Preset, options: Options) -> Result<(), String> {
    let (one, other) = (Bench::new(card, options), Bench::new(card, options));
    let (expected, found) = (one.blocking(preset.quirks), block_on(other.asynchronous(preset.quirks)));
    if let Some(((step, one), other)) = STEPS.iter().zip(&expected).zip(&found).find(|((_, one), other)| one != other) {
        return Err(format!("{step:?}: blocking {one}, async {other}"));
    }
    let (blocking, asynchronous) = (one.rig.trace(), other.rig.trace());
    if let Some((one, other)) = blocking.iter().zip(&asynchronous).find(|(one, other)| one != other) {
        return Err(format!("blocking has {one:?}, async {other:?}"));
    }
    if (blocking.len(), one.rig.now_ns()) != (asynchronous.len(), other.rig.now_ns()) {
        return Err(format!("blocking ends at {} ns, async at {} ns", one.rig.now_ns(), other.rig.now_ns()));
    }
    if one.rig.memory(one.chip) == other.rig.memory(other.chip) { Ok(()) } else { Err("memories differ".to_owned()) }
}

#[test]
fn both_shells_are_the_same_on_every_preset_with_every_card() {
    let catalogue = Catalogue::embedded().unwrap();
    let (mut wrong, mut pairs) = (Vec::new(), 0);
    for preset in &Preset::ALL {
        for card in catalogue.cards() {
            let options = Options::new().with_other_is_nack(preset.quirks.nack == NackKind::Other);
            let wait = if preset.quirks.nack == NackKind::Bus { Wait::Fixed } else { Wait::Poll };
            if let Err(reason) = agree(card, preset, options.with_wait(wait)) {
                wrong.push(format!("{} on {}: {reason}", preset.name, card.id));
            }
            pairs += 1;
        }
    }
    assert!(wrong.is_empty(), "{} pairs differ:\n{}", wrong.len(), wrong.join("\n"));
    println!("{pairs} pairs of preset and card, {} calls each", STEPS.len());
}

/// Polls a future at most `polls` times, then drops it.
fn drive<T>(polls: usize, future: impl Future<Output = T>) -> Option<T> {
    let mut future = pin!(future);
    let mut context = Context::from_waker(Waker::noop());
    (0..polls).find_map(|_| match future.as_mut().poll(&mut context) {
        Poll::Ready(value) => Some(value),
        Poll::Pending => None,
    })
}

/// On a bus that can be dropped inside a transfer, after every fourth byte.
#[test]
fn a_record_call_dropped_at_any_await_of_a_real_transfer_keeps_old_or_new() {
    let catalogue = Catalogue::embedded().unwrap();
    for id in ["24aa02", "24lc16b", "24lc256", "at24cm02"] {
        let card = catalogue.cards().iter().find(|card| card.id == id).unwrap();
        let mut dropped = 0;
        for polls in 1.. {
            let bench = Bench::new(card, Options::new());
            let layout = bench.layout().unwrap();
            let mut driver =
                Asynchronous::new(bench.rig.async_bus(), bench.rig.delay(), bench.seat.geometry, Options::new());
            let mut store = AsyncRecordStore::<_, 21>::new(&mut driver, layout);
            for value in [b"old 1", b"old 2", b"old 3"] {
                block_on(store.write(1, 1, value)).unwrap();
            }
            let finished = drive(polls, store.write(1, 1, b"new 4")).is_some();
            // A read that is dropped between two bytes may leave the part holding SDA low.
            bench.rig.bus().recover();
            let mut payload = [0; 5];
            block_on(store.read(1, &mut payload)).unwrap_or_else(|error| panic!("{id}, {polls} polls: {error}"));
            assert!(payload == *b"new 4" || (!finished && payload == *b"old 3"), "{id}, {polls} polls: {payload:?}");
            block_on(store.write(1, 1, b"then5")).unwrap();
            block_on(store.read(1, &mut payload)).unwrap();
            assert_eq!(payload, *b"then5");
            if finished {
                break;
            }
            dropped += 1;
        }
        println!("{id}: dropped at {dropped} points");
        assert!(dropped > 30);
    }
}
