//! Between the program's memory and ours: the structures of the kernel's I2C interface.

use std::ffi::c_void;

use crate::errno::Errno;
use crate::messages::{BLOCK_MAX, Kind, Message};
use crate::smbus::{Call, DATA_LEN};

/// `struct i2c_rdwr_ioctl_data` of linux/i2c-dev.h.
#[repr(C)]
#[derive(Clone, Copy)]
struct Transfer {
    messages: *const Raw,
    count: u32,
}

/// `struct i2c_msg` of linux/i2c.h.
#[repr(C)]
#[derive(Clone, Copy)]
struct Raw {
    address: u16,
    flags: u16,
    len: u16,
    bytes: *mut u8,
}

/// `struct i2c_smbus_ioctl_data` of linux/i2c-dev.h.
#[repr(C)]
#[derive(Clone, Copy)]
struct RawCall {
    read_write: u8,
    command: u8,
    size: u32,
    data: *mut u8,
}

const FLAG_READ: u16 = 0x0001;
const FLAG_DMA_SAFE: u16 = 0x0200;
const FLAG_RECEIVE_LENGTH: u16 = 0x0400;
const FLAG_NO_START: u16 = 0x4000;
/// Limits of the kernel's i2c-dev.
const MESSAGES_MAX: u32 = 42;
const LEN_MAX: u16 = 8192;

/// A value of the program.
///
/// # Safety
///
/// `place` is null, or points to a `T`.
unsafe fn read<T: Copy>(place: *const T) -> Result<T, Errno> {
    if place.is_null() {
        return Err(Errno(libc::EFAULT));
    }
    // SAFETY: not null, and the caller promises the rest; alignment is not needed.
    Ok(unsafe { place.read_unaligned() })
}

/// Bytes of the program.
///
/// # Safety
///
/// `place` is null, or points to `len` bytes.
pub(crate) unsafe fn bytes(place: *const u8, len: usize) -> Result<Vec<u8>, Errno> {
    if len == 0 {
        return Ok(Vec::new());
    }
    if place.is_null() {
        return Err(Errno(libc::EFAULT));
    }
    // SAFETY: not null, and the caller promises the rest.
    Ok(unsafe { std::slice::from_raw_parts(place, len) }.to_vec())
}

/// Gives bytes to the program.
///
/// # Safety
///
/// `place` is null, or points to as many writable bytes.
pub(crate) unsafe fn put(place: *mut u8, bytes: &[u8]) -> Result<(), Errno> {
    if bytes.is_empty() {
        return Ok(());
    }
    if place.is_null() {
        return Err(Errno(libc::EFAULT));
    }
    // SAFETY: not null, the caller promises the room, and a slice of ours does not overlap the program's memory.
    unsafe { place.copy_from_nonoverlapping(bytes.as_ptr(), bytes.len()) };
    Ok(())
}

/// Gives a word to the program.
///
/// # Safety
///
/// `place` is null, or points to a writable `unsigned long`.
pub(crate) unsafe fn put_long(place: *mut libc::c_ulong, value: libc::c_ulong) -> Result<(), Errno> {
    // SAFETY: what the caller promises.
    unsafe { put(place.cast(), &value.to_ne_bytes()) }
}

/// The messages of an I2C_RDWR, and where what was read goes.
///
/// # Safety
///
/// `argument` is null, or what linux/i2c-dev.h asks for I2C_RDWR.
pub(crate) unsafe fn messages(argument: *const c_void) -> Result<(Vec<Message>, Vec<*mut u8>), Errno> {
    // SAFETY: what the caller promises.
    let transfer: Transfer = unsafe { read(argument.cast()) }?;
    if transfer.messages.is_null() || !(1..=MESSAGES_MAX).contains(&transfer.count) {
        return Err(Errno(libc::EINVAL));
    }
    let (mut messages, mut places) = (Vec::new(), Vec::new());
    for i in 0..transfer.count as usize {
        // SAFETY: the program promises `count` messages, each with its bytes.
        let raw = unsafe { read(transfer.messages.add(i)) }?;
        // SAFETY: as before.
        messages.push(unsafe { message(raw) }?);
        places.push(raw.bytes);
    }
    Ok((messages, places))
}

/// # Safety
///
/// `raw.bytes` is null, or points to `raw.len` bytes.
unsafe fn message(raw: Raw) -> Result<Message, Errno> {
    let flags = raw.flags & !FLAG_DMA_SAFE;
    if flags & !(FLAG_READ | FLAG_RECEIVE_LENGTH | FLAG_NO_START) != 0 {
        return Err(Errno(libc::EOPNOTSUPP));
    }
    if raw.address > 0x7F || raw.len > LEN_MAX {
        return Err(Errno(libc::EINVAL));
    }
    let len = usize::from(raw.len);
    let reads = flags & FLAG_READ != 0;
    let kind = if flags & FLAG_RECEIVE_LENGTH != 0 {
        // SAFETY: what the caller promises; the first byte says how many the block brings besides its own.
        let first = unsafe { bytes(raw.bytes, len.min(1)) }?;
        if !reads || first != [1] || len < 1 + BLOCK_MAX {
            return Err(Errno(libc::EINVAL));
        }
        Kind::ReadBlock(Vec::new())
    } else if reads {
        if len > 0 && raw.bytes.is_null() {
            return Err(Errno(libc::EFAULT));
        }
        Kind::Read(vec![0; len])
    } else {
        // SAFETY: what the caller promises.
        Kind::Write(unsafe { bytes(raw.bytes, len) }?)
    };
    Ok(Message { address: raw.address as u8, kind, glued: flags & FLAG_NO_START != 0 })
}

/// Gives the program what was read.
///
/// # Safety
///
/// `places` come from [`messages`], and the program's buffers are still there.
pub(crate) unsafe fn put_messages(messages: &[Message], places: &[*mut u8]) -> Result<(), Errno> {
    for (message, place) in messages.iter().zip(places) {
        if let Kind::Read(bytes) | Kind::ReadBlock(bytes) = &message.kind {
            // SAFETY: what the caller promises; a read has the length asked for, a block at most 33 bytes.
            unsafe { put(*place, bytes) }?;
        }
    }
    Ok(())
}

/// The call of an I2C_SMBUS, and where its answer goes.
///
/// # Safety
///
/// `argument` is null, or what linux/i2c-dev.h asks for I2C_SMBUS.
pub(crate) unsafe fn call(argument: *const c_void, address: u8) -> Result<(Call, *mut u8), Errno> {
    // SAFETY: what the caller promises.
    let raw: RawCall = unsafe { read(argument.cast()) }?;
    if raw.read_write > 1 {
        return Err(Errno(libc::EINVAL));
    }
    let mut call =
        Call { address, read: raw.read_write == 1, command: raw.command, size: raw.size, data: [0; DATA_LEN] };
    if Call::needs_data(call.size, call.read) {
        if raw.data.is_null() {
            return Err(Errno(libc::EINVAL));
        }
        let len = call.bytes_handed_over();
        // SAFETY: the program hands over a union i2c_smbus_data with as many bytes set.
        call.data[..len].copy_from_slice(&unsafe { bytes(raw.data, len) }?);
        let counted = usize::from(call.data[0]);
        if call.hands_over_block() && counted <= BLOCK_MAX {
            // SAFETY: as before; a block has its length in the first byte.
            call.data[1..=counted].copy_from_slice(&unsafe { bytes(raw.data.add(1), counted) }?);
        }
    }
    Ok((call, raw.data))
}
