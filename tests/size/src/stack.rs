//! How deep a call reaches: the free stack is painted before it, and looked at after it.

use core::ptr::addr_of_mut;

use cortex_m::register::msp;
use cortex_m_semihosting::{debug, syscall1};

const PAINT: u32 = 0xA5C3_5A3C;

unsafe extern "C" {
    /// End of the statics; the stack grows down to here.
    static mut __sheap: u32;
}

/// Runs `work` and prints two numbers, hexadecimal, one a line: `value_bytes` as they were given, and the bytes of stack
/// that `work` has used. Then ends the program.
#[inline(never)]
pub fn measure(value_bytes: usize, work: impl FnOnce()) -> ! {
    let bottom = addr_of_mut!(__sheap);
    let top = msp::read() as *mut u32;
    let mut at = bottom;
    while at < top {
        // SAFETY: between the statics and the stack pointer nothing is stored; interrupts are never enabled.
        unsafe { at.write_volatile(PAINT) };
        at = at.wrapping_add(1);
    }
    work();
    let mut at = bottom;
    // SAFETY: as above; reading only.
    while at < top && unsafe { at.read_volatile() } == PAINT {
        at = at.wrapping_add(1);
    }
    number(value_bytes);
    number(top as usize - at as usize);
    exit(true)
}

fn number(mut value: usize) {
    let mut text = *b"00000000\n\0";
    for to in text.iter_mut().take(8).rev() {
        *to = b"0123456789abcdef"[value & 15];
        value >>= 4;
    }
    say(&text);
}

/// Prints a text that ends with a zero byte.
pub fn say(text: &[u8]) {
    // SAFETY: the text ends with a zero byte.
    unsafe { syscall1!(WRITE0, text.as_ptr()) };
}

/// Ends the program.
pub fn exit(well: bool) -> ! {
    debug::exit(if well { debug::EXIT_SUCCESS } else { debug::EXIT_FAILURE });
    loop {
        cortex_m::asm::nop();
    }
}
