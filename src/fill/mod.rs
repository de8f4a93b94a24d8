//! Filling a record at the bench, in a terminal or on a page for a phone, so that nothing confirmed can be lost.
//!
//! One question at a time, in the order in which a lid comes off. Every answer is written to the record before it
//! is confirmed: the file is read again under a lock, one field is edited, the result must still read, and it is
//! put in place atomically. A power cut loses at most the answer being typed. Nothing is kept in memory that is not
//! also in the file, so that several people, several devices and an editor may work on one record.
//!
//! Refused: an answer that does not fit its field, an answer made upon a value that has changed meanwhile (both are
//! shown), a photo that is no picture, and any name that leads out of the folder.

mod answer;
mod bench_tests;
pub(crate) mod card;
pub mod checklist;
mod edits;
mod first;
mod journal;
mod judged;
mod lines;
#[cfg(feature = "measuring")]
pub(crate) mod measured;
#[cfg(feature = "page")]
pub(crate) mod page;
mod parts;
mod photo;
mod question;
mod same;
mod session;
mod sight;
mod subject;
pub mod terminal;
mod tie;

pub use question::{Applies, Key, Question};
pub use session::FillSession;
pub use sight::{Ask, FillError, First, Sight};
