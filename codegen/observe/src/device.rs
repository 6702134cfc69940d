//! What one device address is used for.

use std::collections::{BTreeMap, BTreeSet};

use pagewise_simulator::recording::{BusSegment, SegmentEnd};

use crate::property::{At, Certainty, Moments};
use crate::stats::Range;
use crate::view::View;

/// Word-address bytes that are tried.
pub(crate) const HEADERS: [u8; 3] = [1, 2, 3];
/// Different headers that are told apart.
const KEPT: usize = 64;
/// Bits for a header of another length than the device takes.
const ODD_HEADER: u64 = 6;
/// Bits for a refusal that no write cycle explains, and how many of them count.
const IDLE_REFUSAL: u64 = 30;

/// The last message to a device, while it can be the header of what follows.
#[derive(Debug, Clone)]
struct Message {
    bytes: Vec<u8>,
    restart: bool,
    acked: bool,
}

/// A device address and its traffic.
#[derive(Debug, Clone)]
pub(crate) struct Device {
    pub(crate) address: u8,
    pub(crate) views: Vec<View>,
    pub(crate) answered: u64,
    pub(crate) refused: u64,
    pub(crate) answered_at: Moments,
    pub(crate) refused_at: Moments,
    /// Headers in front of reads, by their length.
    headers: BTreeMap<usize, BTreeSet<Vec<u8>>>,
    /// Messages that repeat the beginning of the one before, as polls do; one alone may be chance.
    polls: BTreeMap<usize, BTreeSet<Vec<u8>>>,
    /// Different messages, by their length, while nothing else tells the length of a header.
    messages: BTreeMap<usize, BTreeSet<Vec<u8>>>,
    pub(crate) written: Range,
    pub(crate) read: Range,
    /// Data in a message of its own behind a repeated START, and with the header in one message.
    pub(crate) restarted: u64,
    pub(crate) restarted_at: Moments,
    pub(crate) whole: u64,
    pub(crate) whole_at: Moments,
    /// Reads without word address directly after a write.
    pub(crate) read_on: u64,
    pub(crate) read_on_at: Moments,
    /// Data bytes that were not acknowledged.
    pub(crate) data_refused: Moments,
    last: Option<Message>,
    wrote_last: bool,
}

/// How many word-address bytes a device takes, and how sure that is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Width {
    pub(crate) bytes: u8,
    pub(crate) sure: Certainty,
    pub(crate) moments: Moments,
    pub(crate) why: String,
}

impl Device {
    pub(crate) fn new(address: u8) -> Self {
        Self {
            address,
            views: HEADERS.map(View::new).to_vec(),
            answered: 0,
            refused: 0,
            answered_at: Moments::default(),
            refused_at: Moments::default(),
            headers: BTreeMap::new(),
            polls: BTreeMap::new(),
            messages: BTreeMap::new(),
            written: Range::default(),
            read: Range::default(),
            restarted: 0,
            restarted_at: Moments::default(),
            whole: 0,
            whole_at: Moments::default(),
            read_on: 0,
            read_on_at: Moments::default(),
            data_refused: Moments::default(),
            last: None,
            wrote_last: false,
        }
    }

    pub(crate) fn forget_pointer(&mut self) {
        (self.last, self.wrote_last) = (None, false);
        self.views.iter_mut().for_each(View::forget_pointer);
    }

    pub(crate) fn forget(&mut self) {
        self.forget_pointer();
        self.views.iter_mut().for_each(View::forget);
    }

    /// Another stretch of the bus went elsewhere: a header sent before it is not a header of what follows.
    pub(crate) fn elsewhere(&mut self) {
        if let Some(last) = &mut self.last {
            last.restart = false;
        }
    }

