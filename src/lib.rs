//! `underlid` says, with evidence, whether the build of an opened battery pack supports its nameplate.
//!
//! Everything travels one way: **read** a record, **derive** what follows from it, **judge** it
//! against the rule book, **render** the write-up.

#![forbid(unsafe_code)]
#![warn(missing_docs)]

pub mod appendix;
pub mod bench;
pub mod checklist;
pub mod cli;
pub mod collection;
pub mod compare;
pub mod derive;
pub mod evidence;
pub mod fill;
pub mod inspection;
mod markup;
pub mod path;
pub mod physics;
pub mod price;
pub mod problem;
pub mod quantity;
pub mod record;
pub mod redact;
pub mod report;
pub mod rig;
pub mod rules;
pub mod save;
pub mod trial;
pub mod words;
