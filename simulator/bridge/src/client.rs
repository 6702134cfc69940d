//! Requests of this process to its session.

use std::ffi::c_int;
use std::io;
use std::os::fd::{BorrowedFd, IntoRawFd};
use std::os::unix::ffi::OsStrExt;

use pagewise_session::protocol::{Answer, Ask, Request};
use pagewise_session::transport;
use rustix::fs::OFlags;
use rustix::net::SocketAddrUnix;

use crate::{Errno, clock, found};

/// Whether a file descriptor is a connection to the session. The kernel is asked each time: whatever became of the number
/// meanwhile, the answer is right.
pub(crate) fn is_ours(fd: c_int) -> bool {
    let Some(socket) = found::socket().filter(|_| fd >= 0) else { return false };
    // SAFETY: only asked about, and a number that is not a file descriptor is an error of the call.
    let file = unsafe { BorrowedFd::borrow_raw(fd) };
    let Ok(Some(peer)) = rustix::net::getpeername(file) else { return false };
    let peer = SocketAddrUnix::try_from(peer);
    peer.is_ok_and(|peer| peer.path_bytes() == Some(socket.as_os_str().as_bytes()))
}

fn request(ask: Ask) -> Request {
    let process = rustix::process::getpid().as_raw_nonzero().get();
    let thread = rustix::thread::gettid().as_raw_nonzero().get();
    Request { process, thread, ask }
}

fn settled(answer: io::Result<Answer>) -> Result<Answer, Errno> {
    clock::waited();
    match answer {
        Ok(Answer::Failed(number)) => Err(Errno(number)),
        Ok(Answer::Dead) => {
            found::die();
            Err(Errno(libc::EIO))
        }
        Ok(answer) => Ok(answer),
        // The session is over, or there is no file descriptor left for the way there.
        Err(error) => Err(Errno(error.raw_os_error().unwrap_or(libc::EIO))),
    }
}

/// Asks something about an open file.
pub(crate) fn ask(fd: c_int, what: Ask) -> Result<Answer, Errno> {
    // SAFETY: a file of ours, which the program keeps open meanwhile; if it does not, the call fails.
    settled(transport::ask(unsafe { BorrowedFd::borrow_raw(fd) }, &request(what)))
}

/// Opens the device.
pub(crate) fn open(flags: c_int) -> Result<c_int, Errno> {
    let socket = found::socket().ok_or(Errno(libc::ENODEV))?;
    let failed = |error: io::Error| Errno(error.raw_os_error().unwrap_or(libc::EIO));
    let file = transport::connect(socket).map_err(failed)?;
    let access = flags & libc::O_ACCMODE;
    let open = Ask::Open { reads: access != libc::O_WRONLY, writes: access != libc::O_RDONLY };
    settled(transport::ask(&file, &request(open)))?;
    let raw = |error: rustix::io::Errno| Errno(error.raw_os_error());
    if flags & libc::O_NONBLOCK != 0 {
        rustix::fs::fcntl_setfl(&file, OFlags::RDWR | OFlags::NONBLOCK).map_err(raw)?;
    }
    if flags & libc::O_CLOEXEC == 0 {
        rustix::io::fcntl_setfd(&file, rustix::io::FdFlags::empty()).map_err(raw)?;
    }
    Ok(file.into_raw_fd())
}

/// Tells the user something through the session's report.
pub(crate) fn tell(text: String) {
    if let Some(socket) = found::socket()
        && let Ok(connection) = transport::connect(socket)
    {
        // Nobody is left to tell when the session is over.
        let _ = transport::ask(connection, &request(Ask::Tell(text)));
    }
}
