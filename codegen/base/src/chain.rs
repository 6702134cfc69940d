//! Lines of JSON that hold together: each ends with a digest of itself and of the line before it.
//!
//! A line is a JSON object whose last field is `"chain"`: SHA-256, in hexadecimal, of the digest of the line before
//! (nothing in the first line), a line feed, and the line up to the comma before `"chain"`. Whoever changes a line, takes
//! one out or puts one in without computing every later digest anew is found out. Lines that are taken away at the end
//! are not.
//!
//! ```
//! use pagewise_base::chain;
//!
//! let (first, digest) = chain::seal(r#"{"unit":"TI-1"}"#, "");
//! assert_eq!(chain::open(&first, ""), Ok((r#"{"unit":"TI-1"}"#.to_owned(), digest)));
//! assert!(chain::open(&first.replace("TI-1", "TI-2"), "").is_err());
//! ```

use sha2::{Digest, Sha256};

/// What stands between an object's fields and its digest.
const SEAL: &str = ",\"chain\":\"";
/// Hexadecimal digits of a digest.
const DIGITS: usize = 64;

/// SHA-256 in hexadecimal.
#[must_use]
pub fn sha256(bytes: &[u8]) -> String {
    Sha256::digest(bytes).iter().map(|byte| format!("{byte:02x}")).collect()
}

/// The line of a JSON object that has at least one field, behind the line with the digest `before`, without a line feed;
/// and its own digest.
#[must_use]
pub fn seal(object: &str, before: &str) -> (String, String) {
    let text = object.strip_suffix('}').unwrap_or(object);
    let own = link(before, text);
    (format!("{text}{SEAL}{own}\"}}"), own)
}

/// The object of a line without its digest, and the digest, if it is that of what stands there behind `before`.
///
/// # Errors
/// Why not, in words.
pub fn open(line: &str, before: &str) -> Result<(String, String), String> {
    let (text, own) = split(line).ok_or("it does not end with its digest")?;
    if link(before, text) == own {
        return Ok((format!("{text}}}"), own.to_owned()));
    }
    Err("it was changed, or a line before it was changed, taken out or put in: its digest is another one".into())
}

/// The digest that a line claims to have, so that the lines behind a bad one can be judged.
#[must_use]
pub fn claimed(line: &str) -> Option<&str> {
    split(line).map(|(_, own)| own)
}

fn link(before: &str, text: &str) -> String {
    sha256(format!("{before}\n{text}").as_bytes())
}

/// A line's text up to the comma before its digest, and the digest.
fn split(line: &str) -> Option<(&str, &str)> {
    let inner = line.trim_end().strip_suffix("\"}")?;
    let (rest, own) = inner.split_at_checked(inner.len().checked_sub(DIGITS)?)?;
    Some((rest.strip_suffix(SEAL)?, own))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_digest_is_that_of_fips_180_4() {
        // FIPS 180-4, example "abc", as published by NIST.
        assert_eq!(sha256(b"abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    }

    #[test]
    fn a_line_that_is_none_is_refused() {
        let (first, digest) = seal("{\"a\":1}", "");
        let (second, _) = seal("{\"a\":2}", &digest);
        assert!(open(&second, &digest).is_ok() && open(&second, "").is_err());
        for bad in ["", "{}", "\"}", &first[1..], &first[..first.len() - 3], "{\"chain\":\"\u{20AC}\"}"] {
            assert!(open(bad, "").is_err(), "{bad}");
        }
        assert_eq!(claimed(&first), Some(digest.as_str()));
    }
}
