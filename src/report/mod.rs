//! The write-up: one view model, several writers. Nothing here judges.
//!
//! [`View`] is what JSON prints and what the templates get; text, Markdown and HTML are siblings over it.

mod text;
mod view;

pub use text::{Style, write_text};
pub use view::{ClaimView, Counts, ElementView, PathView, View, Worth};
