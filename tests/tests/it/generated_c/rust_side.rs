//! The commands of the C harness, carried out by the Rust driver.

use std::fmt::Write as _;

use pagewise_driver::{
    Candidate, ChooseError, Difference, Eeprom, Error, LongerHeader, Options, Trust, Updated, Wait, choose,
};
use pagewise_simulator::{Faults, Level, Rig, RigBus, RigConfig, RigDelay, Straps, TornModel};
use pagewise_tests::seat::Seat;

/// Buffers that are tried: a full page of any part, a page of most, a few bytes.
pub const BUFFERS: [usize; 3] = [259, 34, 6];

/// What the Rust driver with this buffer does with a script.
pub fn run(seats: &[Seat], buffer: usize, script: &str) -> String {
    match buffer {
        259 => Side::<259>::default().run(seats, script),
        34 => Side::<34>::default().run(seats, script),
        6 => Side::<6>::default().run(seats, script),
        other => panic!("no driver with a buffer of {other} bytes"),
    }
}

#[derive(Default)]
struct Side<const BUF: usize> {
    rig: Rig,
    driver: Option<Eeprom<RigBus, RigDelay, BUF>>,
    trust: Trust,
    out: String,
}

impl<const BUF: usize> Side<BUF> {
    fn run(mut self, seats: &[Seat], script: &str) -> String {
        for line in script.lines() {
            let words: Vec<&str> = line.split(' ').collect();
            let number = |index: usize| words[index].parse::<u32>().unwrap();
            match words[0] {
                "rig" => {
                    let config = RigConfig { scl_hz: number(1), supply_mv: number(2), seed: u64::from(number(3)) };
                    self.rig = Rig::new(config);
                    let [a0, a1, a2, wp] = [4, 5, 6, 7].map(|index| Level::from_bit(number(index) == 1));
                    let id = words[8].trim_end_matches(".json");
                    let seat = seats.iter().find(|seat| seat.card.id == id).unwrap();
                    self.rig.attach(seat.card.chip_model(), Straps { a: [a0, a1, a2], wp });
                }
                "faults" => {
                    let faults: Faults = serde_json::from_str(words[1]).unwrap();
                    self.rig.set_faults(faults).unwrap();
                }
                "driver" => {
                    let options = Options::new()
                        .with_max_transfer_bytes(limit(number(3)))
                        .with_wait(if number(4) == 1 { Wait::Fixed } else { Wait::Poll })
                        .with_margin_percent(number(5) as u16)
                        .with_poll_interval_us(number(6))
                        .with_lazy(number(7) == 1)
                        .with_split_pages(true);
                    let geometry = seats[number(1) as usize].geometry;
                    self.trust = Trust::new();
                    self.driver = Some(Eeprom::new(self.rig.bus(), self.rig.delay(), geometry, options));
                }
                "cut" => {
                    let model = TornModel::ALL.into_iter().find(|model| model.name() == words[1]).unwrap();
                    self.rig.set_torn_model(model, number(2).into());
                    self.rig.power_cycle();
                }
                "choose" => self.choose(seats, number(1) == 1, number(2) == 1, limit(number(3))),
                "ready" => {
                    let result = self.driver.as_mut().unwrap().wait_ready();
                    self.report(result.map(|()| (0, None)));
                }
                "trace" => self.out += &self.rig.transfers_text(),
                verb => self.access(verb, number(1), number(2) as usize, number(3)),
            }
        }
        self.out
    }

    fn access(&mut self, verb: &str, offset: u32, length: usize, seed: u32) {
        let driver = self.driver.as_mut().unwrap();
        if verb == "read" {
            let mut bytes = vec![0; length];
            let result = driver.read(offset, &mut bytes);
            let safe = result.as_ref().map_or_else(Error::safe_bytes, |()| length);
            self.report(result.map(|()| (length, None)));
            let sum = bytes[..safe].iter().fold(0, |sum, byte| (sum * 31 + u64::from(*byte)) % 1_000_003);
            writeln!(self.out, "sum {sum}").unwrap();
            return;
        }
        if verb == "fill" {
            let result = driver.fill(offset, length, seed as u8);
            return self.report(result.map(|()| (length, None)));
        }
        // The same formula as in the harness.
        let bytes: Vec<u8> = (0..length as u32).map(|i| (i * 7 + seed * 31 + 1) as u8).collect();
        let result = match verb {
            "write" => driver.write(offset, &bytes),
            "verify" => driver.write_verified(offset, &bytes),
            "compare" => {
                let result = driver.compare(offset, &bytes);
                if let Ok(Some(Difference { index, expected, found })) = result {
                    let at = offset + index as u32;
                    return writeln!(self.out, "unlike at {at}, {expected} found {found}").unwrap();
                }
                return self.report(result.map(|_| (length, None)));
            }
            "update" => {
                let result = driver.update(offset, &bytes, &mut self.trust);
                return self.report(result.map(|updated| (length, Some(updated))));
            }
            "trusting" => {
                let result = driver.update_trusting(offset, &bytes);
                return self.report(result.map(|updated| (length, Some(updated))));
            }
            other => panic!("no command {other}"),
        };
        self.report(result.map(|()| (length, None)));
    }

    fn report<E: std::fmt::Debug>(&mut self, result: Result<(usize, Option<Updated>), Error<E>>) {
        let line = match result {
            Ok((safe, None)) => format!("ok {safe}"),
            Ok((safe, Some(Updated { written, kept }))) => format!("ok {safe}, {written} written, {kept} kept"),
            Err(Error::OutOfRange { .. }) => "out of range".to_owned(),
            Err(Error::BufferTooSmall { .. }) => "buffer too small".to_owned(),
            Err(Error::NotAnswering { safe_bytes, .. }) => format!("not answering, {safe_bytes} safe"),
            Err(Error::WriteProtected { offset, safe_bytes, .. }) => {
                format!("write protected at {offset}, {safe_bytes} safe")
            }
            Err(Error::WriteCycleOverrun { polls, safe_bytes, .. }) => {
                format!("overrun, {polls} polls, {safe_bytes} safe")
            }
            Err(Error::Verify { offset, expected, found, safe_bytes }) => {
                format!("differs at {offset}, {expected} found {found}, {safe_bytes} safe")
            }
            Err(Error::Bus { safe_bytes, .. }) => format!("bus, {safe_bytes} safe"),
            Err(error) => format!("{error}"),
        };
        writeln!(self.out, "{line}").unwrap();
    }

    fn choose(&mut self, seats: &[Seat], longer: bool, any: bool, max_transfer_bytes: usize) {
        let candidates: Vec<Candidate> = seats.iter().map(|seat| Candidate::new(seat.geometry, 2, 3)).collect();
        let longer = if longer { LongerHeader::AfterShorter } else { LongerHeader::Refuse };
        let options = Options::new().with_max_transfer_bytes(max_transfer_bytes);
        let (mut bus, mut delay) = (self.rig.bus(), self.rig.delay());
        let chosen = choose(&mut bus, &mut delay, &candidates, &mut [0; 3], &options, longer, |index, record| {
            any || record[0] == (index * 31 + 1) as u8
        });
        let line = match chosen {
            Ok(index) => format!("chosen {}", seats[index].card.id),
            Err(ChooseError::Ambiguous { .. }) => "ambiguous".to_owned(),
            Err(ChooseError::NoneFits { .. }) => "none fits".to_owned(),
            Err(_) => "failed".to_owned(),
        };
        writeln!(self.out, "{line}").unwrap();
    }
}

fn limit(bytes: u32) -> usize {
    if bytes == 0 { usize::MAX } else { bytes as usize }
}
