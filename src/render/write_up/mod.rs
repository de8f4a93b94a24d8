//! The write-up: one view model, several writers. Nothing here judges.
//!
//! [`View`] is what JSON prints and what the templates get; text, Markdown and HTML are siblings over it.

mod claims;
pub(crate) mod photos;
pub(crate) mod picture;
pub(crate) mod prose;
mod text;
mod view;
mod writeup;

pub use claims::ClaimView;
pub(crate) use photos::photos;
pub use photos::{NotShown, PhotoView, PointerView, photo_copy};
pub(crate) use prose::escape as escape_markdown;
pub use text::{Style, write_finding, write_text};
pub use view::{ElementView, FindingCounts, PathView, PlaceView, View, Worth};
pub use writeup::{FOLDER, WriteUp, WriteUpError, in_words, save_write_up, write_up};
pub(crate) use writeup::{TEMPLATES, csv_name, engine, squeeze, template_texts, template_words};
#[cfg(feature = "video")]
pub(crate) use writeup::{evidence, template};
