//! Replay at the wire level: edges of the controller's half.

use crate::event::Line;
use crate::recording::decode::{BusByte, BusEvent, Decoder, Role};
use crate::recording::edges::{Edge, Edges};
use crate::recording::error::RecordingError;
use crate::recording::replay::answers;
use crate::recording::replay::found::{CycleSeen, RecordingReplay, ReplayLevel};
use crate::rig::Rig;
use crate::wire::WireConfig;
use crate::world::World;

impl Rig {
    /// Plays the controller's half of a recording into the lines of this rig, edge by edge at the recorded times, and
    /// compares every acknowledge bit and byte that the chips drive with the recorded ones.
    ///
    /// `bytes` is the replay of the same recording at byte level into a rig with the same chips: it knows what memory holds
    /// and when write cycles are over. Where both lines changed in one sample, the first of the two changes is put half a
    /// sample earlier.
    ///
    /// # Errors
    ///
    /// The first error of the recording; what came before it has been played.
    pub fn replay_recording_at_wire(
        &self,
        edges: Edges,
        config: WireConfig,
        bytes: &RecordingReplay,
    ) -> Result<RecordingReplay, RecordingError> {
        let _wire = self.wire(config);
        let world = &mut *self.world.borrow_mut();
        for known in &bytes.known {
            answers::put(&mut world.chips[known.chip.0], known.region, known.offset, known.byte);
        }
        let mut player = Player {
            base: world.now,
            supply_mv: world.supply_mv,
            decoder: Decoder::new(),
            sda: true,
            before_ns: None,
            answer: 0,
            stopped_ns: None,
            cycles: &bytes.cycles,
            unset: &bytes.unset,
            found: RecordingReplay::new(ReplayLevel::Wire),
        };
        let mut edges = edges;
        while let Some(edge) = edges.next().transpose()? {
            player.play(world, edge, edges.resolution_ns());
        }
        let found = player.found;
        Ok(RecordingReplay { unset: bytes.unset.clone(), cycles: bytes.cycles.clone(), ..found })
    }
}

struct Player<'a> {
    base: u64,
    supply_mv: u32,
    decoder: Decoder,
    /// SDA as recorded.
    sda: bool,
    before_ns: Option<u64>,
    /// The bits of the byte under way as the simulated lines show them.
    answer: u16,
    /// The last STOP, until the chips have seen it.
    stopped_ns: Option<u64>,
    cycles: &'a [CycleSeen],
    unset: &'a [u64],
    found: RecordingReplay,
}

impl Player<'_> {
    fn play(&mut self, world: &mut World, edge: Edge, interval_ns: u64) {
        match edge {
            Edge::Begin { scl, sda } => {
                self.sda = sda;
                world.drive_line(Line::Scl, !scl);
                world.drive_line(Line::Sda, !sda);
            }
            Edge::Line { at_ns, line, level, together } => {
                let first = together && self.before_ns != Some(at_ns);
                self.before_ns = Some(at_ns);
                let at_ns = if first { at_ns - interval_ns.min(at_ns) / 2 } else { at_ns };
                world.run_to(self.base + at_ns);
                match line {
                    Line::Scl => self.clock(world, edge, level),
                    Line::Sda => self.data(world, edge, level),
                }
            }
            Edge::Supply { at_ns, on, mv } => {
                world.run_to(self.base + at_ns);
                world.apply_supply(if on { mv.unwrap_or(self.supply_mv) } else { 0 });
                self.decoder.take(edge);
            }
            Edge::End { at_ns } => world.run_to(self.base + at_ns),
        }
    }

    /// Whether a device drives SDA in this clock, so that the controller has let go of it.
    fn device_drives(&self) -> bool {
        self.decoder.in_transfer && (self.decoder.role == Role::Read) == (self.decoder.bits < 8)
    }

    fn clock(&mut self, world: &mut World, edge: Edge, level: bool) {
        if !level {
            // At the end of the high part: SCL itself may rise later here than in the recording.
            self.answer = self.answer << 1 | u16::from(world.line_level(Line::Sda));
        }
        self.bound_cycles(world);
        world.drive_line(Line::Scl, !level);
        if let Some(BusEvent::Byte(byte)) = self.decoder.take(edge) {
            self.compare(byte);
        }
        if !level {
            world.drive_line(Line::Sda, !self.sda && !self.device_drives());
        }
    }

    fn data(&mut self, world: &mut World, edge: Edge, level: bool) {
        self.sda = level;
        let condition = self.decoder.take(edge);
        if condition.is_some() || !self.device_drives() {
            world.drive_line(Line::Sda, !level);
        }
        match condition {
            Some(BusEvent::Start { .. }) => self.found.starts += 1,
            Some(BusEvent::Stop { at_ns, .. }) => self.stopped_ns = Some(at_ns),
            _ => {}
        }
    }

    fn compare(&mut self, byte: BusByte) {
        let answer = self.answer;
        if byte.role == Role::Read && self.unset.binary_search(&byte.begin_ns).is_ok() {
            return;
        }
        self.found.compare(byte, (answer >> 1) as u8, answer & 1 == 0);
    }

    /// Write cycles that began with the last STOP end where the recording says. The chips see that STOP when the lines
    /// have followed and their filters have passed it.
    fn bound_cycles(&mut self, world: &mut World) {
        let Some(stop_ns) = self.stopped_ns else { return };
        let from = self.cycles.partition_point(|cycle| cycle.stop_ns < stop_ns);
        for seen in self.cycles[from..].iter().take_while(|cycle| cycle.stop_ns == stop_ns) {
            let (base, chip) = (self.base, &mut world.chips[seen.chip.0]);
            let longest = chip.model.write_cycle.max_ns;
            let Some(cycle) = chip.cycle.as_mut().filter(|cycle| cycle.starts_ns >= base + stop_ns) else { return };
            cycle.ends_ns = seen.answered_ns.map_or(cycle.starts_ns + longest, |at_ns| base + at_ns);
        }
        self.stopped_ns = None;
    }
}
