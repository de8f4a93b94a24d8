//! A file in any of the encodings instruments use, cut into chunks of whole lines.
//!
//! UTF-16 is turned into UTF-8 on the way. UTF-8 and Latin-1 pass unchanged: in the rows only ASCII
//! matters, and [`text`] decodes the header. Chunks are what the rows are parsed from, several at a time
//! (see [`super::ahead`]); each ends where a line ends. A line longer than [`LONGEST`] is passed over piece
//! by piece and reported, so that a file without line ends cannot fill the memory.

use std::io::{self, Read};
use std::ops::Range;

use encoding_rs::{CoderResult, Decoder, Encoding, UTF_8, UTF_16BE, UTF_16LE, WINDOWS_1252};

/// Bytes read at a time.
const READ: usize = 256 * 1024;
/// Longest line that is looked at.
pub(super) const LONGEST: usize = 64 * 1024;
/// Zeros after the last line of a chunk, so that eight bytes can be looked at from any place in it.
pub(super) const PADDING: usize = 16;
/// Room for a line that was begun, what is read next, and the padding.
const ROOM: usize = LONGEST + READ + PADDING;

/// Whole lines of a file.
#[derive(Default)]
pub(super) struct Chunk {
    bytes: Vec<u8>,
    filled: usize,
    /// Its first line is the end of one that is too long to be looked at.
    pub begins_too_long: bool,
    pub line_end: u8,
}

impl Chunk {
    /// The lines, without padding.
    pub fn lines(&self) -> &[u8] {
        self.bytes.get(..self.filled).unwrap_or_default()
    }

    /// The lines and [`PADDING`] zeros.
    pub fn padded(&self) -> &[u8] {
        self.bytes.get(..self.filled + PADDING).unwrap_or_default()
    }

    fn close(&mut self, filled: usize) {
        self.filled = filled;
        if let Some(padding) = self.bytes.get_mut(filled..filled + PADDING) {
            padding.fill(0);
        }
    }
}

/// A file, chunk by chunk.
pub(super) struct Chunks<R> {
    source: R,
    encoding: &'static Encoding,
    decoder: Option<Decoder>,
    /// Undecoded bytes of a UTF-16 file.
    raw: Vec<u8>,
    raw_filled: usize,
    /// Bytes that wait for the next chunk: a line that was begun, or at first what the encoding was found by.
    held: Vec<u8>,
    /// Whether the end of a line was looked for in `held`.
    searched: bool,
    in_long_line: bool,
    ended: bool,
    line_end: u8,
}

impl<R: Read> Chunks<R> {
    /// Starts at the first byte: looks at the encoding, drops a byte order mark.
    pub fn new(mut source: R) -> io::Result<Self> {
        let mut first = Vec::new();
        source.by_ref().take(READ as u64 / 2).read_to_end(&mut first)?;
        let ended = first.len() < READ / 2;
        let (encoding, skip) = sniff(&first);
        first.drain(..skip.min(first.len()));
        let wide = encoding == UTF_16LE || encoding == UTF_16BE;
        let decoder = wide.then(|| encoding.new_decoder_without_bom_handling());
        let mut chunks = Self {
            source,
            encoding,
            decoder,
            raw: Vec::new(),
            raw_filled: 0,
            held: Vec::new(),
            searched: false,
            in_long_line: false,
            ended,
            line_end: b'\n',
        };
        if chunks.decoder.is_some() {
            chunks.raw_filled = first.len();
            first.resize(READ / 2, 0);
            chunks.raw = first;
            let mut room = vec![0; READ];
            let decoded = chunks.decode(&mut room);
            room.truncate(decoded);
            chunks.held = room;
        } else {
            chunks.held = first;
        }
        let has = |byte: u8| memchr::memchr(byte, &chunks.held).is_some();
        if !has(b'\n') && has(b'\r') {
            chunks.line_end = b'\r';
        }
        Ok(chunks)
    }

