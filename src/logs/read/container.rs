//! What a log comes packed in: plain text, or text compressed with gzip. Every other kind is refused by its name, with the
//! way out.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};

use flate2::read::MultiGzDecoder;

use super::ReadError;

/// Text of a compressed log, bytes: a small file of a stranger must not fill the disk.
const LARGEST: u64 = 4 << 30;

/// Kinds of file that are told apart by their first bytes.
const KINDS: &[(&[u8], &str)] = &[
    (b"PK\x03\x04", "a workbook or a zip archive"),
    (b"\xd0\xcf\x11\xe0", "a workbook of an old kind (XLS)"),
    (b"SQLite format 3", "an SQLite database"),
    (b"PAR1", "a Parquet file"),
    (b"\x89HDF", "an HDF5 file"),
    (b"MATLAB 5.0", "a MAT file"),
    (b"%PDF", "a PDF"),
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
    (b"BZh", "a file compressed with bzip2"),
    (b"\xfd7zXZ", "a file compressed with xz"),
    (b"7z\xbc\xaf", "a 7z archive"),
    (b"\x28\xb5\x2f\xfd", "a file compressed with zstd"),
];

/// The text of a log, at its first byte.
pub(super) fn unpacked(mut file: File) -> Result<File, ReadError> {
    let mut first = [0_u8; 16];
    let mut length = 0;
    while let Some(rest) = first.get_mut(length..).filter(|rest| !rest.is_empty()) {
        match file.read(rest)? {
            0 => break,
            read => length += read,
        }
    }
    file.seek(SeekFrom::Start(0))?;
    let first = first.get(..length).unwrap_or_default();
    if first.starts_with(b"\x1f\x8b") {
        let mut text = tempfile::tempfile()?;
        let written = io::copy(&mut MultiGzDecoder::new(file).take(LARGEST), &mut text)?;
        if written == LARGEST {
            return Err(ReadError::TooLarge);
        }
        return unpacked_once(text);
    }
    refuse(first)?;
    Ok(file)
}

/// What was compressed must be text.
fn unpacked_once(mut text: File) -> Result<File, ReadError> {
    text.seek(SeekFrom::Start(0))?;
    let mut first = Vec::new();
    (&text).take(16).read_to_end(&mut first)?;
    refuse(&first)?;
    text.seek(SeekFrom::Start(0))?;
    Ok(text)
}

fn refuse(first: &[u8]) -> Result<(), ReadError> {
    match KINDS.iter().find(|(magic, _)| first.starts_with(magic)) {
        Some((_, kind)) => Err(ReadError::OtherKind { kind }),
        None => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::logs::read::{LogReader, ReadSettings};
    use flate2::{Compression, write::GzEncoder};
    use std::io::Write;

    #[test]
    fn compressed_text_is_read_and_other_kinds_are_named() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("log.csv.gz");
        let mut packed = GzEncoder::new(File::create(&path).unwrap(), Compression::fast());
        packed.write_all(b"Time (s),Voltage (V),Current (A)\n0,13.3,0\n1,13.2,5\n2,13.2,5\n").unwrap();
        packed.finish().unwrap();
        assert_eq!(LogReader::open(&path, &ReadSettings::default()).unwrap().layout().columns.len(), 3);
        for (magic, kind) in KINDS {
            let path = folder.path().join("other");
            std::fs::write(&path, [magic, &b" and more of it"[..]].concat()).unwrap();
            let error = LogReader::open(&path, &ReadSettings::default()).err().unwrap().to_string();
            assert!(error.contains(kind) && error.contains("export"), "{error}");
        }
    }
}
