//! A file that knows how much of it has been read.

use std::cell::Cell;
use std::fs::File;
use std::io::{self, Read};
use std::rc::Rc;

pub(crate) struct Counted {
    file: File,
    read: Rc<Cell<u64>>,
}

/// How far a [`Counted`] file is.
#[derive(Debug, Clone)]
pub(crate) struct Progress {
    read: Rc<Cell<u64>>,
    total: u64,
}

impl Progress {
    pub(crate) fn share(&self) -> f64 {
        if self.total == 0 { 1.0 } else { (self.read.get() as f64 / self.total as f64).min(1.0) }
    }
}

impl Counted {
    pub(crate) fn new(file: File) -> io::Result<(Self, Progress)> {
        let read = Rc::new(Cell::new(0));
        let progress = Progress { read: read.clone(), total: file.metadata()?.len() };
        Ok((Self { file, read }, progress))
    }
}

impl Read for Counted {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let n = self.file.read(into)?;
        self.read.set(self.read.get() + n as u64);
        Ok(n)
    }
}
