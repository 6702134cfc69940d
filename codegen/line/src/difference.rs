//! Where two memories differ: stretches with what was expected and what was found.

use schemars::JsonSchema;
use serde::Serialize;

/// A stretch of bytes that all differ.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Difference {
    /// First byte.
    pub offset: u32,
    /// Bytes in hexadecimal, as they should be.
    #[serde(serialize_with = "hex")]
    #[schemars(with = "String")]
    pub expected: Vec<u8>,
    /// Bytes in hexadecimal, as they are.
    #[serde(serialize_with = "hex")]
    #[schemars(with = "String")]
    pub found: Vec<u8>,
}

fn hex<S: serde::Serializer>(bytes: &[u8], serializer: S) -> Result<S::Ok, S::Error> {
    serializer.serialize_str(&bytes.iter().map(|byte| format!("{byte:02x}")).collect::<String>())
}

/// Stretches in which `found`, which begins at `offset`, differs from `expected`.
#[must_use]
pub fn differences(offset: u32, expected: &[u8], found: &[u8]) -> Vec<Difference> {
    let mut all: Vec<Difference> = Vec::new();
    for (index, (wanted, is)) in expected.iter().zip(found).enumerate() {
        if wanted == is {
            continue;
        }
        let at = offset.wrapping_add(index as u32);
        match all.last_mut() {
            Some(last) if last.offset.wrapping_add(last.found.len() as u32) == at => {
                last.expected.push(*wanted);
                last.found.push(*is);
            }
            _ => all.push(Difference { offset: at, expected: vec![*wanted], found: vec![*is] }),
        }
    }
    all
}

/// Bytes that differ in all.
#[must_use]
pub fn count(differences: &[Difference]) -> usize {
    differences.iter().map(|difference| difference.found.len()).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn differing_bytes_side_by_side_are_one_stretch() {
        let found = differences(0x100, &[1, 2, 3, 4, 5, 6], &[1, 9, 8, 4, 5, 7]);
        let places: Vec<_> = found.iter().map(|d| (d.offset, d.expected.clone(), d.found.clone())).collect();
        assert_eq!(places, [(0x101, vec![2, 3], vec![9, 8]), (0x105, vec![6], vec![7])]);
        assert_eq!(count(&found), 3);
    }
}
