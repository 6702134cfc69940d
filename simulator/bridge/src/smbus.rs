//! SMBus calls as the kernel emulates them on an I2C adapter: from call to messages, and from messages to the answer.

use pagewise_session::protocol::{BLOCK_MAX, Kind, Message};

use crate::Errno;

/// Bytes of the union that the program hands over: a block with its length, and one spare.
pub(crate) const DATA_LEN: usize = BLOCK_MAX + 2;

/// One SMBus call.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Call {
    pub(crate) address: u8,
    pub(crate) read: bool,
    pub(crate) command: u8,
    pub(crate) size: u32,
    /// Byte in `[0]`, word in `[0..2]` (low byte first, as on this machine and on the bus), block with its length in `[0]`.
    pub(crate) data: [u8; DATA_LEN],
}

/// How the answer goes back into the union.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Answer {
    /// Nothing does.
    None,
    /// So many bytes from the start.
    Bytes,
    /// A block that came with its length.
    Block,
    /// Bytes whose number was asked for; the length stands before them.
    Counted,
}

const QUICK: u32 = 0;
const BYTE: u32 = 1;
const BYTE_DATA: u32 = 2;
const WORD_DATA: u32 = 3;
const PROC_CALL: u32 = 4;
const BLOCK_DATA: u32 = 5;
const I2C_BLOCK_BROKEN: u32 = 6;
const BLOCK_PROC_CALL: u32 = 7;
const I2C_BLOCK_DATA: u32 = 8;

impl Call {
    /// Whether the program must hand over the union for this call.
    pub(crate) fn needs_data(size: u32, read: bool) -> bool {
        size != QUICK && (size != BYTE || read)
    }

    /// Bytes at the start of the union that the program has set.
    pub(crate) fn bytes_handed_over(&self) -> usize {
        match (self.size, self.read) {
            (WORD_DATA, false) | (PROC_CALL, _) => 2,
            (BYTE_DATA, false) | (I2C_BLOCK_DATA, true) => 1,
            _ => usize::from(self.hands_over_block()),
        }
    }

    /// Whether they are the length of a block that follows.
    pub(crate) fn hands_over_block(&self) -> bool {
        let writes_block = matches!(self.size, BLOCK_DATA | I2C_BLOCK_DATA | I2C_BLOCK_BROKEN) && !self.read;
        writes_block || self.size == BLOCK_PROC_CALL
    }

    /// The messages of this call.
    ///
    /// # Errors
    ///
    /// EINVAL for an unknown size or a block that is too long.
    pub(crate) fn messages(&self) -> Result<(Vec<Message>, Answer), Errno> {
        let Self { address, read, command, size, data } = *self;
        let write = |bytes: &[u8]| Message::write(address, [&[command], bytes].concat());
        let take = |len: usize| Message::read(address, len);
        let block = Message { address, kind: Kind::ReadBlock(Vec::new()), glued: false };
        Ok(match (size, read) {
            (QUICK, false) => (vec![Message::write(address, Vec::new())], Answer::None),
            (QUICK, true) => (vec![take(0)], Answer::None),
            (BYTE, false) => (vec![write(&[])], Answer::None),
            (BYTE, true) => (vec![take(1)], Answer::Bytes),
            (BYTE_DATA, false) => (vec![write(&data[..1])], Answer::None),
            (BYTE_DATA, true) => (vec![write(&[]), take(1)], Answer::Bytes),
            (WORD_DATA, false) => (vec![write(&data[..2])], Answer::None),
            (WORD_DATA, true) => (vec![write(&[]), take(2)], Answer::Bytes),
            (PROC_CALL, _) => (vec![write(&data[..2]), take(2)], Answer::Bytes),
            (BLOCK_DATA, false) => (vec![write(self.block()?)], Answer::None),
            (BLOCK_DATA, true) => (vec![write(&[]), block], Answer::Block),
            (BLOCK_PROC_CALL, _) => (vec![write(self.block()?), block], Answer::Block),
            (I2C_BLOCK_DATA | I2C_BLOCK_BROKEN, false) => (vec![write(&self.block()?[1..])], Answer::None),
            (I2C_BLOCK_BROKEN, true) => (vec![write(&[]), take(BLOCK_MAX)], Answer::Counted),
            (I2C_BLOCK_DATA, true) => {
                let len = self.block()?.len() - 1;
                (vec![write(&[]), take(len)], Answer::Counted)
            }
            _ => return Err(Errno(libc::EINVAL)),
        })
    }

    /// The block with its length, which is 1 to 32.
    fn block(&self) -> Result<&[u8], Errno> {
        let len = usize::from(self.data[0]);
        if !(1..=BLOCK_MAX).contains(&len) {
            return Err(Errno(libc::EINVAL));
        }
        Ok(&self.data[..=len])
    }
}

/// What goes back into the union after the messages were run.
pub(crate) fn answer(messages: &[Message], answer: Answer) -> Vec<u8> {
    let Some(Message { kind: Kind::Read(bytes) | Kind::ReadBlock(bytes), .. }) = messages.last() else {
        return Vec::new();
    };
    match answer {
        Answer::None => Vec::new(),
        Answer::Bytes | Answer::Block => bytes.clone(),
        Answer::Counted => [&[bytes.len() as u8], bytes.as_slice()].concat(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn call(size: u32, read: bool, data: &[u8]) -> Call {
        let mut whole = [0; DATA_LEN];
        whole[..data.len()].copy_from_slice(data);
        Call { address: 0x50, read, command: 0x12, size, data: whole }
    }

    fn bytes(size: u32, read: bool, data: &[u8]) -> Vec<Message> {
        call(size, read, data).messages().unwrap().0
    }

    #[test]
    fn calls_become_the_messages_of_the_smbus_specification() {
        let (w, r) = (|bytes: &[u8]| Message::write(0x50, bytes.to_vec()), |len| Message::read(0x50, len));
        assert_eq!(bytes(QUICK, false, &[]), [w(&[])]);
        assert_eq!(bytes(BYTE, false, &[]), [w(&[0x12])]);
        assert_eq!(bytes(BYTE, true, &[]), [r(1)]);
        assert_eq!(bytes(BYTE_DATA, false, &[7]), [w(&[0x12, 7])]);
        assert_eq!(bytes(BYTE_DATA, true, &[]), [w(&[0x12]), r(1)]);
        assert_eq!(bytes(WORD_DATA, false, &[7, 8]), [w(&[0x12, 7, 8])]);
        assert_eq!(bytes(PROC_CALL, false, &[7, 8]), [w(&[0x12, 7, 8]), r(2)]);
        assert_eq!(bytes(BLOCK_DATA, false, &[2, 7, 8]), [w(&[0x12, 2, 7, 8])]);
        assert_eq!(bytes(I2C_BLOCK_DATA, false, &[2, 7, 8]), [w(&[0x12, 7, 8])]);
        assert_eq!(bytes(I2C_BLOCK_DATA, true, &[9]), [w(&[0x12]), r(9)]);
        assert_eq!(bytes(I2C_BLOCK_BROKEN, true, &[]), [w(&[0x12]), r(32)]);
    }

    #[test]
    fn blocks_are_one_to_thirty_two_bytes_and_sizes_are_known() {
        for bad in [0, 33, 255] {
            for size in [BLOCK_DATA, BLOCK_PROC_CALL, I2C_BLOCK_DATA] {
                assert_eq!(call(size, false, &[bad]).messages(), Err(Errno(libc::EINVAL)));
            }
        }
        assert_eq!(call(9, true, &[]).messages(), Err(Errno(libc::EINVAL)));
    }
}
