//! Pagewise.
