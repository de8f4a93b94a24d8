//! Lines of a file in any of the encodings instruments use, one at a time and of bounded length.
//!
//! UTF-16 is turned into UTF-8 on the way. UTF-8 and Latin-1 pass unchanged: in the rows only ASCII
//! matters, and [`text`] decodes the header. A line longer than [`LONGEST`] is passed over piece by piece
//! and reported, so that a file without line ends cannot fill the memory.

use std::io::{self, Read};

use encoding_rs::{CoderResult, Decoder, UTF_16BE, UTF_16LE, WINDOWS_1252};

use super::layout::Encoding;

/// Bytes read at a time.
const CHUNK: usize = 256 * 1024;
/// Longest line that is looked at.
pub(super) const LONGEST: usize = 64 * 1024;

/// One line without its end.
pub(super) enum Line<'a> {
    /// Its text.
    Text {
        /// UTF-8, or Latin-1 where the file is.
        bytes: &'a [u8],
        /// Whether a line end followed; the last line of a file may be cut off.
        complete: bool,
    },
    /// Too long to be a row of a log.
    TooLong,
}

/// A file, line by line.
pub(super) struct Lines<R> {
    source: R,
    decoder: Option<Decoder>,
    encoding: Encoding,
    /// Undecoded bytes of a UTF-16 file.
    raw: Vec<u8>,
    raw_filled: usize,
    buffer: Vec<u8>,
    start: usize,
    end: usize,
    ended: bool,
    quotes: bool,
    line_end: u8,
    number: u64,
}

impl<R: Read> Lines<R> {
    /// Starts at the first byte: looks at the encoding, drops a byte order mark.
    pub fn new(mut source: R) -> io::Result<Self> {
        let mut first = vec![0; CHUNK];
        let filled = fill(&mut source, &mut first)?;
        let head = first.get(..filled).unwrap_or_default();
        let (encoding, skip) = sniff(head);
        let decoder = match encoding {
            Encoding::Utf16Le => Some(UTF_16LE.new_decoder_without_bom_handling()),
            Encoding::Utf16Be => Some(UTF_16BE.new_decoder_without_bom_handling()),
            Encoding::Utf8 | Encoding::Latin1 => None,
        };
        let mut lines = Self {
            source,
            encoding,
            raw: Vec::new(),
            raw_filled: 0,
            buffer: Vec::new(),
            start: skip,
            end: filled,
            ended: filled < CHUNK,
            quotes: true,
            line_end: b'\n',
            number: 0,
            decoder: None,
        };
        if let Some(decoder) = decoder {
            first.copy_within(skip..filled, 0);
            lines.raw = first;
            lines.raw_filled = filled - skip;
            // A UTF-16 unit of two bytes becomes three bytes of UTF-8 at most.
            lines.buffer = vec![0; 4 * CHUNK];
            (lines.start, lines.end) = (0, 0);
            lines.decoder = Some(decoder);
            lines.decode();
        } else {
            first.resize(2 * CHUNK, 0);
            lines.buffer = first;
        }
        let seen = lines.buffer.get(lines.start..lines.end).unwrap_or_default();
        if memchr::memchr(b'\n', seen).is_none() && memchr::memchr(b'\r', seen).is_some() {
            lines.line_end = b'\r';
        }
        lines.look_for_quotes();
        Ok(lines)
    }

    /// The encoding that was recognised.
    pub fn encoding(&self) -> Encoding {
        self.encoding
    }

    /// Number of the line that was given last, from 1.
    pub fn number(&self) -> u64 {
        self.number
    }

    /// Whether the bytes in memory hold a quotation mark at all.
    pub fn may_have_quotes(&self) -> bool {
        self.quotes
    }

    /// The next line.
    pub fn next(&mut self) -> io::Result<Option<Line<'_>>> {
        let mut searched = self.start;
        let mut too_long = false;
        loop {
            let fresh = self.buffer.get(searched..self.end).unwrap_or_default();
            if let Some(at) = memchr::memchr(self.line_end, fresh) {
                let from = self.start;
                let to = searched + at;
                self.start = to + 1;
                self.number += 1;
                if too_long || to - from > LONGEST {
                    return Ok(Some(Line::TooLong));
                }
                let bytes = self.buffer.get(from..to).unwrap_or_default();
                return Ok(Some(Line::Text { bytes: without_cr(bytes), complete: true }));
            }
            if self.end - self.start > LONGEST {
                too_long = true;
                self.start = self.end;
            }
            if self.ended {
                let (from, to) = (self.start, self.end);
                self.start = self.end;
                if too_long {
                    self.number += 1;
                    return Ok(Some(Line::TooLong));
                }
                if from == to {
                    return Ok(None);
                }
                self.number += 1;
                let bytes = self.buffer.get(from..to).unwrap_or_default();
                return Ok(Some(Line::Text { bytes: without_cr(bytes), complete: false }));
            }
            // What is held moves to the front, and was searched already.
            let held = self.end - self.start;
            self.refill()?;
            searched = held;
        }
    }

    fn refill(&mut self) -> io::Result<()> {
        self.buffer.copy_within(self.start..self.end, 0);
        self.end -= self.start;
        self.start = 0;
        if self.decoder.is_some() {
            let room = self.raw.get_mut(self.raw_filled..).unwrap_or_default();
            let got = fill(&mut self.source, room)?;
            self.ended = got < room.len();
            self.raw_filled += got;
            self.decode();
        } else {
            let to = (self.end + CHUNK).min(self.buffer.len());
            let room = self.buffer.get_mut(self.end..to).unwrap_or_default();
            let got = fill(&mut self.source, room)?;
            self.ended = got < room.len();
            self.end += got;
        }
        self.look_for_quotes();
        Ok(())
    }

    fn decode(&mut self) {
        let Some(decoder) = &mut self.decoder else {
            return;
        };
        let raw = self.raw.get(..self.raw_filled).unwrap_or_default();
        let room = self.buffer.get_mut(self.end..).unwrap_or_default();
        let (result, read, written, _) = decoder.decode_to_utf8(raw, room, self.ended);
        self.end += written;
        self.raw.copy_within(read..self.raw_filled, 0);
        self.raw_filled -= read;
        if result == CoderResult::OutputFull {
            // More is waiting; the file is not at its end before that has been decoded.
            self.ended = false;
        }
    }

    fn look_for_quotes(&mut self) {
        let held = self.buffer.get(self.start..self.end).unwrap_or_default();
        self.quotes = memchr::memchr(b'"', held).is_some();
    }
}

