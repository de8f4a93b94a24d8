//! Photos, logs and hashes: what ties a claim in the write-up to a file that anyone can check.
//!
//! The flow through this folder: [`folder`] says which files are evidence, [`hash`] reads them
//! once, [`manifest`] writes down what was read, [`verify`] compares the two later, [`fields`] makes a hash tree of the
//! record, [`seals`] chains what was sealed and published, [`signature`] (made by [`sign`]) says who sealed it, [`timestamp`] asks for a trusted time, [`bag`] packs all of it for an archive. Beside that, [`exif`] reads what a photo
//! says of itself, [`photos`] puts a card full of photos in order, and [`picture`] makes the
//! copies that are fit to publish. `scale` measures in them. [`arrival`] holds photos against the digests that the record
//! took down when they came in.
//!
//! An inspection folder may come from anybody, so nothing here follows a link, trusts a name or a
//! length written in a file, or changes an original.

pub(crate) mod arrival;
pub mod bag;
pub(crate) mod exif;
pub(crate) mod fields;
pub(crate) mod folder;
pub mod hash;
pub mod manifest;
pub mod name;
mod named;
pub(crate) mod photos;
pub mod picture;
pub(crate) mod quality;
#[cfg(feature = "measuring")]
pub(crate) mod scale;
pub(crate) mod seals;
#[cfg(feature = "signatures")]
pub mod sign;
pub mod signature;
pub(crate) mod timestamp;
pub mod verify;
pub(crate) mod whole;

mod atomic;

pub use signature::Signed;