    /// Its address was refused; `shared[i]` if, seen with the header of view `i`, a write to the same chip explains it.
    pub(crate) fn refuse(&mut self, start: At, eighth_ns: u64, shared: &[bool]) {
        self.refused += 1;
        self.refused_at.add(start);
        self.elsewhere();
        let known = self.answered > 0;
        for (view, shared) in self.views.iter_mut().zip(shared) {
            if view.waits.is_pending() {
                view.waits.refused(start, eighth_ns);
            } else if known && !shared {
                view.refused_idle += 1;
                view.refused_idle_at.get_or_insert(start);
            }
        }
    }

    /// Its address was acknowledged.
    pub(crate) fn answer(&mut self, segment: &BusSegment, start: At, eighth_ns: u64, end: At) {
        self.answered += 1;
        self.answered_at.add(start);
        let before = self.last.take();
        if segment.is_read() {
            self.reads(segment, before, start, eighth_ns);
        } else {
            self.writes(segment, before, start, eighth_ns, end);
        }
    }

    fn reads(&mut self, segment: &BusSegment, before: Option<Message>, start: At, eighth_ns: u64) {
        let header = before.filter(|message| message.restart && message.acked);
        if let Some(message) = &header {
            note(&mut self.headers, &message.bytes);
        } else if core::mem::take(&mut self.wrote_last) {
            self.read_on += 1;
            self.read_on_at.add(start);
        }
        self.wrote_last = false;
        self.read.add(segment.len, start);
        let idle = header.is_none() && segment.len <= 1;
        for view in &mut self.views {
            view.waits.answered(start, eighth_ns, true, segment.bytes.len(), idle);
            view.read(self.address, &segment.bytes, start);
        }
    }

    fn writes(&mut self, segment: &BusSegment, before: Option<Message>, start: At, eighth_ns: u64, end: At) {
        let bytes = &segment.bytes;
        let acked = bytes.is_empty() || segment.last_acked;
        if !acked {
            self.data_refused.add(end);
        }
        if let Some(message) = &before {
            self.relate(message, bytes, start, segment.end == SegmentEnd::Stop);
        }
        if !bytes.is_empty() {
            self.written.add(segment.len, start);
        }
        let stopped = segment.end == SegmentEnd::Stop;
        for view in &mut self.views {
            let idle = stopped && bytes.len() <= usize::from(view.header);
            view.waits.answered(start, eighth_ns, false, bytes.len(), idle);
            if !stopped || segment.cut_bits > 0 {
                view.point(bytes);
            } else if !bytes.is_empty() {
                view.write(self.address, bytes, acked, start);
                if bytes.len() > usize::from(view.header) && acked {
                    view.waits.wrote(end, bytes.len());
                }
            }
        }
        self.wrote_last = stopped && acked && bytes.len() >= 2;
        if stopped && bytes.len() >= 2 {
            note(&mut self.messages, bytes);
            self.whole += 1;
            self.whole_at.add(start);
        }
        self.last = Some(Message { bytes: bytes.clone(), restart: segment.end == SegmentEnd::Restart, acked });
    }

    /// What the message before has to do with this one.
    fn relate(&mut self, before: &Message, bytes: &[u8], start: At, stopped: bool) {
        let header = (1..=3).contains(&before.bytes.len());
        if before.restart && before.acked && header && stopped && !bytes.is_empty() {
            self.restarted += 1;
            self.restarted_at.add(start);
            note(&mut self.headers, &before.bytes);
        }
        // A poll repeats the word address of the write before it, and nothing else.
        let repeats = !before.restart && before.bytes.len() > bytes.len() && before.bytes.starts_with(bytes);
        if repeats && stopped && !bytes.is_empty() {
            note(&mut self.polls, bytes);
        }
    }

    /// Lengths of word addresses that were sent, and how many different ones of each.
    fn header_kinds(&self) -> BTreeMap<usize, usize> {
        let mut kinds: BTreeMap<usize, usize> = self.headers.iter().map(|(len, set)| (*len, set.len())).collect();
        for (len, set) in self.polls.iter().filter(|(_, set)| set.len() >= 2) {
            *kinds.entry(*len).or_default() += set.len();
        }
        kinds
    }

