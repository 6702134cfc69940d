//! Whether a program will see the bus: a preload library comes with the dynamic loader.

use std::fs::File;
use std::io::Read;
use std::os::unix::fs::MetadataExt;
use std::path::Path;

/// Type of the program header that names the loader, as the ELF specification has it.
const PT_INTERP: u32 = 3;
/// Bits of a file's mode that make a program run as somebody else.
const SET_ID: u32 = 0o6000;

/// Why a program does not see the bus; `None` if it does, or if the file is not a program of this kind.
#[must_use]
pub fn sees_nothing(path: &Path) -> Option<String> {
    let mut file = File::open(path).ok()?;
    if file.metadata().is_ok_and(|meta| meta.mode() & SET_ID != 0) && !rustix::process::geteuid().is_root() {
        return Some(
            "runs as another user, and the loader brings it no preload library: it does not see the bus".to_owned(),
        );
    }
    let mut head = Vec::new();
    file.by_ref().take(64 * 1024).read_to_end(&mut head).ok()?;
    is_static(&head).then(|| "is statically linked: it does not see the bus".to_owned())
}

/// Whether this is the beginning of a 64-bit ELF program of this machine's byte order without a loader.
fn is_static(head: &[u8]) -> bool {
    let at = |offset: usize, len: usize| -> Option<u64> {
        let mut bytes = [0; 8];
        bytes[..len].copy_from_slice(head.get(offset..offset + len)?);
        Some(u64::from_le_bytes(bytes))
    };
    // 64 bits, low byte first.
    if !head.starts_with(b"\x7FELF\x02\x01") {
        return false;
    }
    let headers = || Some((at(32, 8)?, at(54, 2)?, at(56, 2)?));
    let Some((first, size, count)) = headers() else { return false };
    let kind = |n: u64| at(usize::try_from(first + n * size).ok()?, 4);
    (0..count).all(|n| kind(n).is_some_and(|kind| kind != u64::from(PT_INTERP)))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// An ELF head with program headers of these types.
    fn elf(kinds: &[u32]) -> Vec<u8> {
        let mut head = vec![0; 64];
        head[..6].copy_from_slice(b"\x7FELF\x02\x01");
        head[32] = 64;
        head[54] = 56;
        head[56] = kinds.len() as u8;
        for kind in kinds {
            head.extend(kind.to_le_bytes());
            head.extend([0; 52]);
        }
        head
    }

    #[test]
    fn a_program_without_a_loader_is_static() {
        assert!(is_static(&elf(&[1, 1, 4])));
        assert!(!is_static(&elf(&[6, PT_INTERP, 1])));
        assert!(!is_static(b"#!/bin/sh\n") && !is_static(b"") && !is_static(b"\x7FELF\x02\x01"));
        assert!(!is_static(&elf(&[1, 1])[..80]), "cut short: nothing is said");
        assert_eq!(sees_nothing(Path::new("/bin/sh")), None);
    }
}
