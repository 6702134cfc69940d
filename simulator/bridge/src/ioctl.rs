//! The requests of linux/i2c-dev.h, and plain reading and writing.

use std::ffi::{c_int, c_ulong, c_void};

use pagewise_session::protocol::{Answer, Ask, Kind, Message};

use crate::{Errno, client, memory, smbus};

const I2C_RETRIES: u32 = 0x0701;
const I2C_TIMEOUT: u32 = 0x0702;
const I2C_SLAVE: u32 = 0x0703;
const I2C_TENBIT: u32 = 0x0704;
const I2C_FUNCS: u32 = 0x0705;
const I2C_SLAVE_FORCE: u32 = 0x0706;
const I2C_RDWR: u32 = 0x0707;
const I2C_PEC: u32 = 0x0708;
const I2C_SMBUS: u32 = 0x0720;

/// The kernel moves at most so many bytes in one `read` or `write` on an I2C device.
const LEN_MAX: usize = 8192;

fn number(fd: c_int, ask: Ask) -> Result<u64, Errno> {
    match client::ask(fd, ask)? {
        Answer::Number(number) => Ok(number),
        _ => Err(Errno(libc::EIO)),
    }
}

fn transfer(fd: c_int, ask: Ask) -> Result<Vec<Message>, Errno> {
    match client::ask(fd, ask)? {
        Answer::Messages(messages) => Ok(messages),
        _ => Err(Errno(libc::EIO)),
    }
}

/// Does a request of the program on one of our file descriptors.
pub(crate) fn request(fd: c_int, request: c_ulong, argument: *mut c_void) -> Result<c_int, Errno> {
    let value = argument as usize;
    match request as u32 {
        I2C_SLAVE | I2C_SLAVE_FORCE => {
            let address = u8::try_from(value).ok().filter(|address| *address <= 0x7F).ok_or(Errno(libc::EINVAL))?;
            client::ask(fd, Ask::Address(address)).map(|_| 0)
        }
        I2C_TENBIT | I2C_PEC if value != 0 => Err(Errno(libc::EOPNOTSUPP)),
        I2C_TENBIT | I2C_PEC | I2C_RETRIES | I2C_TIMEOUT => Ok(0),
        I2C_FUNCS => {
            let functions = number(fd, Ask::Functions)? as c_ulong;
            memory::put(argument.cast(), &functions.to_ne_bytes()).map(|()| 0)
        }
        I2C_RDWR => {
            let (messages, places) = memory::messages(argument)?;
            let messages = transfer(fd, Ask::Transfer(messages))?;
            memory::put_messages(&messages, &places)?;
            Ok(messages.len() as c_int)
        }
        I2C_SMBUS => {
            let address = number(fd, Ask::WhichAddress)? as u8;
            let (call, place) = memory::call(argument, address)?;
            let (messages, answer) = call.messages()?;
            let messages = transfer(fd, Ask::Transfer(messages))?;
            memory::put(place, &smbus::answer(&messages, answer))?;
            Ok(0)
        }
        _ => Err(Errno(libc::ENOTTY)),
    }
}

/// `read` of the program: one message from the address chosen before.
pub(crate) fn read(fd: c_int, place: *mut u8, len: usize) -> Result<isize, Errno> {
    let len = len.min(LEN_MAX);
    memory::room(place, len)?;
    let messages = transfer(fd, Ask::Plain(Kind::Read(vec![0; len])))?;
    memory::put_messages(&messages, &[place])?;
    Ok(len as isize)
}

/// `write` of the program: one message to the address chosen before.
pub(crate) fn write(fd: c_int, place: *const u8, len: usize) -> Result<isize, Errno> {
    let len = len.min(LEN_MAX);
    transfer(fd, Ask::Plain(Kind::Write(memory::bytes(place, len)?)))?;
    Ok(len as isize)
}

/// Scattered reading and writing: the kernel makes a transfer of each part, and stops where one fails.
pub(crate) fn each(
    place: *const libc::iovec,
    count: c_int,
    one: impl Fn(*mut u8, usize) -> Result<isize, Errno>,
) -> Result<isize, Errno> {
    let mut done = 0;
    let count = usize::try_from(count).map_err(|_| Errno(libc::EINVAL))?;
    for (place, len) in memory::parts(place, count)?.into_iter().filter(|(_, len)| *len > 0) {
        match one(place, len) {
            Ok(more) => done += more,
            Err(errno) if done == 0 => return Err(errno),
            Err(_) => break,
        }
    }
    Ok(done)
}
