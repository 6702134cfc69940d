//! A chip from outside, on a machine whose files are a map.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::rc::Rc;

use embedded_hal::i2c::I2c;
use pagewise_simulator::door::{Before, Door, Files, Given, Told};
use pagewise_simulator::{ChipModel, Cut, Straps, TornModel};

/// Files by their paths.
#[derive(Debug, Clone, Default)]
struct Map(Rc<RefCell<BTreeMap<String, Vec<u8>>>>);

impl Files for Map {
    fn read(&self, path: &str) -> Result<Vec<u8>, String> {
        self.0.borrow().get(path).cloned().ok_or_else(|| "not there".to_owned())
    }

    fn append(&self, path: &str, text: &str) -> Result<(), String> {
        self.0.borrow_mut().entry(path.to_owned()).or_default().extend(text.as_bytes());
        Ok(())
    }
}

impl Map {
    fn with(given: &Given) -> Self {
        let map = Self::default();
        map.0.borrow_mut().insert("given/chip.json".to_owned(), serde_json::to_vec(given).unwrap());
        map
    }

    fn door(&self) -> Door {
        Door::from_command_line(["firmware", "PAGEWISE_DOOR=given"], self.clone()).unwrap().expect("a door")
    }

    /// Every line that was told.
    fn told(&self) -> Vec<Told> {
        let files = self.0.borrow();
        let text = String::from_utf8(files["given/seen.jsonl"].clone()).unwrap();
        text.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
    }
}

fn given() -> Given {
    Given {
        scl_hz: 400_000,
        supply_mv: 3300,
        seed: 1,
        model: ChipModel::example_32_kbit(),
        straps: Straps::GROUND,
        contents: vec![9, 8, 7],
        others: vec![0x48],
        events: true,
        before: Vec::new(),
    }
}

#[test]
fn what_was_given_is_there_and_what_was_seen_is_told() {
    let map = Map::with(&given());
    let door = map.door();
    let mut bytes = [0; 4];
    door.rig.bus().write_read(0x50, &[0, 0], &mut bytes).unwrap();
    door.rig.bus().write(0x48, &[1]).unwrap();
    // A page of 32 bytes, written from its last byte on: wraps.
    door.rig.bus().write(0x50, &[0, 31, 1, 2]).unwrap();
    drop(door);
    let told = map.told().remove(0);
    assert_eq!(bytes, [9, 8, 7, 0xFF]);
    assert_eq!((told.memory[0], told.memory[31], told.memory.len()), (2, 1, 4096), "the write cycle is over");
    assert_eq!((told.hazards[0].0.as_str(), told.transfers.lines().count()), ("page-wrap", 3));
    assert!(told.events.len() > 20);
}

#[test]
fn a_rig_goes_on_from_where_its_supply_was_lost() {
    let map = Map::with(&given());
    let door = map.door();
    door.rig.bus().write(0x50, &[0, 0, 0xA0, 0xA1, 0xA2, 0xA3]).unwrap();
    let written_ns = door.rig.now_ns();
    drop(door);
    let events = map.told().remove(0).events;
    let after = |at_ns, torn, name: &str| {
        let before = vec![Before { name: name.to_owned(), events: events.clone(), cut: Cut { at_ns, torn, draws: 1 } }];
        let door = Map::with(&Given { before, ..given() }).door();
        assert!(door.rig.trace().is_empty() && door.rig.incidents().is_empty(), "what was before is over");
        door.rig.memory(door.chip)[..4].to_vec()
    };
    let (old, new) = (vec![9, 8, 7, 0xFF], vec![0xA0, 0xA1, 0xA2, 0xA3]);
    assert_eq!(after(written_ns - 1_000, TornModel::New, ""), old, "no STOP yet");
    assert_eq!(after(written_ns + 500_000, TornModel::Old, ""), old);
    assert_eq!(after(written_ns + 500_000, TornModel::New, ""), new);
    assert_eq!(after(written_ns + 10_000_000, TornModel::Old, ""), new, "the write cycle was over");
    assert_eq!(after(written_ns + 10_000_000, TornModel::Old, "another"), old, "that was another rig");
}

#[test]
fn what_cannot_be_is_said() {
    let map = Map::default();
    assert!(Door::from_command_line(["firmware"], map.clone()).unwrap().is_none(), "no door is named");
    let refused = |map: Map| Door::from_command_line(["PAGEWISE_DOOR=given"], map).unwrap_err().to_string();
    assert_eq!(refused(map.clone()), "given/chip.json: not there");
    map.0.borrow_mut().insert("given/chip.json".to_owned(), b"{\"scl_hz\": 1}".to_vec());
    assert!(refused(map).contains("missing field `supply_mv`"));
    let bad = Given { model: ChipModel { page: 3, ..ChipModel::example_32_kbit() }, ..given() };
    assert!(refused(Map::with(&bad)).contains("page"));
    let odd = serde_json::to_string(&given()).unwrap().replace("\"CQgH\"", "\"C\"");
    let map = Map::default();
    map.0.borrow_mut().insert("given/chip.json".to_owned(), odd.into_bytes());
    assert!(refused(map).contains("invalid length"), "contents that are not base64");
}