    /// The encoding that was recognised.
    pub fn encoding(&self) -> &'static Encoding {
        self.encoding
    }

    /// Fills a chunk, whose memory is used again; `false` at the end of the file.
    pub fn next(&mut self, chunk: &mut Chunk) -> io::Result<bool> {
        // Nothing comes after what is held of a short file.
        let room = if self.ended && self.decoder.is_none() { self.held.len() + PADDING } else { ROOM };
        if chunk.bytes.len() < room {
            chunk.bytes.resize(room, 0);
        }
        chunk.line_end = self.line_end;
        chunk.begins_too_long = std::mem::take(&mut self.in_long_line);
        let mut len = self.held.len();
        if let Some(front) = chunk.bytes.get_mut(..len) {
            front.copy_from_slice(&self.held);
        }
        self.held.clear();
        let mut fresh = if self.searched { len } else { 0 };
        self.searched = true;
        loop {
            let unsearched = chunk.bytes.get(fresh..len).unwrap_or_default();
            if let Some(at) = memchr::memrchr(self.line_end, unsearched) {
                let cut = fresh + at + 1;
                let begun = chunk.bytes.get(cut..len).unwrap_or_default();
                if begun.len() > LONGEST {
                    self.in_long_line = true;
                } else {
                    self.held.extend_from_slice(begun);
                }
                chunk.close(cut);
                return Ok(true);
            }
            if len > LONGEST {
                chunk.begins_too_long = true;
                len = 0;
            }
            fresh = len;
            if self.ended {
                chunk.close(len);
                return Ok(len > 0 || chunk.begins_too_long);
            }
            let room = chunk.bytes.get_mut(len..ROOM - PADDING).unwrap_or_default();
            len += self.read(room)?;
        }
    }

    /// Reads and decodes what comes next; nothing only at the end of the file.
    fn read(&mut self, room: &mut [u8]) -> io::Result<usize> {
        let room = room.get_mut(..READ).unwrap_or_default();
        if self.decoder.is_none() {
            let got = fill(&mut self.source, room)?;
            self.ended = got < room.len();
            return Ok(got);
        }
        let free = self.raw.get_mut(self.raw_filled..).unwrap_or_default();
        let got = fill(&mut self.source, free)?;
        self.ended = got < free.len();
        self.raw_filled += got;
        Ok(self.decode(room))
    }

    fn decode(&mut self, room: &mut [u8]) -> usize {
        let Some(decoder) = &mut self.decoder else {
            return 0;
        };
        // A UTF-16 unit of two bytes becomes three bytes of UTF-8 at most, so `READ` holds what half of it
        // was read from.
        let raw = self.raw.get(..self.raw_filled).unwrap_or_default();
        let (result, read, written, _) = decoder.decode_to_utf8(raw, room, self.ended);
        self.raw.copy_within(read..self.raw_filled, 0);
        self.raw_filled -= read;
        if result == CoderResult::OutputFull {
            // More is waiting; the file is not at its end before that has been decoded.
            self.ended = false;
        }
        written
    }
}

/// Number of a line from 1, and its text without its end.
pub(super) type NumberedLine<'a> = (u64, &'a [u8]);

/// The first lines of a file, for looking at.
pub(super) struct FirstLines {
    pub encoding: &'static Encoding,
    /// Lines passed, those too long to be looked at among them.
    pub seen: u64,
    text: Vec<u8>,
    /// Numbers of lines, and where they stand in the text.
    places: Vec<(u64, Range<usize>)>,
}

impl FirstLines {
    /// At most this many lines and not many more than so many bytes.
    pub fn read(chunks: &mut Chunks<impl Read>, lines: u64, bytes: usize) -> io::Result<Self> {
        let mut chunk = Chunk::default();
        let mut out = Self { encoding: chunks.encoding(), seen: 0, text: Vec::new(), places: Vec::new() };
        let mut held = 0;
        while out.seen < lines && held < bytes && chunks.next(&mut chunk)? {
            let mut too_long = chunk.begins_too_long;
            let mut rest = chunk.lines();
            while (!rest.is_empty() || too_long) && out.seen < lines && held < bytes {
                let end = memchr::memchr(chunk.line_end, rest).unwrap_or(rest.len());
                let (line, after) = rest.split_at(end);
                rest = after.get(1..).unwrap_or_default();
                out.seen += 1;
                if !std::mem::take(&mut too_long) && line.len() <= LONGEST {
                    held += line.len();
                    let begin = out.text.len();
                    out.text.extend_from_slice(without_cr(line));
                    out.places.push((out.seen, begin..out.text.len()));
                }
            }
        }
        Ok(out)
    }

    /// Those that are not too long to be looked at.
    pub fn lines(&self) -> Vec<NumberedLine<'_>> {
        let line =
            |(line, place): &(u64, Range<usize>)| (*line, self.text.get(place.clone()).unwrap_or_default());
        self.places.iter().map(line).collect()
    }
}

