//! The functions of the C library that ours stand before.

use std::ffi::{CStr, c_char, c_int, c_long, c_uint, c_ulong, c_void};
use std::mem::transmute;
use std::ptr;
use std::sync::atomic::{AtomicPtr, Ordering};

/// A function that is looked up once.
struct Real {
    name: &'static CStr,
    address: AtomicPtr<c_void>,
}

impl Real {
    const fn new(name: &'static CStr) -> Self {
        Self { name, address: AtomicPtr::new(ptr::null_mut()) }
    }

    /// Its address, never null.
    fn address(&self) -> *mut c_void {
        let known = self.address.load(Ordering::Relaxed);
        if !known.is_null() {
            return known;
        }
        // SAFETY: the name ends with a zero byte.
        let found = unsafe { libc::dlsym(libc::RTLD_NEXT, self.name.as_ptr()) };
        if found.is_null() {
            // Nothing sensible can go on without the C library's own function.
            std::process::abort();
        }
        self.address.store(found, Ordering::Relaxed);
        found
    }
}

/// Defines functions that hand on to those of the C library.
macro_rules! real {
    ($($name:ident = $symbol:literal ($($argument:ident: $type:ty),*) -> $result:ty;)*) => {$(
        /// # Safety
        ///
        /// As the function of the C library.
        pub(super) unsafe fn $name($($argument: $type),*) -> $result {
            static REAL: Real = Real::new($symbol);
            type Function = unsafe extern "C" fn($($type),*) -> $result;
            // SAFETY: the C library's function has this type, and the caller keeps its contract.
            unsafe { transmute::<*mut c_void, Function>(REAL.address())($($argument),*) }
        }
    )*};
}

type Path = *const c_char;
type Texts = *const *const c_char;
type Stat = *mut libc::stat;
type Time = *const libc::timespec;

