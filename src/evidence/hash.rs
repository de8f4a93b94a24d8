//! SHA-256 (FIPS 180-4) of files: streamed through one buffer per thread, in parallel over files.
//!
//! Refused: anything that is not a plain file (a pipe would block for ever, a link may point out
//! of the folder), and a file that changes while it is read, because its hash would be of a state
//! that never existed. Files are read, not memory-mapped: a mapped file that is cut short by
//! another program kills the process, and reading is as fast.

use std::fmt;
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use std::str::FromStr;
use std::sync::atomic::{AtomicU64, Ordering};

use serde::{Deserialize, Deserializer, Serialize, Serializer};
use sha2::{Digest, Sha256};

use crate::record::open::{self, FileError, Refused};
use crate::units::terminal::shown;

/// One read. Large enough that system calls do not show, small enough to stay in a core's cache
/// between the copy out of the page cache and the hashing.
const BUFFER_BYTES: usize = 256 * 1024;

/// A SHA-256 digest; written and read as 64 hexadecimal digits.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Sha256Digest([u8; 32]);

impl Sha256Digest {
    /// The digest of bytes already in memory.
    pub fn of(bytes: &[u8]) -> Self {
        Self(Sha256::digest(bytes).into())
    }

    /// Its 32 bytes.
    pub(crate) fn as_bytes(&self) -> &[u8] {
        &self.0
    }

    /// The digest of what was fed to a hasher piece by piece.
    pub(crate) fn from_hasher(hasher: Sha256) -> Self {
        Self(hasher.finalize().into())
    }
}

impl From<[u8; 32]> for Sha256Digest {
    fn from(bytes: [u8; 32]) -> Self {
        Self(bytes)
    }
}

impl fmt::Display for Sha256Digest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|b| write!(f, "{b:02x}"))
    }
}

impl fmt::Debug for Sha256Digest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

/// Text that is not a SHA-256 digest.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("a SHA-256 digest is 64 hexadecimal digits (0-9, a-f)")]
pub struct NotADigest;

impl FromStr for Sha256Digest {
    type Err = NotADigest;

    fn from_str(text: &str) -> Result<Self, NotADigest> {
        let mut bytes = [0; 32];
        if text.len() != 2 * bytes.len() {
            return Err(NotADigest);
        }
        for (byte, pair) in bytes.iter_mut().zip(text.as_bytes().chunks_exact(2)) {
            *byte = pair.iter().try_fold(0_u8, |value, &digit| {
                let digit = char::from(digit).to_digit(16).ok_or(NotADigest)?;
                Ok(value << 4 | digit as u8)
            })?;
        }
        Ok(Self(bytes))
    }
}

impl schemars::JsonSchema for Sha256Digest {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Sha256Digest".into()
    }

    fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
        schemars::json_schema!({ "type": "string", "pattern": "^[0-9a-f]{64}$" })
    }
}

impl Serialize for Sha256Digest {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Sha256Digest {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = std::borrow::Cow::<'de, str>::deserialize(deserializer)?;
        text.parse().map_err(serde::de::Error::custom)
    }
}

/// Why a file was not hashed.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs)] // The message of each says what it is.
pub enum HashError {
    #[error(transparent)]
    Refused(#[from] Refused),
    #[error("{}: changed while it was being read; try again when nothing writes to it", shown(path))]
    ChangedWhileRead { path: PathBuf },
}

impl From<FileError> for HashError {
    fn from(error: FileError) -> Self {
        Self::Refused(error.into())
    }
}

impl HashError {
    /// What is wrong, without the path: for outputs that must not show where a file lies on this machine.
    pub(crate) fn without_path(&self) -> String {
        match self {
            Self::Refused(refused) => refused.without_path(),
            Self::ChangedWhileRead { .. } => "it changed while it was read".to_owned(),
        }
    }

    /// Whether there simply is no such file.
    pub(crate) fn is_gone(&self) -> bool {
        matches!(self, Self::Refused(Refused::File(e)) if super::name::gone(&e.source))
    }
}

/// How far a run over many files has come, in bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Progress {
    /// Bytes read so far.
    pub done: u64,
    /// Bytes that all files together had when the run began.
    pub total: u64,
}