/// What a file without a table is, where its first lines show it.
pub(super) fn kind_of(lines: &[NumberedLine<'_>]) -> Option<&'static str> {
    let first = lines.iter().map(|(_, line)| line.trim_ascii_start()).find(|line| !line.is_empty())?;
    match first.first()? {
        b'<' => return Some("an XML or HTML file"),
        b'{' => return Some("a JSON file"),
        _ => {}
    }
    let bytes = || lines.iter().take(16).flat_map(|(_, line)| line.iter().take(4096));
    let odd = bytes().filter(|byte| byte.is_ascii_control() && !matches!(byte, b'\t' | b'\r')).count();
    (odd * 20 > bytes().count()).then_some("binary data, such as the raw frames of a serial line")
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

/// A line without carriage returns at its end.
pub(super) fn without_cr(mut line: &[u8]) -> &[u8] {
    while let Some(shorter) = line.strip_suffix(b"\r") {
        line = shorter;
    }
    line
}

/// The encoding by byte order mark, by the zeros of UTF-16, or by validity; and the mark's length. What is no UTF-8 is taken
/// for Latin-1, read as Windows-1252.
fn sniff(head: &[u8]) -> (&'static Encoding, usize) {
    if let Some(found) = Encoding::for_bom(head) {
        return found;
    }
    let sample = head.get(..head.len().min(1024)).unwrap_or_default();
    let zeros = |odd: usize| sample.iter().skip(odd).step_by(2).filter(|byte| **byte == 0).count();
    let half = sample.len() / 2;
    let (even, odd) = (zeros(0), zeros(1));
    if half >= 8 && odd * 10 > half * 8 && even * 10 < half {
        return (UTF_16LE, 0);
    }
    if half >= 8 && even * 10 > half * 8 && odd * 10 < half {
        return (UTF_16BE, 0);
    }
    match std::str::from_utf8(head) {
        Ok(_) => (UTF_8, 0),
        // A character may be cut at the end of what was read.
        Err(error) if error.error_len().is_none() => (UTF_8, 0),
        Err(_) => (WINDOWS_1252, 0),
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

    fn all(bytes: &[u8]) -> (&'static Encoding, Vec<String>) {
        let mut chunks = Chunks::new(bytes).unwrap();
        let first = FirstLines::read(&mut chunks, u64::MAX, usize::MAX).unwrap();
        let mut out = vec!["too long".to_owned(); usize::try_from(first.seen).unwrap()];
        for (number, line) in first.lines() {
            out[usize::try_from(number).unwrap() - 1] = text(line);
        }
        (first.encoding, out)
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
            (UTF_8, text.as_bytes().to_vec()),
            (UTF_8, [b"\xef\xbb\xbf", text.as_bytes()].concat()),
            (WINDOWS_1252, latin),
            (UTF_16LE, utf16(text, u16::to_le_bytes)),
            (UTF_16BE, utf16(text, u16::to_be_bytes)),
            (UTF_16LE, [vec![0xff, 0xfe], utf16(text, u16::to_le_bytes)].concat()),
        ];
        for (encoding, bytes) in cases {
            assert_eq!(all(&bytes), (encoding, wanted.clone()));
        }
    }

    #[test]
    fn inputs_too_long_for_one_chunk_keep_their_lines() {
        // Longer than several chunks, in both kinds of encoding.
        let text: String = (0..200_000).map(|i| format!("{i};{}\n", i * 7)).collect();
        let wanted: Vec<&str> = text.lines().collect();
        assert_eq!(all(text.as_bytes()).1, wanted);
        assert_eq!(all(&utf16(&text, u16::to_le_bytes)).1, wanted);
    }

    #[test]
    fn a_line_without_end_takes_bounded_memory() {
        let mut bytes = vec![b'x'; 3 * READ];
        bytes.extend_from_slice(b"\n1,2\n");
        assert_eq!(all(&bytes).1, ["too long", "1,2"]);
        assert_eq!(all(&vec![b'x'; 3 * READ + 17]).1, ["too long"]);
        assert_eq!(all(b"a\rb\rc").1, ["a", "b", "c"]);
        assert_eq!(all(b"").1, Vec::<String>::new());
        let long = [b"1,2\n".as_slice(), &vec![b'x'; READ], b"\n3,4\n", &vec![b'y'; LONGEST + 1], b"\n5,6"];
        assert_eq!(all(&long.concat()).1, ["1,2", "too long", "3,4", "too long", "5,6"]);
    }
}
