
/// Which mutant is on, and which were asked for.
#[allow(warnings)]
pub mod __mutants {
    extern crate std;
    use core::sync::atomic::{AtomicBool, AtomicUsize, Ordering::Relaxed};
    use std::sync::OnceLock;
    static CURRENT: AtomicUsize = AtomicUsize::new(usize::MAX);
    /// For a run that only learns what is asked for: one file that grows.
    static ASKED: [AtomicBool; 16_384] = [const { AtomicBool::new(false) }; 16_384];
    static LOG: OnceLock<std::fs::File> = OnceLock::new();

    #[inline]
    pub fn on(id: usize) -> bool {
        let current = CURRENT.load(Relaxed);
        if current == 0 || current == usize::MAX { slowly(id) } else { current == id }
    }

    #[cold]
    fn slowly(id: usize) -> bool {
        if CURRENT.load(Relaxed) == usize::MAX {
            let told = std::env::var("PAGEWISE_MUTANT").ok().and_then(|text| text.parse().ok());
            // One that is not there is on where none is.
            CURRENT.store(told.unwrap_or(usize::MAX - 1), Relaxed);
        }
        if CURRENT.load(Relaxed) == 0 && !ASKED[id].swap(true, Relaxed) {
            use std::io::Write;
            let path = || std::env::var("PAGEWISE_ASKED").unwrap();
            let open = || std::fs::OpenOptions::new().append(true).create(true).open(path()).unwrap();
            let mut log = LOG.get_or_init(open);
            log.write_all(std::format!("{id}\n").as_bytes()).unwrap();
        }
        CURRENT.load(Relaxed) == id
    }
}
