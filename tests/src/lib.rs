//! Cross-room tests.
