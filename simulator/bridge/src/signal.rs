//! SIGUSR1: memory goes into the images while the program runs on.

use std::ffi::c_int;
use std::fs::File;
use std::io::Read;
use std::mem::MaybeUninit;
use std::os::fd::{FromRawFd, IntoRawFd};
use std::ptr;
use std::sync::atomic::{AtomicI32, Ordering};

/// Write end of the pipe from the handler to the thread that stores; -1 before there is one.
static PIPE: AtomicI32 = AtomicI32::new(-1);

/// Installs the handler, unless the program has one of its own or ignores the signal. `store` runs at each signal, in a
/// thread of its own.
pub(crate) fn install(store: fn()) {
    let mut before = MaybeUninit::<libc::sigaction>::zeroed();
    // SAFETY: only asks for the present action; `before` has room for it, and zeros are a valid one.
    let before = unsafe {
        libc::sigaction(libc::SIGUSR1, ptr::null(), before.as_mut_ptr());
        before.assume_init()
    };
    if before.sa_sigaction != libc::SIG_DFL || PIPE.load(Ordering::Acquire) >= 0 {
        return;
    }
    let mut ends = [-1; 2];
    // SAFETY: room for two file descriptors.
    if unsafe { libc::pipe2(ends.as_mut_ptr(), libc::O_CLOEXEC) } != 0 {
        return;
    }
    // SAFETY: both ends are new and nobody else's.
    let (mut read, write) = unsafe { (File::from_raw_fd(ends[0]), File::from_raw_fd(ends[1])) };
    let started = without_signals(|| {
        std::thread::Builder::new().name("bridge-store".to_owned()).spawn(move || {
            while read.read(&mut [0]).is_ok_and(|count| count > 0) {
                store();
            }
        })
    });
    if started.is_ok() {
        PIPE.store(write.into_raw_fd(), Ordering::Release);
        let mut action = before;
        action.sa_sigaction = handler as *const () as usize;
        action.sa_flags = libc::SA_RESTART;
        // SAFETY: the handler does only what a handler may do.
        unsafe { libc::sigaction(libc::SIGUSR1, &action, ptr::null_mut()) };
    }
}

extern "C" fn handler(_: c_int) {
    // SAFETY: `write` is async-signal-safe, the byte is there, and errno is put back as the interrupted code left it.
    unsafe {
        let errno = libc::__errno_location();
        let before = *errno;
        libc::write(PIPE.load(Ordering::Acquire), [1_u8].as_ptr().cast(), 1);
        *errno = before;
    }
}

/// Runs `body` with all signals blocked, so that a thread it starts gets none of the program's.
fn without_signals<T>(body: impl FnOnce() -> T) -> T {
    let mut before = MaybeUninit::<libc::sigset_t>::zeroed();
    // SAFETY: both sets are local and as large as they must be; zeros are a valid set.
    unsafe {
        let mut all = MaybeUninit::<libc::sigset_t>::zeroed().assume_init();
        libc::sigfillset(&mut all);
        libc::pthread_sigmask(libc::SIG_SETMASK, &all, before.as_mut_ptr());
    }
    let result = body();
    // SAFETY: `before` was filled above.
    unsafe { libc::pthread_sigmask(libc::SIG_SETMASK, before.as_ptr(), ptr::null_mut()) };
    result
}
