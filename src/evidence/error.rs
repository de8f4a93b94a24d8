//! What every part of the evidence module needs to speak of a file: its name made safe for a
//! terminal, and the one error for "the system refused".
//!
//! A file name on Unix is any bytes but `/` and NUL. Printed raw, a name can move the cursor,
//! colour the screen or turn the reading direction around, so that a message about a changed file
//! reads as if all were well. Names are therefore always shown through [`shown`].

use std::io;
use std::path::{Path, PathBuf};

/// A path as text for people: control characters and those that reverse the reading direction are
/// written as escapes, bytes that are not UTF-8 as `�`.
pub fn shown(path: &Path) -> String {
    shown_text(&path.to_string_lossy())
}

/// Text from outside, made fit for a terminal in the same way as [`shown`].
pub fn shown_text(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        let turns_direction =
            matches!(c, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
        if c.is_control() || turns_direction {
            out.extend(c.escape_default());
        } else {
            out.push(c);
        }
    }
    out
}

/// The system refused to do something with a file or folder.
#[derive(Debug, thiserror::Error)]
#[error("cannot {action} {}: {source}", shown(path))]
pub struct FileError {
    /// What was tried, as a verb phrase: "read", "create", "rename the new file to".
    pub action: &'static str,
    /// The file or folder it was tried on.
    pub path: PathBuf,
    /// What the system said.
    pub source: io::Error,
}

impl FileError {
    /// For `map_err`: ties a system error to what was being done, and to which file.
    pub(crate) fn on(action: &'static str, path: &Path) -> impl FnOnce(io::Error) -> FileError {
        let path = path.to_path_buf();
        move |source| FileError { action, path, source }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_cannot_play_tricks_on_a_terminal() {
        for (name, expected) in [
            ("photos/bar 1.jpg", "photos/bar 1.jpg"),
            ("photos/Schütz.jpg", "photos/Schütz.jpg"),
            ("a\u{1b}[2Kb", "a\\u{1b}[2Kb"),
            ("a\nunchanged", "a\\nunchanged"),
            ("gpj.\u{202e}exe", "gpj.\\u{202e}exe"),
        ] {
            assert_eq!(shown(Path::new(name)), expected);
        }
    }
}
