//! The start and the end of the process.

use std::ffi::{c_char, c_int};

use super::{answered, real};
use crate::state;

extern "C" fn loaded() {
    answered(|| {
        state::load();
        Ok(0)
    });
}

extern "C" fn unloaded() {
    answered(|| {
        state::end();
        Ok(0)
    });
}

/// Runs when the library is loaded.
// SAFETY: the loader calls functions of this section once, with arguments that need not be taken.
#[used]
#[unsafe(link_section = ".init_array")]
static LOADED: extern "C" fn() = loaded;

/// Runs when the process ends by `exit` or by leaving `main`.
// SAFETY: as above.
#[used]
#[unsafe(link_section = ".fini_array")]
static UNLOADED: extern "C" fn() = unloaded;

/// # Safety
///
/// As `_exit` of the C library, which runs nothing at the end; so the device is put away here.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn _exit(code: c_int) -> ! {
    unloaded();
    // SAFETY: the C library's function takes any code.
    unsafe { real::exit(code) }
}

/// # Safety
///
/// As `_exit`.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn _Exit(code: c_int) -> ! {
    // SAFETY: as `_exit`.
    unsafe { _exit(code) }
}

/// Memory goes into the images before the process becomes another program.
fn replaced() {
    answered(|| {
        state::replaced();
        Ok(0)
    });
}

/// # Safety
///
/// As `execv` of the C library; so for those that follow.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn execv(path: *const c_char, arguments: *const *const c_char) -> c_int {
    replaced();
    // SAFETY: the program keeps the contract of the C library's function; so below.
    unsafe { real::execv(path, arguments) }
}

/// # Safety
///
/// As `execv`.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn execvp(file: *const c_char, arguments: *const *const c_char) -> c_int {
    replaced();
    // SAFETY: as `execv`.
    unsafe { real::execvp(file, arguments) }
}

/// # Safety
///
/// As `execv`.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn execve(
    path: *const c_char,
    arguments: *const *const c_char,
    environment: *const *const c_char,
) -> c_int {
    replaced();
    // SAFETY: as `execv`.
    unsafe { real::execve(path, arguments, environment) }
}

/// # Safety
///
/// As `execv`.
#[unsafe(no_mangle)]
pub(crate) unsafe extern "C" fn execvpe(
    file: *const c_char,
    arguments: *const *const c_char,
    environment: *const *const c_char,
) -> c_int {
    replaced();
    // SAFETY: as `execv`.
    unsafe { real::execvpe(file, arguments, environment) }
}
