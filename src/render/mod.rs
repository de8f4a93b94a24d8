//! Rendering: what was judged, put before a reader. Nothing here decides anything.

pub mod collection;
pub mod compare;
mod draw;
pub(crate) mod markup;
#[cfg(feature = "video")]
pub(crate) mod video;
pub mod write_up;
