//! Lines broken between words at the width of the terminal, with what follows under the text it belongs to.
//!
//! Only for a terminal: in a pipe every line stays whole, so that a test and a screen reader see the same as before.

use std::io::{self, Write};

use textwrap::{Options, wrap};

/// Narrower than this nothing is gained by breaking lines.
const NARROWEST: usize = 20;

/// A writer that breaks lines. What has no line end yet, a prompt, is passed on when it is flushed.
pub struct Wrapped<W: Write> {
    out: W,
    /// Columns of the terminal, asked for at every line: a window may be resized.
    columns: fn() -> Option<usize>,
    line: Vec<u8>,
}

impl<W: Write> Wrapped<W> {
    /// Breaks what is written to `out` at as many columns as `columns` says; not at all where it does not know.
    pub const fn new(out: W, columns: fn() -> Option<usize>) -> Self {
        Self { out, columns, line: Vec::new() }
    }

    fn put(&mut self) -> io::Result<()> {
        let line = std::mem::take(&mut self.line);
        let broken = match ((self.columns)(), std::str::from_utf8(&line)) {
            (Some(columns), Ok(text)) if columns >= NARROWEST => broken(text, columns),
            _ => return self.out.write_all(&line),
        };
        self.out.write_all(broken.as_bytes())
    }
}

impl<W: Write> Write for Wrapped<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        for piece in bytes.split_inclusive(|byte| *byte == b'\n') {
            self.line.extend_from_slice(piece);
            if piece.ends_with(b"\n") {
                self.put()?;
            }
        }
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        self.put()?;
        self.out.flush()
    }
}

fn broken(line: &str, columns: usize) -> String {
    let (text, end) = match line.strip_suffix('\n') {
        Some(text) => (text, "\n"),
        None => (line, ""),
    };
    if textwrap::core::display_width(text) <= columns {
        return line.to_owned();
    }
    let indent = " ".repeat(hang(text, columns));
    let options = Options::new(columns).subsequent_indent(&indent);
    wrap(text, options).join("\n") + end
}

/// How far the lines that follow are set in: under the second column where there is one, else a little further than
/// the line itself.
fn hang(text: &str, columns: usize) -> usize {
    let own = text.len() - text.trim_start_matches(' ').len();
    let words = text.get(own..).unwrap_or_default();
    let second = words.find("   ").map(|gap| {
        let rest = words.get(gap..).unwrap_or_default();
        own + gap + rest.len() - rest.trim_start_matches(' ').len()
    });
    match second.filter(|second| *second <= columns / 2) {
        Some(second) => second,
        None if own > columns / 2 => 4,
        // Help on what was typed in the line before stands in the second column already.
        None if own > 8 => own,
        None => own + if own > 0 { 4 } else { 0 },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_break_between_words() {
        for (line, columns, wanted) in [
            ("short\n", 40, "short\n"),
            ("1  Kind of pack that is asked for?\n", 24, "1  Kind of pack that is\nasked for?\n"),
            (
                "    look: a finished pack with two terminals\n",
                30,
                "    look: a finished pack with\n        two terminals\n",
            ),
            (
                "  photo FILE    a photo of the part, copied and hashed\n",
                40,
                "  photo FILE    a photo of the part,\n                copied and hashed\n",
            ),
            ("prompt> ", 40, "prompt> "),
        ] {
            assert_eq!(broken(line, columns), wanted, "{line} at {columns}");
        }
    }

    #[test]
    fn a_pipe_gets_every_line_whole_and_a_prompt_at_once() {
        let long = "word ".repeat(60);
        let mut out = Vec::new();
        let mut whole = Wrapped::new(&mut out, || None);
        write!(whole, "{long}\nprompt> ").unwrap();
        whole.flush().unwrap();
        assert_eq!(String::from_utf8(out).unwrap(), format!("{long}\nprompt> "));
        let mut out = Vec::new();
        let mut narrow = Wrapped::new(&mut out, || Some(40));
        writeln!(narrow, "{long}").unwrap();
        let text = String::from_utf8(out).unwrap();
        assert!(text.lines().all(|line| line.len() <= 40) && text.lines().count() > 6, "{text}");
    }
}
