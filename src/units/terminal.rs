//! The one door for text that goes to a terminal.
//!
//! A record, a log, a rule or a file name may come from a stranger. Printed raw, it can move the cursor, clear the
//! screen, fill the clipboard or turn the reading direction around, so that a message about a changed file reads as if
//! all were well. Everything that the program prints therefore passes through [`Terminal`], which lets line ends
//! through and no other character that a terminal obeys. Such a character is written as `\u001b`, which a JSON parser
//! reads as the same text.

use std::io::{self, StderrLock, StdoutLock, Write};
use std::path::Path;

/// True for a character that a terminal obeys instead of showing it: C0 and C1 controls (ECMA-48, from memory), line and
/// paragraph separator, and what turns the reading direction (UAX #9, from memory).
pub fn is_obeyed(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

/// Text from outside on one line: what a terminal obeys is written as an escape.
pub fn shown_text(text: &str) -> String {
    escaped(text, |_| false)
}

/// Text from outside whose line ends stand.
pub fn shown_lines(text: &str) -> String {
    escaped(text, |c| c == '\n')
}

/// A path as [`shown_text`]; bytes that are not UTF-8 as `�`.
pub fn shown(path: &Path) -> String {
    shown_text(&path.to_string_lossy())
}

/// Text from outside within a sentence: what a terminal obeys becomes a space.
pub fn plain(text: &str) -> String {
    text.replace(is_obeyed, " ")
}

fn escaped(text: &str, stands: impl Fn(char) -> bool) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            c if stands(c) || !is_obeyed(c) => out.push(c),
            '\n' => out.push_str("\\n"),
            '\t' => out.push_str("\\t"),
            '\r' => out.push_str("\\r"),
            // All of them lie in the basic plane, so that four digits are enough.
            c => out.push_str(&format!("\\u{:04x}", u32::from(c))),
        }
    }
    out
}

/// A file's text as a message may quote it: each character that a terminal obeys is replaced by one of the same length,
/// so that places counted in bytes stay right.
pub fn quotable(text: &str) -> String {
    let same_length = |c: char| match c {
        '\n' | '\t' => c,
        c if !is_obeyed(c) => c,
        c if c.len_utf8() == 1 => '?',
        c if c.len_utf8() == 2 => '¿',
        _ => '\u{fffd}',
    };
    text.chars().map(same_length).collect()
}

/// Writes text for people and machines to a stream that may be a terminal.
#[derive(Debug)]
pub struct Terminal<W> {
    to: W,
    /// The first bytes of a character whose others have not come yet.
    begun: Vec<u8>,
}

/// Bold and faint text, where colours are wanted.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Paint(pub(crate) bool);

impl Paint {
    pub(crate) fn bold(self, text: &str) -> String {
        if self.0 { format!("\u{1b}[1m{text}\u{1b}[0m") } else { text.to_owned() }
    }

    pub(crate) fn faint(self, text: &str) -> String {
        if self.0 { format!("\u{1b}[2m{text}\u{1b}[0m") } else { text.to_owned() }
    }
}

/// Standard output.
pub fn out() -> Terminal<StdoutLock<'static>> {
    Terminal::new(io::stdout().lock())
}

/// Standard error.
pub fn err() -> Terminal<StderrLock<'static>> {
    Terminal::new(io::stderr().lock())
}

impl<W: Write> Terminal<W> {
    /// A door before a stream.
    pub const fn new(to: W) -> Self {
        Self { to, begun: Vec::new() }
    }

    /// Writes text with the program's own colours: SGR sequences pass (ECMA-48, 8.3.117, from memory). What it holds of a
    /// stranger's text must have gone through [`plain`] or [`shown_text`] before it was coloured.
    pub fn styled(&mut self, text: &str) -> io::Result<()> {
        let mut rest = text;
        while let Some((before, after)) = rest.split_once("\u{1b}[") {
            self.text(before)?;
            match after.find(|c: char| !(c.is_ascii_digit() || c == ';')) {
                Some(end) if after[end..].starts_with('m') => {
                    write!(self.to, "\u{1b}[{}m", &after[..end])?;
                    rest = &after[end + 1..];
                }
                _ => {
                    self.text("\u{1b}[")?;
                    rest = after;
                }
            }
        }
        self.text(rest)
    }

