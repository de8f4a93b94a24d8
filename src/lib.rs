//! `underlid` says, with evidence, whether the build of an opened battery pack supports its nameplate.
//!
//! Everything travels one way: **read** a record and its logs, **derive** what follows from them, **judge** it
//! against the rule book, **render** the write-up. Each room imports only rooms that stand before it here:
//! `thermal`, `units`, `record`, `physics`, `logs`, `evidence`, `judge`, `render`, `fill`, `cli`.
//!
//! This is a program and not a library for others: [`cli::run`] is the way in. What is public besides is what the
//! integration tests hold against references outside the project, and it changes without notice.
//!
//! ```
//! use std::path::Path;
//! use underlid::judge::inspection::{House, Inspection};
//! use underlid::render::OWN_WORDS;
//! use underlid::render::write_up::View;
//!
//! let folder = Path::new("example-inspections/harbour-24-150-rev-b");
//! let inspection = Inspection::open(folder, &House::default(), &OWN_WORDS)?;
//! let view = View::of(&inspection);
//! assert_eq!(view.title, "Harbour 24-150, revision B");
//! assert!(view.falls_short());
//! # Ok::<(), underlid::judge::inspection::OpenError>(())
//! ```

#![cfg_attr(
    not(all(feature = "collection", feature = "compare", feature = "fill")),
    allow(dead_code, unused_imports, reason = "what only a command uses that is left out")
)]

pub mod cli;
pub mod evidence;
#[cfg(feature = "fill")]
pub mod fill;
pub mod judge;
pub mod logs;
pub mod physics;
pub mod record;
pub mod render;
pub mod units;

pub use underlid_thermal as thermal;
