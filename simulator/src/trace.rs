//! The trace in other forms.

pub mod text;
