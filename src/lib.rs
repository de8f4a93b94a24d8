//! `underlid` says, with evidence, whether the build of an opened battery pack supports its nameplate.
//!
//! Everything travels one way: **read** a record and its logs, **derive** what follows from them, **judge** it
//! against the rule book, **render** the write-up. Each room imports only rooms that stand before it here:
//! `units`, `record`, `physics`, `logs`, `evidence`, `judge`, `render`, `fill`, `cli`.

pub mod cli;
pub mod evidence;
pub mod fill;
pub mod judge;
pub mod logs;
pub mod physics;
pub mod record;
pub mod render;
pub mod units;
