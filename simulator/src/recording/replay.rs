//! The controller's half of a recording, played into simulated chips; their answers compared with the recorded ones.

mod answers;
pub(crate) mod found;
mod wire;

use crate::recording::decode::{BusByte, BusEvent, Role};
use crate::recording::error::RecordingError;
use crate::rig::Rig;
use crate::time::ByteTimes;
use crate::world::World;
use answers::Answers;
use found::{RecordingReplay, ReplayLevel};

impl Rig {
    /// Plays the controller's half of a recording into this rig at the recorded times, byte by byte, and compares every
    /// acknowledge bit and byte that the chips drive with the recorded ones.
    ///
    /// Memory is what the recording's first reads show: a byte that is read before it was written is taken over. Each
    /// write cycle lasts until the recording's own acknowledge bits say that it was over; [`RecordingReplay::cycles`] tells
    /// the bounds, to be compared with the data sheet.
    ///
    /// ```no_run
    /// use pagewise_simulator::recording::{ReadOptions, Recording};
    /// use pagewise_simulator::{ChipModel, Rig, RigConfig, Straps};
    ///
    /// let recording = Recording::open("bus.sr", &ReadOptions::default())?;
    /// let bus = recording.bus("SCL", "SDA")?;
    /// let rig = Rig::new(RigConfig::default());
    /// rig.attach(ChipModel::example_32_kbit(), Straps::GROUND);
    /// let replay = rig.replay_recording(recording.events(&bus)?)?;
    /// assert_eq!(replay.differences, 0, "{:?}", replay.first_differences);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    ///
    /// # Errors
    ///
    /// The first error of the recording; what came before it has been played.
    pub fn replay_recording(
        &self,
        events: impl IntoIterator<Item = Result<BusEvent, RecordingError>>,
    ) -> Result<RecordingReplay, RecordingError> {
        let world = &mut *self.world.borrow_mut();
        let mut player = Player {
            base: world.now,
            supply_mv: world.supply_mv,
            answers: Answers::new(&world.chips),
            found: RecordingReplay::new(ReplayLevel::Byte),
        };
        for event in events {
            player.play(world, event?);
        }
        Ok(player.found)
    }
}

struct Player {
    /// Time of the rig at which the recording begins.
    base: u64,
    /// Supply while it is on.
    supply_mv: u32,
    answers: Answers,
    found: RecordingReplay,
}

impl Player {
    fn play(&mut self, world: &mut World, event: BusEvent) {
        match event {
            BusEvent::Start { at_ns, repeated, cut_bits } => {
                self.found.starts += 1;
                world.run_to(self.base + at_ns);
                self.answers.cut(world, cut_bits);
                world.start_edge(repeated);
            }
            BusEvent::Stop { at_ns, cut_bits } => {
                world.run_to(self.base + at_ns);
                self.answers.cut(world, cut_bits);
                world.stop_edge();
                self.answers.hold_new_cycles(world, at_ns, &mut self.found);
            }
            BusEvent::Byte(byte) => self.byte(world, byte),
            BusEvent::Supply { at_ns, on, mv } => {
                world.run_to(self.base + at_ns);
                let mv = if on { mv.unwrap_or(self.supply_mv) } else { 0 };
                world.apply_supply(mv);
                self.answers.supply(on);
            }
            BusEvent::End { at_ns, .. } => {
                world.run_to(self.base + at_ns);
                Answers::end_cycles(world);
            }
        }
    }

    fn byte(&mut self, world: &mut World, byte: BusByte) {
        let times = ByteTimes {
            begin: self.base + byte.begin_ns,
            received: self.base + byte.rises_ns[7],
            acknowledged: self.base + byte.rises_ns[8],
            end: self.base + byte.end_ns,
        };
        let (mut value, mut acked) = (byte.value, byte.acked);
        match byte.role {
            Role::Address => {
                self.answers.bound_cycles(world, self.base, byte, &mut self.found);
                acked = world.address_at(byte.value, times);
            }
            Role::Written => acked = world.send_at(byte.value, times),
            Role::Read => {
                if self.answers.unset(world) {
                    self.found.unset.push(byte.begin_ns);
                    world.receive_at(byte.acked, times);
                    return;
                }
                self.answers.adopt(world, byte.value, &mut self.found);
                value = world.receive_at(byte.acked, times);
            }
        }
        self.answers.after_byte(world);
        self.found.compare(byte, value, acked);
    }
}
