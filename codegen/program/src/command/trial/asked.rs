//! What is asked of a trial on the command line.

use std::ffi::OsString;
use std::path::PathBuf;

use clap::Args;
use pagewise_judge::fleet::Shard;
use pagewise_simulator::TornModel;

use super::files;
use super::words::{self, Adapters, CutCount};
use crate::command::bridge::torn;

/// Run a real program on the fitted part and on each candidate, in virtual time, and compare what is stored and read back.
///
/// The program opens the device path and finds there the chip on its board (`pagewise bridge` says what it can do), or it is
/// a test binary that takes its chip from the environment (the C and the Rust door), or firmware under an emulator that takes
/// it from its command line: `{door}` in COMMAND becomes the word that names it, such as in `-semihosting-config
/// enable=on,target=native,arg={door}`. After a cut of the supply, test binaries and firmware are started once, on a part that
/// went through what they had done until then. Exit code 1 when a candidate stores or
/// reads otherwise than the fitted part, when a hazard is seen on it that is not seen on the fitted part, or when the
/// program does not come back after a cut of the supply.
#[derive(Debug, Args)]
pub struct Trial {
    /// The board: fitted part, candidates, straps, supply, SCL rate, temperatures. What it says of the firmware is not used.
    #[arg(long, value_name = "FILE")]
    pub board: PathBuf,
    /// Candidate part; may be repeated. Default: the candidates that the board file names.
    #[arg(long = "to", value_name = "PART")]
    pub candidates: Vec<String>,
    /// How many seeds: each draws durations of write cycles, levels of open pins and what registers hold.
    #[arg(long, value_name = "N", default_value_t = 3, value_parser = clap::value_parser!(u64).range(1..=10_000))]
    pub seeds: u64,
    /// Exactly this seed, as a line that repeats a run has it.
    #[arg(long, value_name = "SEED", conflicts_with = "seeds")]
    pub seed: Option<u64>,
    /// Levels of the pins A2 A1 A0 in place of those of the board, such as 001; may be repeated.
    #[arg(long, value_name = "LEVELS", value_parser = words::levels)]
    pub straps: Vec<[bool; 3]>,
    /// What the adapter does; may be repeated: plain, eremoteio, eio (for a missing acknowledge), short (longest message 32
    /// bytes), no-empty (no messages without bytes).
    #[arg(long = "adapter", value_name = "HABIT", value_enum)]
    pub adapters: Vec<Adapters>,
    /// Lose the supply at so many moments, drawn from all, where the program gives more than 500; or at `all`. The program
    /// is started again on each different state that this leaves.
    #[arg(long, value_name = "N|all", value_parser = words::cut_count)]
    pub cuts: Option<CutCount>,
    /// Exactly this cut, in nanoseconds, as a line that repeats a cut has it.
    #[arg(long, value_name = "NS", conflicts_with = "cuts")]
    pub cut_at_ns: Option<u64>,
    /// Lose the supply of this rig only, by the name of the thread that made it: of a test binary that makes several, the test.
    #[arg(long, value_name = "NAME")]
    pub cut_rig: Option<String>,
    /// What a torn write cycle leaves: old, new, prefix, subset, erased or unstable; may be repeated. Default: each.
    #[arg(long, value_name = "MODEL", value_parser = torn)]
    pub torn: Vec<TornModel>,
    /// After a cut, and after the program was started again, this shell command decides by its exit code. Default: memory is
    /// what it is without the cut.
    #[arg(long, value_name = "COMMAND")]
    pub check: Option<String>,
    /// What every part holds at first.
    #[arg(long, value_name = "FILE")]
    pub image: Option<PathBuf>,
    /// Path at which the program finds the bus.
    #[arg(long, value_name = "PATH", default_value = "/dev/i2c-1")]
    pub device: PathBuf,
    /// Seconds of the host after which a program that has not ended is stopped.
    #[arg(long, value_name = "SECONDS", default_value_t = 60, value_parser = clap::value_parser!(u64).range(1..=86_400))]
    pub limit: u64,
    /// Run one share of the parts, such as 2/8.
    #[arg(long, value_name = "N/M", default_value_t = Shard::WHOLE, hide_default_value = true)]
    pub shard: Shard,
    /// Losses that are known: only others count for the exit code.
    #[arg(long, value_name = "FILE")]
    pub baseline: Option<PathBuf>,
    /// Reports to write besides.
    #[command(flatten)]
    pub files: files::Files,
    /// Write a page for the browser on which the first loss that is not known is played step by step, on the candidate and on
    /// the fitted part; losses by a cut apart. Where nothing is lost, none is written.
    #[arg(long, value_name = "FILE")]
    pub classroom: Option<PathBuf>,
    /// The preload library, if it is not the one beside this program, in ../lib, or inside it.
    #[arg(long, value_name = "FILE")]
    pub library: Option<PathBuf>,
    /// The program and its arguments, after `--`.
    #[arg(value_name = "COMMAND", last = true, required = true)]
    pub command: Vec<OsString>,
}