    /// Goes back to the start of the line and clears it, for a line that tells how far something has come.
    pub fn again(&mut self) -> io::Result<()> {
        self.to.write_all(b"\r\x1b[K")
    }

    fn text(&mut self, text: &str) -> io::Result<()> {
        if text.chars().all(|c| c == '\n' || !is_obeyed(c)) {
            return self.to.write_all(text.as_bytes());
        }
        // A tab is only ever layout: within JSON it is written as an escape before it gets here.
        self.to.write_all(shown_lines(&text.replace('\t', " ").replace("\r\n", "\n")).as_bytes())
    }
}

impl<W: Write> Write for Terminal<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let begun = std::mem::take(&mut self.begun);
        let all = if begun.is_empty() { bytes.to_vec() } else { [begun.as_slice(), bytes].concat() };
        // A character may be cut by whoever writes in pieces.
        let end = match std::str::from_utf8(&all) {
            Err(error) if error.error_len().is_none() => error.valid_up_to(),
            _ => all.len(),
        };
        let (whole, rest) = all.split_at(end);
        self.begun = rest.to_vec();
        self.text(&String::from_utf8_lossy(whole))?;
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        self.to.flush()
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
            ("a\u{1b}[2Kb", "a\\u001b[2Kb"),
            ("a\u{9b}2Kb", "a\\u009b2Kb"),
            ("a\nunchanged", "a\\nunchanged"),
            ("gpj.\u{202e}exe", "gpj.\\u202eexe"),
        ] {
            assert_eq!(shown(Path::new(name)), expected);
        }
    }

    #[test]
    fn line_ends_pass_and_nothing_else_does() {
        let mut door = Terminal::new(Vec::new());
        for piece in ["Meets\n", "\u{1b}]52;c;cm0=\u{7}", "\u{9b}2J\r\u{7f}", "\ta\u{2066}b\u{61c}\n"] {
            write!(door, "{piece}").unwrap();
        }
        let expected = "Meets\n\\u001b]52;c;cm0=\\u0007\\u009b2J\\r\\u007f a\\u2066b\\u061c\n";
        assert_eq!(String::from_utf8(door.to).unwrap(), expected);
    }

    #[test]
    fn a_character_that_comes_in_pieces_is_still_looked_at() {
        let mut door = Terminal::new(Vec::new());
        for byte in "é\u{9b}\u{202e}.".bytes() {
            assert_eq!(door.write(&[byte]).unwrap(), 1);
        }
        assert_eq!(String::from_utf8(door.to).unwrap(), "é\\u009b\\u202e.");
    }

    #[test]
    fn own_colours_pass_where_they_are_asked_for() {
        let mut door = Terminal::new(Vec::new());
        door.styled("\u{1b}[1mbold\u{1b}[0m \u{1b}[2J \u{1b}[38;5;1mred \u{1b}").unwrap();
        let expected = "\u{1b}[1mbold\u{1b}[0m \\u001b[2J \u{1b}[38;5;1mred \\u001b";
        assert_eq!(String::from_utf8(door.to).unwrap(), expected);
        let mut door = Terminal::new(Vec::new());
        write!(door, "\u{1b}[1mbold").unwrap();
        assert_eq!(door.to, b"\\u001b[1mbold");
    }

    #[test]
    fn what_is_quoted_keeps_its_places() {
        let text = "a\u{1b}[2J\u{9b}\u{202e}\n\tb";
        assert_eq!(quotable(text), "a?[2J¿\u{fffd}\n\tb");
        assert_eq!(quotable(text).len(), text.len());
    }
}
