//! The start of the process, and programs that it starts: what has no dynamic loader does not see the bus, and is told of.

use std::ffi::{CStr, OsStr, c_char, c_int, c_void};
use std::os::unix::ffi::OsStrExt;
use std::path::{Path, PathBuf};

use super::{quietly, real};
use crate::{client, found};

extern "C" fn loaded() {
    quietly(found::load);
}

/// Runs when the library is loaded.
// SAFETY: the loader calls functions of this section once, with arguments that need not be taken.
#[used]
#[unsafe(link_section = ".init_array")]
static LOADED: extern "C" fn() = loaded;

type Texts = *const *const c_char;

/// Tells if a program will not see the bus.
///
/// # Safety
///
/// `file` is null or a C string.
unsafe fn starts(file: *const c_char, search: bool) {
    if file.is_null() || found::device().is_none() {
        return;
    }
    // SAFETY: not null, and the caller promises the rest.
    let file = Path::new(OsStr::from_bytes(unsafe { CStr::from_ptr(file) }.to_bytes()));
    quietly(|| {
        let found = if search && file.components().count() == 1 {
            let path = std::env::var_os("PATH").unwrap_or_default();
            std::env::split_paths(&path).map(|folder| folder.join(file)).find(|path| path.is_file())
        } else {
            Some(PathBuf::from(file))
        };
        if let Some(reason) = found.as_deref().and_then(pagewise_session::program::sees_nothing) {
            client::tell(format!("{}: {reason}", file.display()));
        }
    });
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn execv(path: *const c_char, arguments: Texts) -> c_int {
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe {
        starts(path, false);
        real::execv(path, arguments)
    }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn execvp(path: *const c_char, arguments: Texts) -> c_int {
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe {
        starts(path, true);
        real::execvp(path, arguments)
    }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn execve(path: *const c_char, arguments: Texts, environment: Texts) -> c_int {
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe {
        starts(path, false);
        real::execve(path, arguments, environment)
    }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn execvpe(path: *const c_char, arguments: Texts, environment: Texts) -> c_int {
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe {
        starts(path, true);
        real::execvpe(path, arguments, environment)
    }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn posix_spawn(
    process: *mut libc::pid_t,
    path: *const c_char,
    actions: *const c_void,
    attributes: *const c_void,
    arguments: Texts,
    environment: Texts,
) -> c_int {
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe {
        starts(path, false);
        real::posix_spawn(process, path, actions, attributes, arguments, environment)
    }
}

/// # Safety
///
/// As the function of the C library.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn posix_spawnp(
    process: *mut libc::pid_t,
    path: *const c_char,
    actions: *const c_void,
    attributes: *const c_void,
    arguments: Texts,
    environment: Texts,
) -> c_int {
    // SAFETY: the program keeps the contract of the C library's function.
    unsafe {
        starts(path, true);
        real::posix_spawnp(process, path, actions, attributes, arguments, environment)
    }
}
