//! The one way out: every text of a video kit goes through [`Outlet::text`] before it is kept, and pictures are drawn
//! from texts that went through it.
//!
//! A text that leaves here is plain: no control characters but line ends, and no marks that reorder what follows
//! (a stranger's record must not turn a caution round). XML and WebVTT escape on their own before.

use super::VideoKitFile;

/// Files of a video kit, as they are collected.
#[derive(Debug, Default)]
pub(super) struct Outlet {
    files: Vec<VideoKitFile>,
    packed: Vec<(String, String)>,
}

impl Outlet {
    /// Keeps a text under a file name and hands back what was kept.
    pub(super) fn text(&mut self, name: &str, text: &str) -> String {
        let kept = cleaned(text);
        self.files.push(VideoKitFile { name: name.to_owned(), content: kept.clone().into_bytes() });
        kept
    }

    /// Keeps a picture that was made from kept texts or from a photo fit to publish.
    pub(super) fn picture(&mut self, name: String, content: Vec<u8>) {
        self.files.push(VideoKitFile { name, content });
    }

    /// Notes what is said in a file that cannot itself be searched for what a record withholds.
    pub(super) fn packed(&mut self, name: &str, said: &str) {
        self.packed.push((name.to_owned(), said.to_owned()));
    }

    /// What was kept, and what is said in files that cannot be searched, by their names.
    pub(super) fn into_files(self) -> (Vec<VideoKitFile>, Vec<(String, String)>) {
        (self.files, self.packed)
    }
}

fn cleaned(text: &str) -> String {
    text.chars()
        .filter(|c| !reorders(*c))
        .map(|c| if c.is_control() && c != '\n' { ' ' } else { c })
        .collect()
}

/// A text from a record on one line.
pub(super) fn line(text: &str) -> String {
    cleaned(text).split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Bidirectional overrides, embeddings and isolates (Unicode UAX #9, table 4); the plain marks may stay.
fn reorders(c: char) -> bool {
    matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_leaves_is_plain() {
        for (text, expected) in [
            ("a\u{1b}[31mb", "a [31mb"),
            ("safe \u{202e}ton", "safe ton"),
            ("two\nlines", "two\nlines"),
            ("<b> & \"q\"", "<b> & \"q\""),
        ] {
            let mut outlet = Outlet::default();
            assert_eq!(outlet.text("x.txt", text), expected);
            assert_eq!(outlet.into_files().0[0].content, expected.as_bytes());
        }
        assert_eq!(line("  a\n b\t\u{0}c "), "a b c");
    }
}
