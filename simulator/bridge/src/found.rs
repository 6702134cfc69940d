//! The session that this process belongs to: where it is, and its clock.

use std::env;
use std::fs;
use std::io;
use std::os::unix::ffi::OsStrExt;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use pagewise_session::protocol::{CLOCK, DEVICE, SOCKET, VARIABLE};

use crate::page::Page;

/// Set once, when the library is loaded.
static SESSION: OnceLock<Session> = OnceLock::new();

struct Session {
    device: PathBuf,
    socket: PathBuf,
    page: Option<Page>,
}

/// Looks for the session. Called once, when the library is loaded.
pub(crate) fn load() {
    let Some(folder) = env::var_os(VARIABLE).map(PathBuf::from) else { return };
    match fs::read(folder.join(DEVICE)) {
        Ok(device) => {
            let device = PathBuf::from(std::ffi::OsStr::from_bytes(&device));
            let session = Session { device, socket: folder.join(SOCKET), page: Page::map(&folder.join(CLOCK)) };
            drop(SESSION.set(session));
        }
        // A session that is over: what is left of its programs finds no bus.
        Err(error) if error.kind() == io::ErrorKind::NotFound => {}
        Err(error) => eprintln!("bridge: {}: {error}", folder.display()),
    }
}

/// The path of the device.
pub(crate) fn device() -> Option<&'static Path> {
    SESSION.get().map(|session| session.device.as_path())
}

/// The session's socket.
pub(crate) fn socket() -> Option<&'static Path> {
    SESSION.get().map(|session| session.socket.as_path())
}

/// The clock, where time is virtual.
pub(crate) fn page() -> Option<&'static Page> {
    SESSION.get()?.page.as_ref()
}

/// The supply is lost: this process does nothing more.
pub(crate) fn die() {
    // SAFETY: signals this process to itself.
    unsafe { libc::kill(libc::getpid(), libc::SIGKILL) };
}
