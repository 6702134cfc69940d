//! The one device of this process, behind a lock.

use std::cell::Cell;
use std::collections::BTreeMap;
use std::ffi::c_int;
use std::process;
use std::rc::Rc;
use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::{Mutex, MutexGuard, OnceLock, PoisonError};
use std::time::Duration;

use crate::config::Config;
use crate::device::Device;
use crate::errno::Errno;
use crate::image::Refusal;
use crate::{report, signal, table};

/// What this process may open; set once, when the library is loaded.
static CONFIG: OnceLock<Config> = OnceLock::new();
/// The process that has the device; 0 for none. A forked child is not it, though it has a copy of everything.
static OWNER: AtomicU32 = AtomicU32::new(0);
static STATE: Mutex<Slot> = Mutex::new(Slot(None));

struct Slot(Option<State>);

// SAFETY: a State holds all of its Rc, gives none away, and is reached only through the Mutex, one thread at a time.
unsafe impl Send for Slot {}

struct State {
    device: Device,
    /// Device address per file descriptor; duplicates share it, as they do in the kernel.
    files: BTreeMap<c_int, Rc<Cell<u8>>>,
}

/// One open file on the device.
pub(crate) struct Open<'s> {
    pub(crate) device: &'s mut Device,
    /// Address for `read`, `write` and SMBus calls.
    pub(crate) address: &'s Cell<u8>,
}

fn lock() -> MutexGuard<'static, Slot> {
    STATE.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Reads the configuration. Called once, when the library is loaded.
pub(crate) fn load() {
    match Config::of_process() {
        Ok(Some(config)) => drop(CONFIG.set(config)),
        Ok(None) => {}
        Err(reason) => report::say(&reason),
    }
}

/// Whether a path is that of the device.
pub(crate) fn is_device(path: &[u8]) -> bool {
    CONFIG.get().is_some_and(|config| config.device.as_bytes() == path)
}

/// Whether a file descriptor is ours, and not a leftover in a forked child.
pub(crate) fn is_ours(fd: c_int) -> bool {
    table::is_ours(fd) && owned()
}

fn owned() -> bool {
    OWNER.load(Ordering::Acquire) == process::id()
}

/// Opens the device as `fd`. The first time, images are taken and the chips put on the bus.
pub(crate) fn open(fd: c_int) -> Result<(), Refusal> {
    let Some(config) = CONFIG.get() else {
        return Err(Refusal { text: "no configuration".to_owned(), errno: Errno(libc::ENODEV) });
    };
    if OWNER.load(Ordering::Acquire) != 0 && !owned() {
        let text = format!("{}: a forked process cannot share the bus of its parent", config.device);
        return Err(Refusal { text, errno: Errno(libc::EBUSY) });
    }
    let mut slot = lock();
    if slot.0.is_none() {
        slot.0 = Some(State { device: Device::new(config.clone())?, files: BTreeMap::new() });
        OWNER.store(process::id(), Ordering::Release);
        // What went wrong is on standard error.
        signal::install(|| _ = store_now());
    }
    if let Some(state) = &mut slot.0 {
        if !table::add(fd) {
            let text = format!("{}: file descriptor {fd} is too large", config.device);
            return Err(Refusal { text, errno: Errno(libc::EMFILE) });
        }
        state.files.insert(fd, Rc::default());
    }
    Ok(())
}

/// Does something on an open file.
pub(crate) fn with<T>(fd: c_int, body: impl FnOnce(Open<'_>) -> Result<T, Errno>) -> Result<T, Errno> {
    let mut slot = lock();
    let State { device, files } = slot.0.as_mut().ok_or(Errno(libc::EBADF))?;
    let address = files.get(&fd).ok_or(Errno(libc::EBADF))?;
    body(Open { device, address })
}

/// A second file descriptor for the same open file.
pub(crate) fn duplicate(old: c_int, new: c_int) {
    let mut slot = lock();
    if let Some(state) = &mut slot.0
        && let Some(address) = state.files.get(&old).cloned()
        && table::add(new)
    {
        state.files.insert(new, address);
    }
}

/// A file descriptor is closed. With the last one, memory goes into the images.
pub(crate) fn close(fd: c_int) {
    let mut slot = lock();
    table::remove(fd);
    if let Some(state) = &mut slot.0
        && state.files.remove(&fd).is_some()
        && state.files.is_empty()
    {
        let _ = store(&mut state.device);
    }
}

/// The process becomes another program: what this one stored must not be lost with it.
pub(crate) fn replaced() {
    if owned() {
        let _ = store_now();
    }
}

/// Puts memory into the images now.
pub(crate) fn store_now() -> Result<(), Errno> {
    match &mut lock().0 {
        Some(state) => store(&mut state.device),
        None => Ok(()),
    }
}

fn store(device: &mut Device) -> Result<(), Errno> {
    device.store().map_err(|reason| {
        report::say(&reason);
        Errno(libc::EIO)
    })
}

/// In virtual time, a sleep of the program only moves the clock. Returns whether it did.
pub(crate) fn slept(time: Duration) -> bool {
    let wanted = CONFIG.get().is_some_and(|config| config.virtual_time) && owned();
    // A signal handler may sleep while its thread is inside a transfer: then it sleeps for real.
    let Some(slot) = wanted.then(|| STATE.try_lock().ok()).flatten() else { return false };
    match &slot.0 {
        Some(state) => {
            let rig = &state.device.rig;
            let left = pagewise_simulator::time::END_NS - rig.now_ns();
            rig.advance_ns(u64::try_from(time.as_nanos()).unwrap_or(left).min(left / 2));
            true
        }
        None => false,
    }
}

/// The process ends: memory goes into the images, trace and report to their files.
pub(crate) fn end() {
    if !owned() {
        return;
    }
    let Some(mut state) = lock().0.take() else { return };
    state.files.keys().for_each(|fd| _ = table::remove(*fd));
    let _ = store(&mut state.device);
    state.device.report();
}
