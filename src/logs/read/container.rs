//! What a log comes packed in: plain text, text compressed with gzip, a workbook, a long table. Every other kind is refused
//! by its name, with the way out.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};

use flate2::read::MultiGzDecoder;

use super::ReadError;
use super::chunk::FirstLines;
use super::settings::ReadSettings;
use super::{head, long};

/// Text of a compressed log, bytes: a small file of a stranger must not fill the disk.
const LARGEST: u64 = 4 << 30;

/// Kinds of file that are told apart by their first bytes.
const KINDS: &[(&[u8], &str)] = &[
    (b"\xd0\xcf\x11\xe0", "a workbook of an old kind (XLS)"),
    (b"SQLite format 3", "an SQLite database"),
    (b"\x00\x01\x00\x00Stan", "an Access database"),
    (b"PAR1", "a Parquet file"),
    (b"ARROW1", "an Arrow file"),
    (b"\x89HDF", "an HDF5 file"),
    (b"MATLAB ", "a MAT file"),
    (b"TDSm", "a TDMS file"),
    (b"MDF     ", "an MDF file"),
    (b"%PDF", "a PDF"),
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
    (b"GIF8", "a picture"),
    (b"II*\x00", "a picture"),
    (b"BZh", "a file compressed with bzip2"),
    (b"\xfd7zXZ", "a file compressed with xz"),
    (b"7z\xbc\xaf", "a 7z archive"),
    (b"Rar!", "a RAR archive"),
    (b"\x28\xb5\x2f\xfd", "a file compressed with zstd"),
];

/// The text of a log, at its first byte.
pub(super) struct Unpacked {
    pub text: File,
    pub sheet: Option<String>,
    /// It was a long table: quantities have been put side by side.
    pub long: bool,
    /// Its first lines, where they were read already.
    pub first: Option<FirstLines>,
}

/// Unpacks a log.
pub(super) fn unpacked(mut file: File, settings: &ReadSettings) -> Result<Unpacked, ReadError> {
    let first = first_bytes(&mut file)?;
    if first.starts_with(b"PK\x03\x04") {
        return workbook(file, settings);
    }
    let mut text = file;
    if first.starts_with(b"\x1f\x8b") {
        let mut unzipped = tempfile::tempfile()?;
        let written = io::copy(&mut MultiGzDecoder::new(text).take(LARGEST), &mut unzipped)?;
        if written == LARGEST {
            let why =
                "the log unpacks to more than 4 GiB; unpack it by hand and take the part that holds the test";
            return Err(ReadError::Refused(why.to_owned()));
        }
        text = unzipped;
    }
    // What was compressed must be text as well.
    refuse(&first_bytes(&mut text)?)?;
    let first = head::first_lines(&mut text, 0)?;
    let wide = long::side_by_side(&mut text, &first, settings)?;
    text.seek(SeekFrom::Start(0))?;
    let long = wide.is_some();
    Ok(Unpacked { long, text: wide.unwrap_or(text), sheet: None, first: (!long).then_some(first) })
}

#[cfg(feature = "workbooks")]
fn workbook(file: File, settings: &ReadSettings) -> Result<Unpacked, ReadError> {
    let (text, sheet) = super::workbook::unpacked(file, settings)?;
    Ok(Unpacked { text, sheet: Some(sheet), long: false, first: None })
}

#[cfg(not(feature = "workbooks"))]
fn workbook(_: File, _: &ReadSettings) -> Result<Unpacked, ReadError> {
    Err(ReadError::Refused(
        "the log is a workbook or a zip archive, and this program was built without the feature `workbooks`: export the sheet \
         as CSV and name that file, or build the program with all its features, `cargo build --release --locked`"
            .to_owned(),
    ))
}

fn first_bytes(file: &mut File) -> Result<Vec<u8>, ReadError> {
    file.seek(SeekFrom::Start(0))?;
    let mut first = Vec::new();
    file.take(16).read_to_end(&mut first)?;
    file.seek(SeekFrom::Start(0))?;
    Ok(first)
}

fn refuse(first: &[u8]) -> Result<(), ReadError> {
    match KINDS.iter().find(|(magic, _)| first.starts_with(magic)) {
        Some((_, kind)) => Err(ReadError::other_kind(kind)),
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
        let more: [(&[u8], &str); 3] = [
            (b"<?xml version='1.0'?>", "XML"),
            (b"{\"rows\": [", "JSON"),
            (&[0xaa, 5, 1, 2, 0xaa, 5, 3], "raw frames"),
        ];
        for (magic, kind) in KINDS.iter().chain(&more) {
            let path = folder.path().join("other");
            std::fs::write(&path, [magic, &b" and more of it"[..]].concat()).unwrap();
            let error = LogReader::open(&path, &ReadSettings::default()).err().unwrap().to_string();
            assert!(error.contains(kind) && error.contains("export"), "{error}");
        }
    }
}
