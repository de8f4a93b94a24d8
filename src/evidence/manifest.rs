//! The list of hashes, in the format that GNU `sha256sum` writes and `sha256sum -c` reads, so that
//! anybody can check it in twenty years without this program.
//!
//! One line a file: 64 hexadecimal digits, a space, a space (text mode) or `*` (binary mode), the
//! name. A name with a newline, carriage return or backslash has these escaped as `\n`, `\r` and
//! `\\`, and its line then starts with a backslash. Read besides: the tagged form
//! `SHA256 (name) = digits`, empty lines and lines that start with `#`, as `sha256sum -c` does.
//!
//! Refused, with the line: anything else, a name that leaves the folder, two digests for one name,
//! a list without a single file (checking nothing must not look like a pass), a list too large to
//! be real. `sha256sum -c` skips a bad line with a warning; evidence deserves an error.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

use super::atomic;
use super::hash::Sha256Digest;
use super::name::{EvidenceName, UnsafeName};
use crate::record::open::{self, FileError, Refused};
use crate::units::terminal::{shown, shown_text};

/// The manifest's name in an inspection folder.
pub const MANIFEST_NAME: &str = "photos.sha256";

/// The largest list that is read, in bytes: room for some 400 000 photos.
pub const MANIFEST_MAX_BYTES: u64 = 64 * 1024 * 1024;

/// Names and their digests, sorted by name.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Manifest {
    digests: BTreeMap<EvidenceName, Sha256Digest>,
}

/// Why a manifest was not read.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs)] // The message of each says what it is.
pub enum ManifestError {
    #[error(transparent)]
    File(#[from] FileError),
    #[error(transparent)]
    NotAPlainFile(Refused),
    #[error("{} line {line}: {problem}", shown(path))]
    Line {
        path: PathBuf,
        /// The line, counted from 1.
        line: usize,
        problem: LineProblem,
    },
    #[error("{}: names no file; there is nothing to check", shown(path))]
    Empty { path: PathBuf },
    #[error("{}: larger than 64 MiB; this is no list of hashes of an inspection", shown(path))]
    TooLarge { path: PathBuf },
}

/// What is wrong with one line of a manifest.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs)] // The message of each says what it is.
pub enum LineProblem {
    #[error(
        "expected 64 hexadecimal digits, two spaces and a file name, as `sha256sum` writes; found \"{}\"",
        shown_text(found)
    )]
    Form { found: String },
    #[error("the name has a backslash that is not followed by n, r or \\, though the line starts with one")]
    Escape,
    #[error(transparent)]
    Name(#[from] UnsafeName),
    #[error("\"{name}\" already has another hash further up")]
    Conflict { name: EvidenceName },
    #[error(
        "expected a hash of 64 hexadecimal digits, a space and a file name; found \"{}\"",
        shown_text(found)
    )]
    BagForm { found: String },
    #[error("\"{name}\": a payload manifest lists files under data/, a tag manifest all others")]
    WrongSide { name: EvidenceName },
}

impl Manifest {
    /// Adds a file; the digest it had before, if any, is returned and replaced.
    pub fn insert(&mut self, name: EvidenceName, digest: Sha256Digest) -> Option<Sha256Digest> {
        self.digests.insert(name, digest)
    }

    /// The digest of a name.
    pub fn get(&self, name: &EvidenceName) -> Option<Sha256Digest> {
        self.digests.get(name).copied()
    }

    /// Names and digests, sorted by the bytes of the name.
    pub fn iter(&self) -> impl Iterator<Item = (&EvidenceName, Sha256Digest)> {
        self.digests.iter().map(|(name, digest)| (name, *digest))
    }

    /// How many files are named.
    pub fn len(&self) -> usize {
        self.digests.len()
    }

    /// Whether no file is named.
    pub fn is_empty(&self) -> bool {
        self.digests.is_empty()
    }

    /// The manifest's text, byte for byte as `sha256sum` (text mode) would write it.
    pub fn to_bytes(&self) -> Vec<u8> {
        let mut out = Vec::new();
        for (name, digest) in self.iter() {
            let name = name.as_bytes();
            if name.iter().any(|b| matches!(b, b'\n' | b'\r' | b'\\')) {
                out.push(b'\\');
            }
            out.extend_from_slice(digest.to_string().as_bytes());
            out.extend_from_slice(b"  ");
            for &byte in name {
                match byte {
                    b'\n' => out.extend_from_slice(b"\\n"),
                    b'\r' => out.extend_from_slice(b"\\r"),
                    b'\\' => out.extend_from_slice(b"\\\\"),
                    _ => out.push(byte),
                }
            }
            out.push(b'\n');
        }
        out
    }

    /// Reads a manifest's text; `path` is what errors name.
    ///
    /// # Errors
    /// At the first line that is not of the format, and when no file is named.
    pub fn from_bytes(text: &[u8], path: &Path) -> Result<Self, ManifestError> {
        let mut manifest = Self::default();
        for (index, line) in text.split(|&b| b == b'\n').enumerate() {
            // A name cannot end in a carriage return here: it would have been escaped.
            let line = line.strip_suffix(b"\r").unwrap_or(line);
            if line.is_empty() || line.starts_with(b"#") {
                continue;
            }
            manifest.add_line(line).map_err(|problem| ManifestError::Line {
                path: path.to_path_buf(),
                line: index + 1,
                problem,
            })?;
        }
        if manifest.is_empty() {
            let path = path.to_path_buf();
            return Err(ManifestError::Empty { path });
        }
        Ok(manifest)
    }

