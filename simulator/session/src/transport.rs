//! How requests and answers travel; see [`crate::protocol`].

use std::io::{self, IoSlice, IoSliceMut};
use std::mem::MaybeUninit;
use std::os::fd::{AsFd, OwnedFd};
use std::path::Path;

use rustix::fs::MemfdFlags;
use rustix::io::retry_on_intr;
use rustix::net::{
    AddressFamily, RecvAncillaryBuffer, RecvAncillaryMessage, RecvFlags, SendAncillaryBuffer, SendAncillaryMessage,
    SendFlags, SocketAddrUnix, SocketFlags, SocketType,
};

use crate::protocol::{Answer, Request};

/// Files that travel with a request.
const FILES: usize = 2;

/// A connection to the socket of a session.
///
/// # Errors
///
/// The socket is not there, or there is no file descriptor left.
pub fn connect(socket: &Path) -> io::Result<OwnedFd> {
    let address = SocketAddrUnix::new(socket)?;
    let connection = rustix::net::socket_with(AddressFamily::UNIX, SocketType::SEQPACKET, SocketFlags::CLOEXEC, None)?;
    retry_on_intr(|| rustix::net::connect(&connection, &address))?;
    Ok(connection)
}

/// Asks, and waits for the answer.
///
/// # Errors
///
/// The session is over, or there is no file descriptor left.
pub fn ask(connection: impl AsFd, request: &Request) -> io::Result<Answer> {
    let paper = rustix::fs::memfd_create("pagewise", MemfdFlags::CLOEXEC)?;
    write_all(&paper, &serde_json::to_vec(request)?)?;
    let (bell, far) = rustix::net::socketpair(AddressFamily::UNIX, SocketType::STREAM, SocketFlags::CLOEXEC, None)?;
    {
        let files = [paper.as_fd(), far.as_fd()];
        let mut space = [MaybeUninit::uninit(); rustix::cmsg_space!(ScmRights(FILES))];
        let mut ancillary = SendAncillaryBuffer::new(&mut space);
        ancillary.push(SendAncillaryMessage::ScmRights(&files));
        // The connection may be one on which the program does not want to wait: then the bell's own side is waited on.
        while let Err(error) =
            rustix::net::sendmsg(connection.as_fd(), &[IoSlice::new(b"?")], &mut ancillary, SendFlags::NOSIGNAL)
        {
            match error {
                rustix::io::Errno::INTR => {}
                rustix::io::Errno::AGAIN => std::thread::yield_now(),
                error => return Err(error.into()),
            }
        }
    }
    drop(far);
    let mut byte = [0];
    if retry_on_intr(|| rustix::net::recv(&bell, &mut byte, RecvFlags::empty()))?.1 == 0 {
        return Err(io::ErrorKind::ConnectionReset.into());
    }
    Ok(serde_json::from_slice(&read_all(&paper)?)?)
}

/// A request that came, to be answered.
#[derive(Debug)]
pub struct Asked {
    /// What was asked.
    pub request: Request,
    paper: OwnedFd,
    bell: OwnedFd,
}

impl Asked {
    /// Answers. A client that is gone meanwhile misses nothing.
    pub fn answer(self, answer: &Answer) {
        let written = serde_json::to_vec(answer).map_err(io::Error::from).and_then(|text| {
            rustix::fs::ftruncate(&self.paper, 0)?;
            write_all(&self.paper, &text)
        });
        if written.is_ok() {
            let _ = rustix::net::send(&self.bell, b"!", SendFlags::NOSIGNAL | SendFlags::DONTWAIT);
        }
    }
}

/// What came on a connection.
#[derive(Debug)]
pub enum Came {
    /// A request.
    Asked(Asked),
    /// Every copy of the file is closed.
    Closed,
    /// Bytes that no client of ours sends: somebody wrote to the file past us.
    Foreign,
}

/// Takes what has come on a connection, which must be ready for reading.
#[must_use]
pub fn take(connection: impl AsFd) -> Came {
    let mut byte = [0; 64];
    let mut space = [MaybeUninit::uninit(); rustix::cmsg_space!(ScmRights(FILES))];
    let mut ancillary = RecvAncillaryBuffer::new(&mut space);
    let got = retry_on_intr(|| {
        let mut into = [IoSliceMut::new(&mut byte)];
        rustix::net::recvmsg(connection.as_fd(), &mut into, &mut ancillary, RecvFlags::CMSG_CLOEXEC)
    });
    let files: Vec<OwnedFd> = ancillary
        .drain()
        .filter_map(|message| match message {
            RecvAncillaryMessage::ScmRights(files) => Some(files),
            _ => None,
        })
        .flatten()
        .collect();
    match (got, <[OwnedFd; FILES]>::try_from(files)) {
        (Ok(got), Ok([paper, bell])) if got.bytes == 1 => {
            let request = read_all(&paper).and_then(|text| Ok(serde_json::from_slice(&text)?));
            request.map_or(Came::Foreign, |request| Came::Asked(Asked { request, paper, bell }))
        }
        (Ok(got), _) if got.bytes > 0 => Came::Foreign,
        _ => Came::Closed,
    }
}

fn write_all(file: &OwnedFd, bytes: &[u8]) -> io::Result<()> {
    let mut done = 0;
    while done < bytes.len() {
        done += retry_on_intr(|| rustix::io::pwrite(file, &bytes[done..], done as u64))?;
    }
    Ok(())
}

fn read_all(file: &OwnedFd) -> io::Result<Vec<u8>> {
    let mut bytes = vec![0; rustix::fs::fstat(file)?.st_size as usize];
    let mut done = 0;
    while done < bytes.len() {
        match retry_on_intr(|| rustix::io::pread(file, &mut bytes[done..], done as u64))? {
            0 => return Err(io::ErrorKind::UnexpectedEof.into()),
            more => done += more,
        }
    }
    Ok(bytes)
}
