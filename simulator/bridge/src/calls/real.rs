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

type Open = unsafe extern "C" fn(*const c_char, c_int, c_uint) -> c_int;
type OpenAt = unsafe extern "C" fn(c_int, *const c_char, c_int, c_uint) -> c_int;
type Close = unsafe extern "C" fn(c_int) -> c_int;
type Ioctl = unsafe extern "C" fn(c_int, c_ulong, *mut c_void) -> c_int;
type Read = unsafe extern "C" fn(c_int, *mut c_void, usize) -> isize;
type ReadChecked = unsafe extern "C" fn(c_int, *mut c_void, usize, usize) -> isize;
type Write = unsafe extern "C" fn(c_int, *const c_void, usize) -> isize;
type Dup2 = unsafe extern "C" fn(c_int, c_int) -> c_int;
type Dup3 = unsafe extern "C" fn(c_int, c_int, c_int) -> c_int;
type Fcntl = unsafe extern "C" fn(c_int, c_int, c_long) -> c_int;
type Nanosleep = unsafe extern "C" fn(*const libc::timespec, *mut libc::timespec) -> c_int;
type ClockNanosleep = unsafe extern "C" fn(libc::clockid_t, c_int, *const libc::timespec, *mut libc::timespec) -> c_int;
type Sleep = unsafe extern "C" fn(c_uint) -> c_uint;
type Usleep = unsafe extern "C" fn(c_uint) -> c_int;
type Exec = unsafe extern "C" fn(*const c_char, *const *const c_char) -> c_int;
type ExecEnv = unsafe extern "C" fn(*const c_char, *const *const c_char, *const *const c_char) -> c_int;
type Exit = unsafe extern "C" fn(c_int) -> !;

pub(super) unsafe fn open(path: *const c_char, flags: c_int, mode: c_uint) -> c_int {
    static REAL: Real = Real::new(c"open64");
    // SAFETY: the C library's function has this type, and the caller keeps its contract.
    unsafe { transmute::<*mut c_void, Open>(REAL.address())(path, flags, mode) }
}

pub(super) unsafe fn openat(folder: c_int, path: *const c_char, flags: c_int, mode: c_uint) -> c_int {
    static REAL: Real = Real::new(c"openat64");
    // SAFETY: as above.
    unsafe { transmute::<*mut c_void, OpenAt>(REAL.address())(folder, path, flags, mode) }
}

pub(super) unsafe fn close(fd: c_int) -> c_int {
    static REAL: Real = Real::new(c"close");
    // SAFETY: as above.
    unsafe { transmute::<*mut c_void, Close>(REAL.address())(fd) }
}

pub(super) unsafe fn ioctl(fd: c_int, request: c_ulong, argument: *mut c_void) -> c_int {
    static REAL: Real = Real::new(c"ioctl");
    // SAFETY: as above.
    unsafe { transmute::<*mut c_void, Ioctl>(REAL.address())(fd, request, argument) }
}

pub(super) unsafe fn read(fd: c_int, bytes: *mut c_void, len: usize) -> isize {
    static REAL: Real = Real::new(c"read");
    // SAFETY: as above.
    unsafe { transmute::<*mut c_void, Read>(REAL.address())(fd, bytes, len) }
}

pub(super) unsafe fn read_checked(fd: c_int, bytes: *mut c_void, len: usize, room: usize) -> isize {
    static REAL: Real = Real::new(c"__read_chk");
    // SAFETY: as above.
    unsafe { transmute::<*mut c_void, ReadChecked>(REAL.address())(fd, bytes, len, room) }
}

pub(super) unsafe fn write(fd: c_int, bytes: *const c_void, len: usize) -> isize {
    static REAL: Real = Real::new(c"write");
    // SAFETY: as above.
    unsafe { transmute::<*mut c_void, Write>(REAL.address())(fd, bytes, len) }
}

pub(super) unsafe fn fsync(fd: c_int) -> c_int {
    static REAL: Real = Real::new(c"fsync");
    // SAFETY: as above.
    unsafe { transmute::<*mut c_void, Close>(REAL.address())(fd) }
}