    fn add_line(&mut self, line: &[u8]) -> Result<(), LineProblem> {
        let (digest, name) = split_line(line)?;
        let name = EvidenceName::new(&name)?;
        match self.digests.get(&name) {
            Some(other) if *other != digest => Err(LineProblem::Conflict { name }),
            _ => {
                self.digests.insert(name, digest);
                Ok(())
            }
        }
    }

    /// Reads a manifest file.
    ///
    /// # Errors
    /// When it cannot be read, is no plain file, is too large or malformed.
    pub fn read(path: &Path) -> Result<Self, ManifestError> {
        Self::from_bytes(&Self::read_bytes(path)?, path)
    }

    /// The text of a manifest file, within [`MANIFEST_MAX_BYTES`].
    pub(crate) fn read_bytes(path: &Path) -> Result<Vec<u8>, ManifestError> {
        let (file, _): (File, _) = match open::plain(path) {
            Ok(opened) => opened,
            Err(Refused::File(e)) => return Err(e.into()),
            Err(other) => return Err(ManifestError::NotAPlainFile(other)),
        };
        let mut text = Vec::new();
        file.take(MANIFEST_MAX_BYTES + 1).read_to_end(&mut text).map_err(FileError::on("read", path))?;
        if text.len() as u64 > MANIFEST_MAX_BYTES {
            let path = path.to_path_buf();
            return Err(ManifestError::TooLarge { path });
        }
        Ok(text)
    }

    /// Writes the manifest whole: a reader meets the old file or the new one, never half of it.
    ///
    /// # Errors
    /// When the system refuses.
    pub fn write(&self, path: &Path) -> Result<(), FileError> {
        atomic::replace(path, &self.to_bytes())
    }
}

impl FromIterator<(EvidenceName, Sha256Digest)> for Manifest {
    fn from_iter<T: IntoIterator<Item = (EvidenceName, Sha256Digest)>>(items: T) -> Self {
        Self { digests: items.into_iter().collect() }
    }
}

/// Digest and unescaped name of one line.
fn split_line(line: &[u8]) -> Result<(Sha256Digest, Vec<u8>), LineProblem> {
    let form = || LineProblem::Form { found: String::from_utf8_lossy(line).chars().take(80).collect() };
    let (escaped, rest) = match line.strip_prefix(b"\\") {
        Some(rest) => (true, rest),
        None => (false, line),
    };
    let (digits, name) = match rest.strip_prefix(b"SHA256 (") {
        Some(tagged) => {
            let (name, digits) = tagged
                .len()
                .checked_sub(64)
                .and_then(|middle| tagged.split_at_checked(middle))
                .ok_or_else(form)?;
            (digits, name.strip_suffix(b") = ").ok_or_else(form)?)
        }
        None => {
            let (digits, rest) = rest.split_at_checked(64).ok_or_else(form)?;
            let name = rest.strip_prefix(b"  ").or_else(|| rest.strip_prefix(b" *")).ok_or_else(form)?;
            (digits, name)
        }
    };
    let digest = std::str::from_utf8(digits).ok().and_then(|d| d.parse().ok()).ok_or_else(form)?;
    let name = if escaped { unescape(name)? } else { name.to_vec() };
    Ok((digest, name))
}

fn unescape(name: &[u8]) -> Result<Vec<u8>, LineProblem> {
    let mut out = Vec::with_capacity(name.len());
    let mut bytes = name.iter();
    while let Some(&byte) = bytes.next() {
        out.push(match byte {
            b'\\' => match bytes.next() {
                Some(b'n') => b'\n',
                Some(b'r') => b'\r',
                Some(b'\\') => b'\\',
                _ => return Err(LineProblem::Escape),
            },
            other => other,
        });
    }
    Ok(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    const ABC: &str = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
    const EMPTY: &str = "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855";

    fn read(text: &str) -> Result<Manifest, ManifestError> {
        Manifest::from_bytes(text.as_bytes(), Path::new("photos.sha256"))
    }

    #[test]
    fn malformed_lines_are_named() {
        for (text, line, part) in [
            ("nonsense".to_owned(), 1, "expected 64 hexadecimal digits"),
            (format!("{ABC}  a\n{ABC} b"), 2, "two spaces"),
            (format!("{ABC}  a\n\n{EMPTY}  a"), 3, "already has another hash"),
            (format!("{ABC}  ../a"), 1, "\"..\""),
            (format!("{ABC}  /etc/passwd"), 1, "absolute"),
            (format!("\\{ABC}  a\\tb"), 1, "backslash"),
            (format!("\\{ABC}  a\\"), 1, "backslash"),
            (format!("{ABC}  "), 1, "empty"),
            (format!("SHA256 (a)= {ABC}"), 1, "expected"),
            ("SHA256 (".to_owned(), 1, "expected"),
            (format!("{}é  a", "a".repeat(63)), 1, "expected"),
        ] {
            let error = read(&text).unwrap_err();
            let ManifestError::Line { line: found, .. } = &error else {
                panic!("{text}: {error}");
            };
            assert_eq!(*found, line, "{text}");
            assert!(error.to_string().contains(part), "{error}");
            assert!(error.to_string().starts_with("photos.sha256 line"), "{error}");
        }
    }

    #[test]
    fn a_list_of_nothing_is_no_pass() {
        for text in ["", "\n\n", "# only a note\n"] {
            assert!(matches!(read(text), Err(ManifestError::Empty { .. })));
        }
    }

    proptest::proptest! {

        #[test]
        fn no_bytes_make_the_reader_panic(bytes in proptest::collection::vec(0_u8.., 0..300)) {
            let _ = Manifest::from_bytes(&bytes, Path::new("m"));
        }
    }
}