real! {
    open = c"open64" (path: Path, flags: c_int, mode: c_uint) -> c_int;
    openat = c"openat64" (folder: c_int, path: Path, flags: c_int, mode: c_uint) -> c_int;
    close = c"close" (fd: c_int) -> c_int;
    ioctl = c"ioctl" (fd: c_int, request: c_ulong, argument: *mut c_void) -> c_int;
    read = c"read" (fd: c_int, bytes: *mut c_void, len: usize) -> isize;
    read_checked = c"__read_chk" (fd: c_int, bytes: *mut c_void, len: usize, room: usize) -> isize;
    write = c"write" (fd: c_int, bytes: *const c_void, len: usize) -> isize;
    readv = c"readv" (fd: c_int, parts: *const libc::iovec, count: c_int) -> isize;
    writev = c"writev" (fd: c_int, parts: *const libc::iovec, count: c_int) -> isize;
    pread = c"pread64" (fd: c_int, bytes: *mut c_void, len: usize, at: i64) -> isize;
    pread_checked = c"__pread64_chk" (fd: c_int, bytes: *mut c_void, len: usize, at: i64, room: usize) -> isize;
    pwrite = c"pwrite64" (fd: c_int, bytes: *const c_void, len: usize, at: i64) -> isize;
    preadv = c"preadv64" (fd: c_int, parts: *const libc::iovec, count: c_int, at: i64) -> isize;
    pwritev = c"pwritev64" (fd: c_int, parts: *const libc::iovec, count: c_int, at: i64) -> isize;
    fsync = c"fsync" (fd: c_int) -> c_int;
    fdatasync = c"fdatasync" (fd: c_int) -> c_int;
    epoll_ctl = c"epoll_ctl" (set: c_int, what: c_int, fd: c_int, event: *mut libc::epoll_event) -> c_int;
    stat = c"stat" (path: Path, into: Stat) -> c_int;
    lstat = c"lstat" (path: Path, into: Stat) -> c_int;
    fstat = c"fstat" (fd: c_int, into: Stat) -> c_int;
    fstatat = c"fstatat" (folder: c_int, path: Path, into: Stat, flags: c_int) -> c_int;
    old_stat = c"__xstat" (version: c_int, path: Path, into: Stat) -> c_int;
    old_lstat = c"__lxstat" (version: c_int, path: Path, into: Stat) -> c_int;
    old_fstat = c"__fxstat" (version: c_int, fd: c_int, into: Stat) -> c_int;
    statx = c"statx" (folder: c_int, path: Path, flags: c_int, mask: c_uint, into: *mut libc::statx) -> c_int;
    access = c"access" (path: Path, mode: c_int) -> c_int;
    faccessat = c"faccessat" (folder: c_int, path: Path, mode: c_int, flags: c_int) -> c_int;
    fopen = c"fopen64" (path: Path, mode: Path) -> *mut libc::FILE;
    freopen = c"freopen64" (path: Path, mode: Path, stream: *mut libc::FILE) -> *mut libc::FILE;
    fdopen = c"fdopen" (fd: c_int, mode: Path) -> *mut libc::FILE;
    nanosleep = c"nanosleep" (time: Time, left: *mut libc::timespec) -> c_int;
    clock_nanosleep = c"clock_nanosleep"
        (clock: libc::clockid_t, flags: c_int, time: Time, left: *mut libc::timespec) -> c_int;
    sleep = c"sleep" (seconds: c_uint) -> c_uint;
    usleep = c"usleep" (us: c_uint) -> c_int;
    clock_gettime = c"clock_gettime" (clock: libc::clockid_t, time: *mut libc::timespec) -> c_int;
    gettimeofday = c"gettimeofday" (time: *mut libc::timeval, zone: *mut c_void) -> c_int;
    time = c"time" (place: *mut libc::time_t) -> libc::time_t;
    poll = c"poll" (files: *mut libc::pollfd, count: libc::nfds_t, ms: c_int) -> c_int;
    select = c"select" (count: c_int, reads: *mut c_void, writes: *mut c_void, errors: *mut c_void,
        time: *mut libc::timeval) -> c_int;
    cond_timedwait = c"pthread_cond_timedwait" (condition: *mut c_void, mutex: *mut c_void, until: Time) -> c_int;
    cond_clockwait = c"pthread_cond_clockwait"
        (condition: *mut c_void, mutex: *mut c_void, clock: libc::clockid_t, until: Time) -> c_int;
    sem_timedwait = c"sem_timedwait" (semaphore: *mut c_void, until: Time) -> c_int;
    sem_clockwait = c"sem_clockwait" (semaphore: *mut c_void, clock: libc::clockid_t, until: Time) -> c_int;
    wait = c"wait" (status: *mut c_int) -> libc::pid_t;
    waitpid = c"waitpid" (process: libc::pid_t, status: *mut c_int, options: c_int) -> libc::pid_t;
    wait3 = c"wait3" (status: *mut c_int, options: c_int, usage: *mut c_void) -> libc::pid_t;
    wait4 = c"wait4" (process: libc::pid_t, status: *mut c_int, options: c_int, usage: *mut c_void) -> libc::pid_t;
    waitid = c"waitid" (kind: c_uint, id: c_uint, info: *mut c_void, options: c_int) -> c_int;
    create = c"pthread_create" (thread: *mut libc::pthread_t, attributes: *const c_void,
        start: extern "C" fn(*mut c_void) -> *mut c_void, argument: *mut c_void) -> c_int;
    join = c"pthread_join" (thread: libc::pthread_t, result: *mut *mut c_void) -> c_int;
    execv = c"execv" (path: Path, arguments: Texts) -> c_int;
    execvp = c"execvp" (file: Path, arguments: Texts) -> c_int;
    execve = c"execve" (path: Path, arguments: Texts, environment: Texts) -> c_int;
    execvpe = c"execvpe" (file: Path, arguments: Texts, environment: Texts) -> c_int;
    posix_spawn = c"posix_spawn" (process: *mut libc::pid_t, path: Path, actions: *const c_void,
        attributes: *const c_void, arguments: Texts, environment: Texts) -> c_int;
    posix_spawnp = c"posix_spawnp" (process: *mut libc::pid_t, file: Path, actions: *const c_void,
        attributes: *const c_void, arguments: Texts, environment: Texts) -> c_int;
    syscall = c"syscall" (number: c_long, a: c_long, b: c_long, c: c_long, d: c_long, e: c_long, f: c_long) -> c_long;
}
