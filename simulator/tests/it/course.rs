//! The course of a program, cut at each of its moments: what is left is what a cut in the middle of the program leaves.

use embedded_hal::i2c::I2c;
use pagewise_simulator::{
    ChipId, ChipModel, Cut, CycleTime, Event, EventKind, Level, Note, Rig, RigConfig, Straps, SupplyProfile, TornModel,
    steps,
};

fn rig() -> (Rig, ChipId) {
    let rig = Rig::new(RigConfig::default().with_seed(7));
    let chip = rig.attach(ChipModel::example_32_kbit(), Straps::GROUND);
    (rig, chip)
}

/// Two pages, with polling, and a third while WP is high; then they are read back.
fn program(rig: &Rig, chip: ChipId) {
    let mut bus = rig.bus();
    for page in [0x20, 0x40, 0x60] {
        rig.set_wp(chip, if page == 0x60 { Level::High } else { Level::Low });
        // After a cut nobody answers; a program has no supply then, either.
        let mut write: Vec<u8> = vec![0x00, page];
        write.extend((0..32).map(|byte| byte ^ page));
        let _ = bus.write(0x50, &write);
        for _ in 0..20 {
            rig.advance_ns(300_000);
            if bus.write(0x50, &[0x00, page]).is_ok() {
                break;
            }
        }
    }
    let _ = bus.write_read(0x50, &[0x00, 0x20], &mut [0; 96]);
}

fn trace(program: impl Fn(&Rig, ChipId)) -> Vec<Event> {
    let (rig, chip) = rig();
    program(&rig, chip);
    rig.trace()
}

#[test]
fn a_cut_at_any_moment_of_a_course_leaves_what_it_leaves_in_the_program() {
    let (bench, _) = rig();
    let steps = steps(&bench, &trace(program)).expect("a program that uses transfers and WP only");
    let moments: Vec<(usize, u64)> =
        steps.iter().enumerate().flat_map(|(at, step)| step.moments.iter().map(move |ns| (at, *ns))).collect();
    assert!(moments.len() > 150, "{} moments", moments.len());
    let mut states = std::collections::BTreeSet::new();
    for torn in TornModel::ALL {
        for (at, ns) in &moments {
            let cut = Cut { at_ns: *ns, torn, draws: 3 };
            let (rig, chip) = rig();
            rig.set_torn_model(torn, cut.draws);
            rig.set_supply_profile(&SupplyProfile::new().step(*ns, 0));
            program(&rig, chip);
            rig.restore_supply_mv(3300);
            let state = steps[*at].state_after_cut(cut);
            assert!(state.starts_with(&rig.memory(chip)), "{torn:?} at {ns} ns, in {}", steps[*at].line);
            states.insert(state);
        }
    }
    // Before, each of two pages torn in several ways, and after; with unstable bits each moment is a state of its own.
    assert!(states.len() > 15, "{} states", states.len());
}

#[test]
fn a_chip_that_is_changed_by_other_ways_than_the_bus_is_told() {
    let alone = |program: fn(&Rig, ChipId)| steps(&rig().0, &trace(program)).is_some();
    assert!(alone(program));
    assert!(!alone(|rig, chip| {
        rig.set_write_cycle(chip, CycleTime::Exact(1_000_000));
        program(rig, chip);
    }));
    assert!(!alone(|rig, chip| {
        rig.load(chip, 0x30, &[1]);
        let _ = rig.bus().write_read(0x50, &[0x00, 0x30], &mut [0]);
    }));
}

/// Three bytes at 400 kHz: START, four acknowledged bytes, STOP, and the quarters of the write cycle.
#[test]
fn a_step_tells_its_transfer_and_its_moments() {
    let (bench, chip) = rig();
    let events = trace(|rig, _| rig.bus().write(0x50, &[0x00, 0x20, 0xA5]).unwrap());
    let steps = steps(&bench, &events).unwrap();
    assert_eq!((steps.len(), steps[0].line.as_str()), (1, "S 50W+ 00+ 20+ A5+ P"));
    let Some(Note::CycleStart { ends_ns, .. }) = events.iter().find_map(|event| match event.kind {
        EventKind::Chip { note: note @ Note::CycleStart { .. }, .. } => Some(note),
        _ => None,
    }) else {
        panic!("no write cycle")
    };
    let moments = &steps[0].moments;
    let stop = moments[5];
    let quarter = (ends_ns - stop) / 4;
    assert_eq!(moments.len(), 9);
    assert_eq!(moments[6..], [1, 2, 3].map(|n| stop + n * quarter));
    assert!((1_000_000..=5_000_000).contains(&(ends_ns - stop)), "a write cycle of {} ns", ends_ns - stop);

    // Once torn, what wavers is another state at each moment; what was kept whole is one state.
    let state = |torn, at_ns| steps[0].state_after_cut(Cut { at_ns, torn, draws: 3 });
    for torn in TornModel::ALL {
        let (before, middle, later) = (state(torn, moments[2]), state(torn, moments[6]), state(torn, moments[7]));
        assert_eq!(before, state(torn, moments[3]), "{torn:?}");
        assert_eq!(before[..4096], bench.fork().memory(chip)[..], "{torn:?}");
        match torn {
            TornModel::Old => assert_eq!((&middle, &later), (&before, &before)),
            TornModel::New => assert!(middle == later && middle != before),
            TornModel::Unstable => assert_ne!(middle, later),
            _ => {}
        }
    }
}

/// The rest of the transfer is played to its STOP: what is asked for is a whole trace.
#[test]
fn a_cut_in_a_transfer_is_played_to_its_end() {
    let events = trace(|rig, _| rig.bus().write(0x50, &[0x00, 0x20, 0xA5]).unwrap());
    for (at, event) in events.iter().enumerate() {
        let (rig, chip) = rig();
        assert_eq!(
            rig.replay_to_cut(&events, Cut { at_ns: event.at_ns, torn: TornModel::Old, draws: 0 }),
            Ok(()),
            "{at}"
        );
        assert!(rig.now_ns() > event.at_ns && rig.supply_mv() == 3300, "{at}");
        assert_eq!(rig.memory(chip)[0x20], 0xFF, "{at}");
    }
}

#[test]
fn a_trace_without_transfers_has_no_moments() {
    let steps = steps(&rig().0, &[]).expect("nothing happened, and happens again");
    assert!(steps.iter().all(|step| step.moments.is_empty()));
}