    /// Bits of coincidence that the shape of the messages needs if the device takes `header` word-address bytes.
    fn odd(&self, header: u8) -> u64 {
        let header = usize::from(header);
        let odd = |kinds: BTreeMap<usize, usize>, is_odd: &dyn Fn(usize) -> bool| -> u64 {
            let different = kinds.iter().filter(|(len, _)| is_odd(**len)).map(|(_, count)| *count.min(&3) as u64);
            ODD_HEADER * different.sum::<u64>()
        };
        if self.takes_headers() {
            odd(self.header_kinds(), &|len| len != header)
        } else {
            // Messages that hold no more than a word address, and no read after them, would have no purpose.
            odd(self.messages.iter().map(|(len, set)| (*len, set.len())).collect(), &|len| len <= header)
        }
    }

    /// Bits of coincidence that what was read and refused needs.
    fn cost(view: &View) -> u64 {
        view.cost + IDLE_REFUSAL * view.refused_idle.min(2)
    }

    /// The number of word-address bytes that explains the traffic best.
    pub(crate) fn width(&self) -> Option<Width> {
        let transfers = self.written.count + self.read.count;
        if transfers == 0 || (!self.takes_headers() && self.messages.is_empty()) {
            return None;
        }
        let total = |view: &View| Self::cost(view) + self.odd(view.header);
        let sent = self.header_kinds();
        let cheapest = self.views.iter().min_by_key(|view| total(view))?;
        // What the firmware sends is a fact; memory that fits another number better only makes it unsure.
        let fits = |view: &&View| sent.is_empty() || sent.contains_key(&usize::from(view.header));
        let best = self.views.iter().filter(fits).min_by_key(|view| total(view)).unwrap_or(cheapest);
        let others = || self.views.iter().filter(|view| view.header != best.header);
        let by_data = others().map(|view| Self::cost(view).saturating_sub(Self::cost(best))).min()?;
        let by_all = others().map(|view| total(view).saturating_sub(total(best))).min()?;
        let bytes = best.header;
        let kinds = self.header_kinds().get(&usize::from(bytes)).copied().unwrap_or(0);
        let read_so = kinds > 0 && best.confirmed >= 4;
        if by_data >= 40 && read_so {
            let mut moments = best.confirmed_at.clone();
            others()
                .filter_map(|view| view.first_contradiction.or(view.refused_idle_at))
                .for_each(|at| moments.add(at));
            let why = format!(
                "{} bytes read are as written or read before with {bytes}; any other number needs {by_data} bits of \
                 coincidence more",
                best.confirmed
            );
            return Some(Width { bytes, sure: Certainty::Shown, moments, why });
        }
        // Reads that send no word address may belong to a part that takes none.
        let none_sent = !self.takes_headers() && self.read.count > 0;
        let sure = if by_all >= 12 && !none_sent { Certainty::Likely } else { Certainty::Guess };
        let why = match kinds {
            0 => "shortest reading of the messages sent".to_owned(),
            kinds => {
                format!("{kinds} different word addresses of {bytes} bytes were sent; what was read does not decide")
            }
        };
        Some(Width { bytes, sure, moments: self.answered_at.clone(), why })
    }

    /// Whether a word address was ever sent in front of a read or as a poll.
    pub(crate) fn takes_headers(&self) -> bool {
        !self.header_kinds().is_empty()
    }

    pub(crate) fn view(&self, header: u8) -> Option<&View> {
        self.views.iter().find(|view| view.header == header)
    }
}

fn note(kinds: &mut BTreeMap<usize, BTreeSet<Vec<u8>>>, bytes: &[u8]) {
    let len = bytes.len();
    if kinds.len() < KEPT || kinds.contains_key(&len) {
        let set = kinds.entry(len).or_default();
        if set.len() < KEPT && len <= 64 {
            set.insert(bytes.to_vec());
        }
    }
}
