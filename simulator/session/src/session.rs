//! A session: it runs programs and answers them.

use std::collections::BTreeSet;
use std::ffi::OsString;
use std::io;
use std::os::fd::OwnedFd;
use std::path::PathBuf;
use std::process::{Child, Command, ExitStatus};
use std::time::{Duration, Instant};

use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustix::io::Errno;
use rustix::net::{AddressFamily, Shutdown, SocketAddrUnix, SocketFlags, SocketType};
use rustix::process::{Pid, PidfdFlags, Signal, pidfd_open, pidfd_send_signal};

use crate::bus::Bus;
use crate::errno::Trouble;
use crate::plan::Plan;
use crate::protocol::{Answer, Ask, CLOCK, DEVICE, Kind, Message, Request, SOCKET, VARIABLE};
use crate::seen::Seen;
use crate::transport::{Asked, Came, take};

/// After so long without a request, memory goes into the images.
const REST: Duration = Duration::from_millis(200);
/// Plain I2C, messages without START, and all SMBus calls; no ten-bit addresses, no packet error checking.
const FUNCTIONS: u64 = 0x0001 | 0x0010 | 0x8000 | 0x0FFF_0000;
/// Messages without bytes.
const FUNCTION_QUICK: u64 = 0x0001_0000;

/// How a program ended.
#[derive(Debug)]
pub enum Ended {
    /// By itself.
    Exited(ExitStatus),
    /// The supply was lost: the program is killed, and whatever it started ends at its next request or sleep.
    Cut,
    /// It took too long, and was killed.
    OutOfTime,
}

/// One simulated bus, and the programs that run on it.
pub struct Session {
    bus: Bus,
    listener: OwnedFd,
    open: Vec<Connection>,
    /// Processes that asked something since the supply came on.
    alive: BTreeSet<i32>,
    /// Processes from before the supply was lost.
    dead: BTreeSet<i32>,
    folder: tempfile::TempDir,
}

/// A connection: an open file of the device, once it said so.
struct Connection {
    socket: OwnedFd,
    file: Option<OpenFile>,
}

#[derive(Clone, Copy)]
struct OpenFile {
    reads: bool,
    writes: bool,
    address: u8,
    process: i32,
}

impl Session {
    /// A bus that nobody uses yet.
    ///
    /// # Errors
    ///
    /// An image that cannot be taken, a model or a fault that cannot be, no folder for the socket.
    pub fn new(plan: Plan) -> io::Result<Self> {
        // The path of a socket is short: a folder that lies deep will not do.
        let short = std::env::temp_dir().as_os_str().len() < 60;
        let place = if short { std::env::temp_dir() } else { PathBuf::from("/tmp") };
        let folder = tempfile::Builder::new().prefix("pagewise-").tempdir_in(place)?;
        std::fs::write(folder.path().join(DEVICE), plan.device.as_os_str().as_encoded_bytes())?;
        let listener =
            rustix::net::socket_with(AddressFamily::UNIX, SocketType::SEQPACKET, SocketFlags::CLOEXEC, None)?;
        rustix::net::bind(&listener, &SocketAddrUnix::new(folder.path().join(SOCKET))?)?;
        rustix::net::listen(&listener, 4096)?;
        let bus = Bus::new(plan, &folder.path().join(CLOCK))?;
        Ok(Self { bus, listener, open: Vec::new(), alive: BTreeSet::new(), dead: BTreeSet::new(), folder })
    }

    /// What a program needs in its environment to find the session.
    #[must_use]
    pub fn environment(&self) -> (&'static str, OsString) {
        (VARIABLE, self.folder.path().as_os_str().to_owned())
    }

    /// Runs a program until it ends, the supply is lost, or `limit` of the host's time is over.
    ///
    /// # Errors
    ///
    /// The program cannot be started.
    pub fn run(&mut self, command: &mut Command, limit: Option<Duration>) -> io::Result<Ended> {
        let (name, value) = self.environment();
        let mut child = command.env(name, value).spawn()?;
        let watched = pidfd_open(Pid::from_child(&child), PidfdFlags::empty())?;
        let begun = Instant::now();
        let ended = loop {
            let over = self.serve(Some(&watched), begun, limit);
            if self.bus.is_dead() {
                break Ended::Cut;
            }
            if over {
                break Ended::Exited(child.wait()?);
            }
            if limit.is_some_and(|limit| begun.elapsed() > limit) {
                break Ended::OutOfTime;
            }
        };
        match ended {
            Ended::Exited(status) => {
                // What was asked before the end is answered, even if nobody reads it.
                while !self.serve(None, begun, Some(Duration::ZERO)) {}
                self.bus.rest();
                if !self.bus.is_dead() {
                    return Ok(Ended::Exited(status));
                }
                Ok(Ended::Cut)
            }
            ended => {
                Self::kill(&mut child, &watched);
                Ok(ended)
            }
        }
    }

    /// The supply comes back; processes from before never get an answer again.
    pub fn power_on(&mut self) {
        self.dead.append(&mut self.alive);
        self.open.clear();
        self.bus.power_on();
    }

    /// The run is over: memory goes into the images. Returns what was seen.
    #[must_use]
    pub fn finish(mut self) -> Seen {
        let left: BTreeSet<i32> = self.open.iter().filter_map(|open| open.file.map(|file| file.process)).collect();
        if !left.is_empty() {
            let left: Vec<String> = left.iter().map(i32::to_string).collect();
            let text = format!("still open when the program had ended, by process {}", left.join(", "));
            self.bus.seen.tell(text);
        }
        self.bus.finish()
    }

