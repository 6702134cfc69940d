//! Between the program's memory and ours: the structures of the kernel's I2C interface.

use std::ffi::c_void;

use pagewise_session::protocol::{BLOCK_MAX, Kind, Message};

use crate::Errno;
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

/// Which way bytes go.
enum Way {
    Here(*mut u8),
    There(*const u8),
}

/// Lets the kernel copy, which knows what is there and what is not.
fn copy(way: &Way, place: *mut u8, len: usize) -> Result<(), Errno> {
    if len == 0 {
        return Ok(());
    }
    if place.is_null() {
        return Err(Errno(libc::EFAULT));
    }
    let remote = libc::iovec { iov_base: place.cast(), iov_len: len };
    // SAFETY: our side is as long as the caller of this function says; what is at the other is checked by the kernel.
    let (done, errno) = unsafe {
        let me = libc::getpid();
        let done = match *way {
            Way::Here(to) => {
                let local = libc::iovec { iov_base: to.cast(), iov_len: len };
                libc::process_vm_readv(me, &local, 1, &remote, 1, 0)
            }
            Way::There(from) => {
                let local = libc::iovec { iov_base: from.cast_mut().cast(), iov_len: len };
                libc::process_vm_writev(me, &local, 1, &remote, 1, 0)
            }
        };
        (done, *libc::__errno_location())
    };
    match usize::try_from(done) {
        Ok(done) if done == len => Ok(()),
        Err(_) if matches!(errno, libc::ENOSYS | libc::EPERM) => {
            // Where the call is forbidden, the program's word must do.
            // SAFETY: the program promises the room; a buffer of ours does not overlap it.
            unsafe {
                match *way {
                    Way::Here(to) => to.copy_from_nonoverlapping(place, len),
                    Way::There(from) => place.copy_from_nonoverlapping(from, len),
                }
            }
            Ok(())
        }
        _ => Err(Errno(libc::EFAULT)),
    }
}

/// Bytes of the program. EFAULT where it has none.
pub(crate) fn bytes(place: *const u8, len: usize) -> Result<Vec<u8>, Errno> {
    let mut all = vec![0; len];
    copy(&Way::Here(all.as_mut_ptr()), place.cast_mut(), len)?;
    Ok(all)
}

/// A value of the program.
///
/// # Safety
///
/// Any bytes are a `T`.
unsafe fn read<T: Copy>(place: *const T) -> Result<T, Errno> {
    let all = bytes(place.cast(), size_of::<T>())?;
    // SAFETY: as many bytes as a T has, and the caller promises the rest; alignment is not needed.
    Ok(unsafe { all.as_ptr().cast::<T>().read_unaligned() })
}

/// Whether the program has room there: what a read would find out only after it was done on the bus.
pub(crate) fn room(place: *mut u8, len: usize) -> Result<(), Errno> {
    let there = bytes(place, len)?;
    put(place, &there)
}

/// Gives bytes to the program. EFAULT where it has no room.
pub(crate) fn put(place: *mut u8, bytes: &[u8]) -> Result<(), Errno> {
    copy(&Way::There(bytes.as_ptr()), place, bytes.len())
}

/// The parts of a scattered buffer.
pub(crate) fn parts(place: *const libc::iovec, count: usize) -> Result<Vec<(*mut u8, usize)>, Errno> {
    if count > 1024 {
        return Err(Errno(libc::EINVAL));
    }
    // SAFETY: any bytes are an iovec.
    (0..count)
        .map(|at| unsafe { read(place.wrapping_add(at)) })
        .map(|part| {
            let part: libc::iovec = part?;
            Ok((part.iov_base.cast(), part.iov_len))
        })
        .collect()
}

/// The messages of an I2C_RDWR, and where what was read goes.
pub(crate) fn messages(argument: *const c_void) -> Result<(Vec<Message>, Vec<*mut u8>), Errno> {
    // SAFETY: any bytes are one.
    let transfer: Transfer = unsafe { read(argument.cast()) }?;
    if transfer.messages.is_null() || !(1..=MESSAGES_MAX).contains(&transfer.count) {
        return Err(Errno(libc::EINVAL));
    }
    let (mut messages, mut places) = (Vec::new(), Vec::new());
    for i in 0..transfer.count as usize {
        // SAFETY: as before.
        let raw = unsafe { read(transfer.messages.wrapping_add(i)) }?;
        messages.push(message(raw)?);
        places.push(raw.bytes);
    }
    Ok((messages, places))
}

/// # Safety
///
/// `raw.bytes` is null, or points to `raw.len` bytes.
fn message(raw: Raw) -> Result<Message, Errno> {
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
        // The first byte says how many the block brings besides its own.
        let first = bytes(raw.bytes, len.min(1))?;
        if !reads || first != [1] || len < 1 + BLOCK_MAX {
            return Err(Errno(libc::EINVAL));
        }
        Kind::ReadBlock(Vec::new())
    } else if reads {
        room(raw.bytes, len)?;
        Kind::Read(vec![0; len])
    } else {
        Kind::Write(bytes(raw.bytes, len)?)
    };
    Ok(Message { address: raw.address as u8, kind, glued: flags & FLAG_NO_START != 0 })
}

/// Gives the program what was read.
pub(crate) fn put_messages(messages: &[Message], places: &[*mut u8]) -> Result<(), Errno> {
    for (message, place) in messages.iter().zip(places) {
        if let Kind::Read(bytes) | Kind::ReadBlock(bytes) = &message.kind {
            // A read has the length asked for, a block at most 33 bytes.
            put(*place, bytes)?;
        }
    }
    Ok(())
}

/// The call of an I2C_SMBUS, and where its answer goes.
pub(crate) fn call(argument: *const c_void, address: u8) -> Result<(Call, *mut u8), Errno> {
    // SAFETY: any bytes are one.
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
        call.data[..len].copy_from_slice(&bytes(raw.data, len)?);
        let counted = usize::from(call.data[0]);
        if call.hands_over_block() && counted <= BLOCK_MAX {
            call.data[1..=counted].copy_from_slice(&bytes(raw.data.wrapping_add(1), counted)?);
        }
    }
    Ok((call, raw.data))
}
