//! The requests of linux/i2c-dev.h.

use std::ffi::{c_int, c_ulong, c_void};

use crate::errno::Errno;
use crate::memory;
use crate::messages::Message;
use crate::smbus;
use crate::state::{self, Open};

const I2C_RETRIES: u32 = 0x0701;
const I2C_TIMEOUT: u32 = 0x0702;
const I2C_SLAVE: u32 = 0x0703;
const I2C_TENBIT: u32 = 0x0704;
const I2C_FUNCS: u32 = 0x0705;
const I2C_SLAVE_FORCE: u32 = 0x0706;
const I2C_RDWR: u32 = 0x0707;
const I2C_PEC: u32 = 0x0708;
const I2C_SMBUS: u32 = 0x0720;

/// Plain I2C, messages without START, and all SMBus calls; no ten-bit addresses, no packet error checking.
const FUNCTIONS: c_ulong = 0x0001 | 0x0010 | 0x8000 | 0x0FFF_0000;

/// Does a request of the program on one of our file descriptors.
///
/// # Safety
///
/// `argument` is what linux/i2c-dev.h asks for this request.
pub(crate) unsafe fn request(fd: c_int, request: c_ulong, argument: *mut c_void) -> Result<c_int, Errno> {
    let number = argument as usize;
    match request as u32 {
        I2C_SLAVE | I2C_SLAVE_FORCE => {
            let address = u8::try_from(number).ok().filter(|address| *address <= 0x7F).ok_or(Errno(libc::EINVAL))?;
            state::with(fd, |open| {
                open.address.set(address);
                Ok(0)
            })
        }
        I2C_TENBIT | I2C_PEC if number != 0 => Err(Errno(libc::EOPNOTSUPP)),
        I2C_TENBIT | I2C_PEC | I2C_RETRIES | I2C_TIMEOUT => Ok(0),
        // SAFETY: what the caller promises.
        I2C_FUNCS => unsafe { memory::put_long(argument.cast(), FUNCTIONS) }.map(|()| 0),
        I2C_RDWR => {
            // SAFETY: what the caller promises.
            let (mut messages, places) = unsafe { memory::messages(argument) }?;
            state::with(fd, |open| open.device.transfer(&mut messages))?;
            // SAFETY: the call of the program is not over, so its buffers are there.
            unsafe { memory::put_messages(&messages, &places) }?;
            Ok(messages.len() as c_int)
        }
        I2C_SMBUS => {
            // SAFETY: what the caller promises.
            let (call, place) = state::with(fd, |open| unsafe { memory::call(argument, open.address.get()) })?;
            let (mut messages, answer) = call.messages()?;
            state::with(fd, |open| open.device.transfer(&mut messages))?;
            // SAFETY: what the caller promises; an answer fits into the union.
            unsafe { memory::put(place, &smbus::answer(&messages, answer)) }?;
            Ok(0)
        }
        _ => Err(Errno(libc::ENOTTY)),
    }
}

/// `read` and `write` of the program: one message to the address chosen before.
pub(crate) fn message(fd: c_int, make: impl FnOnce(u8) -> Message) -> Result<Message, Errno> {
    state::with(fd, |open: Open<'_>| {
        let mut messages = [make(open.address.get())];
        open.device.transfer(&mut messages)?;
        let [message] = messages;
        Ok(message)
    })
}
