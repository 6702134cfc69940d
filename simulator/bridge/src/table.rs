//! Which file descriptors are ours. Asked at every `read` and `write` of the program, so it takes no lock.

use std::sync::atomic::{AtomicU64, Ordering};

/// File descriptors from 0 up to here can be ours.
pub(crate) const LIMIT: usize = 4096;

static OURS: [AtomicU64; LIMIT / 64] = [const { AtomicU64::new(0) }; LIMIT / 64];

fn place(fd: i32) -> Option<(&'static AtomicU64, u64)> {
    let fd = usize::try_from(fd).ok().filter(|fd| *fd < LIMIT)?;
    Some((&OURS[fd / 64], 1 << (fd % 64)))
}

/// Whether a file descriptor is ours.
pub(crate) fn is_ours(fd: i32) -> bool {
    place(fd).is_some_and(|(word, bit)| word.load(Ordering::Acquire) & bit != 0)
}

/// Makes it ours; `false` if it is too large.
pub(crate) fn add(fd: i32) -> bool {
    place(fd).is_some_and(|(word, bit)| {
        word.fetch_or(bit, Ordering::AcqRel);
        true
    })
}

/// It is ours no longer. Returns whether it was.
pub(crate) fn remove(fd: i32) -> bool {
    place(fd).is_some_and(|(word, bit)| word.fetch_and(!bit, Ordering::AcqRel) & bit != 0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn file_descriptors_are_ours_from_add_to_remove() {
        for fd in [0, 63, 64, 4095] {
            assert!(!is_ours(fd) && add(fd) && is_ours(fd) && remove(fd) && !remove(fd) && !is_ours(fd), "{fd}");
        }
        assert!(!add(4096) && !is_ours(4096) && !is_ours(-1));
    }
}
