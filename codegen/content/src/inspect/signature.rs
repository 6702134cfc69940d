//! Blocks that a layout describes by a signature, wherever they lie: a start-up bitstream, or any other.
//!
//! A signature says that a block is there, not where it begins. Borders are exact where the whole block is known (from the
//! file that the layout names), and the region's own where the signature lies inside the place that the layout gives;
//! elsewhere only the signature's own borders are told.

use schemars::JsonSchema;
use serde::Serialize;

use super::{Certainty, Content, Found, found};

/// Places of one signature that are told one by one; a shorter signature than a block deserves is found in many.
const MOST: usize = 16;

/// What is looked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sought {
    /// Region of the layout.
    pub region: String,
    /// Bytes by which it is recognised; none: it is found nowhere.
    pub signature: Vec<u8>,
    /// Bytes of the region.
    pub length: u32,
    /// Where the layout places it, where that is known.
    pub offset: Option<u32>,
    /// Where it lay in an old part, where the layout says so.
    pub at: Option<u32>,
    /// The block itself and where it comes from, where the layout names a file.
    pub whole: Option<(String, Vec<u8>)>,
}

/// What became of a signature.
#[derive(Debug, Clone, PartialEq, Eq, JsonSchema, Serialize)]
pub struct Sighting {
    /// Region of the layout.
    pub region: String,
    /// Its signature in hexadecimal digits.
    pub signature: String,
    /// Where the layout places the region.
    pub offset: Option<u32>,
    /// Where it lay in an old part, as the layout says.
    pub at: Option<u32>,
    /// How often the signature was found.
    pub count: u32,
    /// Where that is.
    pub place: Place,
}

/// Where a block was found, as seen from the layout.
#[derive(Debug, Clone, Copy, PartialEq, Eq, JsonSchema, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Place {
    /// Where the layout says.
    AsStated,
    /// Elsewhere only.
    Elsewhere,
    /// The layout leaves open where.
    Open,
    /// Nowhere.
    Nowhere,
}

impl Sought {
    /// The signature in hexadecimal digits.
    #[must_use]
    pub fn digits(&self) -> String {
        let digits: Vec<String> = self.signature.iter().map(|byte| format!("{byte:02X}")).collect();
        digits.join(" ")
    }

    /// The place that the layout gives inside which these bytes lie.
    fn stated(&self, from: usize, bytes: usize) -> Option<u32> {
        let inside = |place: &u32| from >= *place as usize && from + bytes <= (*place + self.length) as usize;
        [self.offset, self.at].into_iter().flatten().find(inside)
    }

    /// What is told of the signature at `at`, and whether it is where the layout says.
    fn seen(&self, dump: &[u8], at: usize) -> (Found, bool) {
        let (region, digits) = (self.region.clone(), self.digits());
        let content = Content::Signed { region, signature_at: at as u32 };
        let inside =
            self.whole.as_ref().and_then(|(file, whole)| Some((file, whole, position(whole, &self.signature)?)));
        let whole = inside.and_then(|(file, whole, inside)| {
            let begin = at.checked_sub(inside)?;
            dump[begin..].starts_with(whole).then_some((file, whole.len(), begin))
        });
        if let Some((file, length, begin)) = whole {
            let because = format!("all {length} bytes of {file}, with {digits} at {at:#06x}");
            let stated = [self.offset, self.at].contains(&Some(begin as u32));
            return (found(content, begin, length, Certainty::Certain, because), stated);
        }
        let other = inside.map_or_else(String::new, |(file, ..)| format!("; these are not the bytes of {file}"));
        if let Some(place) = self.stated(at, self.signature.len()) {
            let (begin, end) = (place as usize, dump.len().min((place + self.length) as usize));
            let because = format!("{digits} at {at:#06x}, inside the region as the layout places it{other}");
            return (found(content, begin, end - begin, Certainty::Likely, because), true);
        }
        let begin = inside.and_then(|(file, _, inside)| Some((file, at.checked_sub(inside)?)));
        let borders = match begin {
            Some((file, begin)) => format!("the block begins at {begin:#06x} if that lies as deep in it as in {file}"),
            None => "where the block begins and ends is not known".to_owned(),
        };
        let because = format!("{digits}{other}; {borders}");
        (found(content, at, self.signature.len(), Certainty::Possible, because), false)
    }

    /// What is found of it, and what became of the signature.
    pub(super) fn find(&self, dump: &[u8]) -> (Vec<Found>, Sighting) {
        let (mut all, mut count, mut as_stated, mut from) = (Vec::new(), 0, false, 0);
        while let Some(at) = position(&dump[from..], &self.signature).map(|at| from + at) {
            let (seen, stated) = self.seen(dump, at);
            count += 1;
            as_stated |= stated;
            from = (at + self.signature.len()).max((seen.offset + seen.length) as usize);
            if all.len() < MOST || stated {
                all.push(seen);
            }
        }
        let place = match (count, as_stated) {
            (0, _) => Place::Nowhere,
            (_, true) => Place::AsStated,
            _ if self.offset.or(self.at).is_none() => Place::Open,
            _ => Place::Elsewhere,
        };
        let (region, signature) = (self.region.clone(), self.digits());
        (all, Sighting { region, signature, offset: self.offset, at: self.at, count, place })
    }
}

/// Where bytes stand for the first time.
pub(crate) fn position(bytes: &[u8], sought: &[u8]) -> Option<usize> {
    (!sought.is_empty()).then(|| bytes.windows(sought.len()).position(|window| window == sought)).flatten()
}