    /// Ends the program. Every other process of this board ends itself, at its next request or sleep.
    fn kill(child: &mut Child, watched: &OwnedFd) {
        // Both fail only for a process that has ended.
        let _ = pidfd_send_signal(watched, Signal::KILL);
        let _ = child.wait();
    }

    /// Waits for what comes and answers it. Returns whether the program ended, or, without a program, whether nothing more
    /// comes.
    fn serve(&mut self, watched: Option<&OwnedFd>, begun: Instant, limit: Option<Duration>) -> bool {
        let mut wait = self.bus.unsaved.then_some(REST);
        for more in [limit.map(|limit| limit.saturating_sub(begun.elapsed())), self.bus.until_cut()] {
            wait = [wait, more].into_iter().flatten().min();
        }
        let (ready, timed_out) = {
            let mut files = vec![PollFd::new(&self.listener, PollFlags::IN)];
            files.extend(self.open.iter().map(|open| PollFd::new(&open.socket, PollFlags::IN)));
            files.extend(watched.map(|watched| PollFd::new(watched, PollFlags::IN)));
            let wait = wait.map(|wait| Timespec { tv_sec: wait.as_secs() as i64, tv_nsec: wait.subsec_nanos().into() });
            match poll(&mut files, wait.as_ref()) {
                Ok(count) => (files.iter().map(|file| !file.revents().is_empty()).collect::<Vec<_>>(), count == 0),
                Err(_) => (vec![false; files.len()], false),
            }
        };
        if timed_out {
            self.bus.idle();
            return watched.is_none();
        }
        let connections = self.open.len();
        let mut closed = Vec::new();
        for at in 0..connections {
            if ready[1 + at] && !self.came(at) {
                closed.push(at);
            }
            if self.bus.is_dead() {
                return false;
            }
        }
        for at in closed.into_iter().rev() {
            let gone = self.open.remove(at);
            if gone.file.is_some() && self.open.iter().all(|open| open.file.is_none()) {
                self.bus.store();
            }
        }
        if ready[0]
            && let Ok(socket) = rustix::net::accept_with(&self.listener, SocketFlags::CLOEXEC)
        {
            // Then the file is always ready for reading, as a device without `poll` is.
            let _ = rustix::net::shutdown(&socket, Shutdown::Write);
            self.open.push(Connection { socket, file: None });
        }
        watched.is_some() && ready.last() == Some(&true) && ready.len() == connections + 2
    }

    /// Something came on a connection. Returns whether it is still open.
    fn came(&mut self, at: usize) -> bool {
        match take(&self.open[at].socket) {
            Came::Closed => false,
            Came::Foreign => {
                let text =
                    "bytes were written to the device by a raw system call, io_uring, sendfile or splice: not carried";
                self.bus.seen.tell(text.to_owned());
                true
            }
            Came::Asked(asked) => {
                self.answer(at, asked);
                true
            }
        }
    }

    fn answer(&mut self, at: usize, asked: Asked) {
        let Request { process, thread, .. } = asked.request;
        if self.dead.contains(&process) {
            asked.answer(&Answer::Dead);
            return;
        }
        self.alive.insert(process);
        if let Some(file) = &mut self.open[at].file {
            file.process = process;
        }
        let ask = asked.request.ask.clone();
        let answer = self.act(at, process, thread, ask).unwrap_or_else(Answer::Failed);
        asked.answer(if self.bus.is_dead() { &Answer::Dead } else { &answer });
    }

    fn act(&mut self, at: usize, process: i32, thread: i32, ask: Ask) -> Result<Answer, i32> {
        let file = self.open[at].file;
        let opened = file.ok_or(Errno::BADF.raw_os_error());
        let client = u64::from(thread.unsigned_abs());
        let nack = self.bus.plan.adapter.nack;
        Ok(match ask {
            Ask::Open { reads, writes } => {
                self.bus.seen.opened = true;
                self.open[at].file = Some(OpenFile { reads, writes, address: 0, process });
                Answer::Done
            }
            Ask::Tell(text) => {
                self.bus.seen.tell(text);
                Answer::Done
            }
            Ask::Address(address) => {
                self.open[at].file = Some(OpenFile { address, ..opened? });
                Answer::Done
            }
            Ask::WhichAddress => Answer::Number(opened?.address.into()),
            Ask::Functions => {
                let without = if self.bus.plan.adapter.no_empty_messages { FUNCTION_QUICK } else { 0 };
                Answer::Number(FUNCTIONS & !without)
            }
            Ask::Store => {
                opened?;
                if !self.bus.store() {
                    return Err(Errno::IO.raw_os_error());
                }
                Answer::Done
            }
            Ask::Transfer(mut messages) => {
                opened?;
                self.bus.transfer(client, &mut messages).map_err(|trouble| trouble.errno(nack))?;
                Answer::Messages(messages)
            }
            Ask::Plain(kind) => {
                let file = opened?;
                let may = if matches!(kind, Kind::Write(_)) { file.writes } else { file.reads };
                let mut messages = vec![Message { address: file.address, kind, glued: false }];
                let done = if may { self.bus.transfer(client, &mut messages) } else { Err(Trouble::NoRight) };
                done.map_err(|trouble| trouble.errno(nack))?;
                Answer::Messages(messages)
            }
        })
    }
}
