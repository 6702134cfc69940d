//! The door of the player for a page in the browser: a question as JSON in, an answer as JSON out.
//!
//! `reserve(n)` says where `n` bytes of a question may be put, `ask(n)` answers it and says how long the answer is,
//! `answer()` says where it stands. Questions and answers are those of [`pagewise_player::talk`].

use std::cell::RefCell;

use pagewise_player::talk::Desk;

thread_local! {
    static DESK: RefCell<Desk> = RefCell::new(Desk::default());
    static QUESTION: RefCell<Vec<u8>> = const { RefCell::new(Vec::new()) };
    static ANSWER: RefCell<String> = const { RefCell::new(String::new()) };
}

/// Where the bytes of the next question go.
#[unsafe(no_mangle)]
pub extern "C" fn reserve(bytes: usize) -> *mut u8 {
    QUESTION.with_borrow_mut(|question| {
        question.clear();
        question.resize(bytes, 0);
        question.as_mut_ptr()
    })
}

/// Answers the question; returns the bytes of the answer.
#[unsafe(no_mangle)]
pub extern "C" fn ask() -> usize {
    let question = QUESTION.take();
    let answer = DESK.with_borrow_mut(|desk| desk.ask(&question));
    let bytes = answer.len();
    ANSWER.set(answer);
    bytes
}

/// Where the answer stands, until the next question.
#[unsafe(no_mangle)]
pub extern "C" fn answer() -> *const u8 {
    ANSWER.with_borrow(|answer| answer.as_ptr())
}
