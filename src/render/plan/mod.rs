//! The sheet of a planned bench session with its judged rig, as text and as Markdown.

mod markdown;
mod text;

pub use markdown::write_markdown;
pub use text::write_text;