pub(super) unsafe fn fdatasync(fd: c_int) -> c_int {
    static REAL: Real = Real::new(c"fdatasync");
    // SAFETY: as above.
    unsafe { transmute::<*mut c_void, Close>(REAL.address())(fd) }
}

pub(super) unsafe fn dup(fd: c_int) -> c_int {
    static REAL: Real = Real::new(c"dup");
    // SAFETY: as above.
    unsafe { transmute::<*mut c_void, Close>(REAL.address())(fd) }
}

pub(super) unsafe fn dup2(old: c_int, new: c_int) -> c_int {
    static REAL: Real = Real::new(c"dup2");
    // SAFETY: as above.
    unsafe { transmute::<*mut c_void, Dup2>(REAL.address())(old, new) }
}

pub(super) unsafe fn dup3(old: c_int, new: c_int, flags: c_int) -> c_int {
    static REAL: Real = Real::new(c"dup3");
    // SAFETY: as above.
    unsafe { transmute::<*mut c_void, Dup3>(REAL.address())(old, new, flags) }
}

pub(super) unsafe fn fcntl(fd: c_int, command: c_int, argument: c_long) -> c_int {
    static REAL: Real = Real::new(c"fcntl64");
    // SAFETY: as above.
    unsafe { transmute::<*mut c_void, Fcntl>(REAL.address())(fd, command, argument) }
}

pub(super) unsafe fn nanosleep(time: *const libc::timespec, left: *mut libc::timespec) -> c_int {
    static REAL: Real = Real::new(c"nanosleep");
    // SAFETY: as above.
    unsafe { transmute::<*mut c_void, Nanosleep>(REAL.address())(time, left) }
}

pub(super) unsafe fn clock_nanosleep(
    clock: libc::clockid_t,
    flags: c_int,
    time: *const libc::timespec,
    left: *mut libc::timespec,
) -> c_int {
    static REAL: Real = Real::new(c"clock_nanosleep");
    // SAFETY: as above.
    unsafe { transmute::<*mut c_void, ClockNanosleep>(REAL.address())(clock, flags, time, left) }
}

pub(super) unsafe fn sleep(seconds: c_uint) -> c_uint {
    static REAL: Real = Real::new(c"sleep");
    // SAFETY: as above.
    unsafe { transmute::<*mut c_void, Sleep>(REAL.address())(seconds) }
}

pub(super) unsafe fn usleep(us: c_uint) -> c_int {
    static REAL: Real = Real::new(c"usleep");
    // SAFETY: as above.
    unsafe { transmute::<*mut c_void, Usleep>(REAL.address())(us) }
}

pub(super) unsafe fn execv(path: *const c_char, arguments: *const *const c_char) -> c_int {
    static REAL: Real = Real::new(c"execv");
    // SAFETY: as above.
    unsafe { transmute::<*mut c_void, Exec>(REAL.address())(path, arguments) }
}

pub(super) unsafe fn execvp(file: *const c_char, arguments: *const *const c_char) -> c_int {
    static REAL: Real = Real::new(c"execvp");
    // SAFETY: as above.
    unsafe { transmute::<*mut c_void, Exec>(REAL.address())(file, arguments) }
}

pub(super) unsafe fn execve(
    path: *const c_char,
    arguments: *const *const c_char,
    environment: *const *const c_char,
) -> c_int {
    static REAL: Real = Real::new(c"execve");
    // SAFETY: as above.
    unsafe { transmute::<*mut c_void, ExecEnv>(REAL.address())(path, arguments, environment) }
}

pub(super) unsafe fn execvpe(
    file: *const c_char,
    arguments: *const *const c_char,
    environment: *const *const c_char,
) -> c_int {
    static REAL: Real = Real::new(c"execvpe");
    // SAFETY: as above.
    unsafe { transmute::<*mut c_void, ExecEnv>(REAL.address())(file, arguments, environment) }
}

pub(super) unsafe fn exit(code: c_int) -> ! {
    static REAL: Real = Real::new(c"_exit");
    // SAFETY: as above.
    unsafe { transmute::<*mut c_void, Exit>(REAL.address())(code) }
}
