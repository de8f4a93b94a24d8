//! The write-up: one view model, several writers. Nothing here judges.
//!
//! [`View`] is what JSON prints and what the templates get; text, Markdown and HTML are siblings over it.

mod answers;
mod causes;
mod claims;
mod looks;
pub(crate) mod photos;
pub(crate) mod picture;
pub(crate) mod prose;
pub(crate) mod protection;
mod text;
mod view;
mod writeup;

pub(crate) use causes::CauseView;
pub(crate) use causes::causes;
pub(crate) use claims::{ClaimView, in_plain_names};
pub(crate) use looks::{decides_line, looks_of, write_looks};
#[cfg(feature = "page")]
pub(crate) use looks::{look_line, photos_line};
#[cfg(feature = "video")]
pub(crate) use photos::PhotoView;
pub(crate) use photos::{PointerView, photos};
pub(crate) use text::{Style, write_finding, write_text};
pub use view::View;
pub(crate) use view::{AnswerView, ElementView, FindingCounts, Worth};
pub(crate) use writeup::{
    ANSWERS, CAUSES, CLAIMS, Engine as WriteUpEngine, FORM_STYLE, LEAD, TEMPLATES, TestAnswer, csv_name,
    engine, is_curve, record_hash, squeeze, style, template, template_texts, template_words, test_answers,
};
pub(crate) use writeup::{FOLDER, WriteUp, WriteUpError, in_words, save_write_up, write_up};
#[cfg(feature = "video")]
pub(crate) use writeup::{curves, evidence};
