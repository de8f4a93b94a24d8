//! The write-up: one view model, several writers. Nothing here judges.
//!
//! [`View`] is what JSON prints and what the templates get; text, Markdown and HTML are siblings over it.

mod chart;
mod photos;
mod picture;
mod prose;
mod text;
mod view;
mod writeup;

pub use photos::PhotoView;
pub(crate) use photos::photos;
pub(crate) use picture::tick_step;
pub(crate) use text::plain;
pub use text::{Style, write_finding, write_text};
pub use view::{ClaimView, Counts, ElementView, PathView, View, Worth};
pub use writeup::{FOLDER, WriteUp, WriteUpError, in_words, save_write_up, write_up};
pub(crate) use writeup::{evidence, template};
