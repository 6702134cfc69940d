//! Recordings of the length and shape that real programs give: polling by the thousand, reads across blocks, a chip that is
//! not there.

use std::time::Instant;

use embedded_hal::i2c::I2c;
use pagewise_simulator::recording::{BusEvent, ReadOptions, Recording};
use pagewise_simulator::{Rig, RigConfig, WireConfig};
use tempfile::tempdir;

use super::{chips, files};

/// Page writes to both chips, each polled every 20 us until it is done; now and then somebody asks for a chip that is not
/// there. Then the block-select part is read across each of its blocks of 256 bytes, by one header and by going on.
fn traffic(rig: &Rig) {
    let mut bus = rig.bus();
    for n in 0..280_u16 {
        let data: Vec<u8> = (0..16).map(|i| (n * 7 + i * 3) as u8).collect();
        let (address, header) = if n % 3 == 0 {
            (0x54, vec![(n >> 4) as u8 & 0x0F, (n << 4) as u8])
        } else {
            (0x50 | (n >> 4 & 3) as u8, vec![(n << 4) as u8])
        };
        bus.write(address, &[&header[..], &data].concat()).unwrap();
        while bus.write(address, &header).is_err() {
            rig.advance_ns(20_000);
        }
        if n % 10 == 0 {
            assert!(bus.write_read(0x57, &[0], &mut [0; 4]).is_err());
        }
    }
    let mut read = vec![0; 1024];
    for (block, from) in [(0, 0xF0), (1, 0x80), (2, 0xFF), (3, 0x01)] {
        bus.write_read(0x50 | block, &[from], &mut read[..600]).unwrap();
        bus.read(0x50, &mut read[..300]).unwrap();
    }
    bus.write_read(0x54, &[0x00, 0x00], &mut read).unwrap();
}

#[test]
fn a_recording_of_many_thousand_segments_is_read_and_replayed_without_difference() {
    let rig = Rig::new(RigConfig::default().with_seed(5));
    chips(&rig);
    traffic(&rig);
    let folder = tempdir().unwrap();
    let path = files::changes(&folder, &rig.waves());
    let vcd = folder.path().join("long.vcd");
    rig.write_vcd(&mut std::io::BufWriter::new(std::fs::File::create(&vcd).unwrap())).unwrap();
    for path in [path, vcd] {
        let began = Instant::now();
        let recording = Recording::open(&path, &ReadOptions::default()).unwrap();
        let bus = recording.buses().unwrap().remove(0);
        let starts = recording.events(&bus).unwrap().filter(|event| matches!(event, Ok(BusEvent::Start { .. })));
        let segments = starts.count();
        assert!(segments > 17_000, "{segments}");
        let fresh = Rig::new(RigConfig::default());
        chips(&fresh);
        let replay = fresh.fork().replay_recording(recording.events(&bus).unwrap()).unwrap();
        assert_eq!(replay.differences, 0, "{:#?}", replay.first_differences);
        assert_eq!((replay.cycles.len(), replay.bytes), (280, 4 * 900 + 1024));
        assert_eq!(replay.unset.len(), 0);
        let edges = recording.edges(&bus).unwrap();
        let wire = fresh.replay_recording_at_wire(edges, WireConfig::TYPICAL, &replay).unwrap();
        assert_eq!(wire.differences, 0, "{:#?}", wire.first_differences);
        assert_eq!((wire.acknowledges, wire.bytes), (replay.acknowledges, replay.bytes));
        println!("{segments} segments, read twice and replayed at both levels: {:?}", began.elapsed());
    }
}