/// Told of progress, from several threads at once.
pub type OnProgress<'a> = &'a (dyn Fn(Progress) + Sync);

/// For callers that show no progress.
pub fn silent(_: Progress) {}

/// Hashes one plain file. Memory used is one buffer, whatever the file's size.
///
/// # Errors
/// When it is no plain file, cannot be read, or changes while it is read.
pub fn hash_file(path: &Path) -> Result<Sha256Digest, HashError> {
    copy_file(path, &mut io::sink(), |_| {})
}

/// Adds up what all threads have read.
pub(crate) struct Meter<'a> {
    done: AtomicU64,
    total: u64,
    on: OnProgress<'a>,
}

impl<'a> Meter<'a> {
    pub(crate) fn new(total: u64, on: OnProgress<'a>) -> Self {
        let done = AtomicU64::new(0);
        Self { done, total, on }
    }

    pub(crate) fn add(&self, bytes: u64) {
        let done = self.done.fetch_add(bytes, Ordering::Relaxed) + bytes;
        let total = self.total;
        (self.on)(Progress { done, total });
    }
}

/// Hashes a plain file while passing on every byte read, so that a copy is of what was hashed.
pub(crate) fn copy_file(
    path: &Path,
    to: &mut dyn io::Write,
    mut on_bytes: impl FnMut(u64),
) -> Result<Sha256Digest, HashError> {
    let (file, before) = open::plain(path)?;
    // One byte more than promised is enough to notice growth, and ends a file that grows for ever.
    let mut limited = (&file).take(before.len().saturating_add(1));
    let size = usize::try_from(before.len()).map_or(BUFFER_BYTES, |n| n.clamp(4096, BUFFER_BYTES));
    let mut buffer = vec![0; size];
    let mut hasher = Sha256::new();
    let mut length = 0_u64;
    loop {
        let read = match limited.read(&mut buffer) {
            Ok(0) => break,
            Ok(n) => n,
            Err(e) if e.kind() == io::ErrorKind::Interrupted => continue,
            Err(e) => return Err(FileError::on("read", path)(e).into()),
        };
        let bytes = buffer.get(..read).unwrap_or_default();
        hasher.update(bytes);
        to.write_all(bytes).map_err(FileError::on("write a copy of", path))?;
        length += read as u64;
        on_bytes(read as u64);
    }
    let after = file.metadata().map_err(FileError::on("read", path))?;
    let steady = length == before.len()
        && after.len() == before.len()
        && after.modified().ok() == before.modified().ok();
    if !steady {
        let path = path.to_path_buf();
        return Err(HashError::ChangedWhileRead { path });
    }
    Ok(Sha256Digest(hasher.finalize().into()))
}

#[cfg(test)]
mod tests {
    use std::fs;

    use super::*;

    #[test]
    fn text_round_trips_and_nonsense_is_refused() {
        let digest = Sha256Digest::of(b"abc");
        assert_eq!(digest.to_string().parse(), Ok(digest));
        assert_eq!(digest.to_string().to_uppercase().parse(), Ok(digest));
        let json = serde_json::to_string(&digest).unwrap();
        assert_eq!(serde_json::from_str::<Sha256Digest>(&json).unwrap(), digest);
        let g = "g".repeat(64);
        let (accents, plus) = ("é".repeat(32), "+f".repeat(32));
        for bad in ["", "ba78", &g, &accents, &plus] {
            assert_eq!(bad.parse::<Sha256Digest>(), Err(NotADigest), "{bad}");
        }
    }

    #[test]
    fn a_file_that_grows_under_the_reader_is_refused() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("log.csv");
        fs::write(&path, vec![b'x'; 3 * BUFFER_BYTES]).unwrap();
        let mut grown = false;
        let result = copy_file(&path, &mut io::sink(), |_| {
            if !grown {
                grown = true;
                use std::io::Write;
                let mut log = fs::OpenOptions::new().append(true).open(&path).unwrap();
                log.write_all(b"more").unwrap();
            }
        });
        assert!(matches!(result, Err(HashError::ChangedWhileRead { .. })));
    }
}