/// Reads until `room` is full or the source ends.
fn fill(source: &mut impl Read, room: &mut [u8]) -> io::Result<usize> {
    let mut filled = 0;
    while let Some(rest) = room.get_mut(filled..).filter(|rest| !rest.is_empty()) {
        match source.read(rest) {
            Ok(0) => break,
            Ok(got) => filled += got,
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(error) => return Err(error),
        }
    }
    Ok(filled)
}

fn without_cr(mut line: &[u8]) -> &[u8] {
    while let Some(shorter) = line.strip_suffix(b"\r") {
        line = shorter;
    }
    line
}

/// The encoding by byte order mark, by the zeros of UTF-16, or by validity; and the mark's length.
fn sniff(head: &[u8]) -> (Encoding, usize) {
    if head.starts_with(&[0xef, 0xbb, 0xbf]) {
        return (Encoding::Utf8, 3);
    }
    if head.starts_with(&[0xff, 0xfe]) {
        return (Encoding::Utf16Le, 2);
    }
    if head.starts_with(&[0xfe, 0xff]) {
        return (Encoding::Utf16Be, 2);
    }
    let sample = head.get(..head.len().min(1024)).unwrap_or_default();
    let zeros = |odd: usize| sample.iter().skip(odd).step_by(2).filter(|byte| **byte == 0).count();
    let half = sample.len() / 2;
    if half >= 8 {
        let (even, odd) = (zeros(0), zeros(1));
        if odd * 10 > half * 8 && even * 10 < half {
            return (Encoding::Utf16Le, 0);
        }
        if even * 10 > half * 8 && odd * 10 < half {
            return (Encoding::Utf16Be, 0);
        }
    }
    match std::str::from_utf8(head) {
        Ok(_) => (Encoding::Utf8, 0),
        // A character may be cut at the end of what was read.
        Err(error) if error.error_len().is_none() => (Encoding::Utf8, 0),
        Err(_) => (Encoding::Latin1, 0),
    }
}

/// Header text: UTF-8, or Latin-1 (as Windows-1252) where it is not.
pub(super) fn text(bytes: &[u8]) -> String {
    match std::str::from_utf8(bytes) {
        Ok(text) => text.to_owned(),
        Err(_) => WINDOWS_1252.decode_without_bom_handling(bytes).0.into_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn all(bytes: &[u8]) -> (Encoding, Vec<String>) {
        let mut lines = Lines::new(bytes).unwrap();
        let encoding = lines.encoding();
        let mut out = Vec::new();
        while let Some(line) = lines.next().unwrap() {
            out.push(match line {
                Line::Text { bytes, .. } => text(bytes),
                Line::TooLong => "too long".to_owned(),
            });
        }
        (encoding, out)
    }

    fn utf16(text: &str, bytes: fn(u16) -> [u8; 2]) -> Vec<u8> {
        text.encode_utf16().flat_map(bytes).collect()
    }

    #[test]
    fn encodings() {
        let text = "time;T/°C\r\n1;2\n";
        let wanted = vec!["time;T/°C".to_owned(), "1;2".to_owned()];
        let latin: Vec<u8> = text.chars().map(|c| c as u32 as u8).collect();
        let cases = [
            (Encoding::Utf8, text.as_bytes().to_vec()),
            (Encoding::Utf8, [b"\xef\xbb\xbf", text.as_bytes()].concat()),
            (Encoding::Latin1, latin),
            (Encoding::Utf16Le, utf16(text, u16::to_le_bytes)),
            (Encoding::Utf16Be, utf16(text, u16::to_be_bytes)),
            (Encoding::Utf16Le, [vec![0xff, 0xfe], utf16(text, u16::to_le_bytes)].concat()),
        ];
        for (encoding, bytes) in cases {
            assert_eq!(all(&bytes), (encoding, wanted.clone()));
        }
    }

    #[test]
    fn long_inputs_keep_their_lines() {
        // Longer than several chunks, in both kinds of encoding.
        let text: String = (0..200_000).map(|i| format!("{i};{}\n", i * 7)).collect();
        let wanted: Vec<&str> = text.lines().collect();
        assert_eq!(all(text.as_bytes()).1, wanted);
        assert_eq!(all(&utf16(&text, u16::to_le_bytes)).1, wanted);
    }

    #[test]
    fn a_line_without_end_takes_bounded_memory() {
        let mut bytes = vec![b'x'; 3 * CHUNK];
        bytes.extend_from_slice(b"\n1,2\n");
        assert_eq!(all(&bytes).1, ["too long", "1,2"]);
        assert_eq!(all(&vec![b'x'; 3 * CHUNK + 17]).1, ["too long"]);
        assert_eq!(all(b"a\rb\rc").1, ["a", "b", "c"]);
        assert_eq!(all(b"").1, Vec::<String>::new());
    }
}
