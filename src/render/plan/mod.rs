//! The sheet of a planned bench session with its judged rig, as text and as a form for print.

mod html;
mod text;

pub use html::write_html;
pub use text::write_text;
