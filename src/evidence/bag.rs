//! A sealed inspection as a bag: the folder layout of RFC 8493 (BagIt) that archives accept.
//!
//! The payload is the evidence as sealed, its manifest and signature, and, if wanted, the write-up.
//! [`write()`] copies and hashes in one pass, refuses if what it copied is not what was sealed, and
//! gives the bag its name only when it is complete. [`check()`] tells the same states apart as
//! `verify` does for folders.
//!
//! File names in a bag's manifests have carriage return, line feed and `%` percent-encoded, and only
//! those (RFC 8493, section 2.1.3). Version 0.97, which much software still writes, leaves `%`
//! alone; bags of either version are read by their own rule. Nothing is ever fetched: a bag with
//! holes that `fetch.txt` would fill from the network is incomplete.

mod check;
mod write;

use std::path::{Path, PathBuf};

use super::folder::FolderError;
use super::hash::{HashError, Sha256Digest};
use super::manifest::{LineProblem, Manifest, ManifestError};
use super::name::{EvidenceName, NameError, UnsafeName};
use super::verify::SealComparison;
use crate::record::open::FileError;
use crate::units::terminal::{shown, shown_text};

pub use check::{BagReport, Oxum, OxumState, check};
pub use write::{Bag, BagOptions, write, write_generated};

/// The declaration that makes a folder a bag.
pub const BAG_DECLARATION: &str = "bagit.txt";

const BAG_INFO: &str = "bag-info.txt";
const PAYLOAD_MANIFEST: &str = "manifest-sha256.txt";
const TAG_MANIFEST: &str = "tagmanifest-sha256.txt";
/// The folder of what a bag holds.
pub(crate) const PAYLOAD: &str = "data";

/// Why a bag was not written or not checked.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
#[allow(missing_docs)] // The message of each says what it is.
pub enum BagError {
    #[error(transparent)]
    File(#[from] FileError),
    #[error(transparent)]
    Hash(#[from] HashError),
    #[error(transparent)]
    Folder(#[from] FolderError),
    #[error(transparent)]
    Manifest(#[from] ManifestError),
    #[error(transparent)]
    Name(#[from] NameError),
    #[error("{}: is not sealed yet; seal it first, then bag it", shown(folder))]
    NotSealed { folder: PathBuf },
    #[error("the evidence is no longer what was sealed; look at the differences and seal it again")]
    Differs(SealComparison),
    #[error("{}: exists already; a bag is never written over anything", shown(path))]
    Exists { path: PathBuf },
    #[error("{}: lies inside the inspection folder; put the bag beside it", shown(path))]
    Inside { path: PathBuf },
    #[error("\"{name}\": the name is not UTF-8, which a bag's manifest needs; rename the file")]
    NotUtf8 { name: EvidenceName },
    #[error("bag field \"{}\": {problem}", shown_text(label))]
    Field { label: String, problem: &'static str },
    #[error("{}: {problem}", shown(path))]
    Declaration { path: PathBuf, problem: &'static str },
    #[error("{}: has no {PAYLOAD_MANIFEST}; only SHA-256 is checked here", shown(bag))]
    NoManifest { bag: PathBuf },
}

impl From<UnsafeName> for BagError {
    fn from(error: UnsafeName) -> Self {
        Self::Name(error.into())
    }
}

/// How a version of BagIt writes names in manifests.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Encoding {
    /// Before 1.0: line ends only.
    LineEnds,
    /// 1.0, RFC 8493: line ends and `%`.
    Rfc8493,
}

impl Encoding {
    fn decode(self, name: &[u8]) -> Vec<u8> {
        let mut out = Vec::with_capacity(name.len());
        let mut rest = name;
        while let Some((&first, tail)) = rest.split_first() {
            let decoded = match rest.get(..3).map(<[u8]>::to_ascii_uppercase).as_deref() {
                Some(b"%0A") => Some(b'\n'),
                Some(b"%0D") => Some(b'\r'),
                Some(b"%25") if self == Self::Rfc8493 => Some(b'%'),
                _ => None,
            };
            out.push(decoded.unwrap_or(first));
            rest = match decoded {
                Some(_) => rest.get(3..).unwrap_or_default(),
                None => tail,
            };
        }
        out
    }

    /// Only what is written here: RFC 8493.
    fn encode(name: &str) -> String {
        name.replace('%', "%25").replace('\r', "%0D").replace('\n', "%0A")
    }
}

/// Which files a bag's manifest may list.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Side {
    Payload,
    Tags,
}

/// A bag's manifest as text.
fn manifest_text(manifest: &Manifest) -> Result<String, BagError> {
    let mut out = String::new();
    for (name, digest) in manifest.iter() {
        let text =
            std::str::from_utf8(name.as_bytes()).map_err(|_| BagError::NotUtf8 { name: name.clone() })?;
        out.push_str(&format!("{digest}  {}\n", Encoding::encode(text)));
    }
    Ok(out)
}

/// Reads a bag's SHA-256 manifest. Unlike in `sha256sum`'s format the space may be of any length,
/// and nothing is escaped with backslashes.
fn read_manifest(path: &Path, encoding: Encoding, side: Side) -> Result<Manifest, ManifestError> {
    let text = Manifest::read_bytes(path)?;
    let mut manifest = Manifest::default();
    for (index, line) in text.split(|&b| b == b'\n').enumerate() {
        let line = line.strip_suffix(b"\r").unwrap_or(line);
        if line.is_empty() {
            continue;
        }
        bag_line(line, encoding, side)
            .and_then(|(name, digest)| match manifest.insert(name.clone(), digest) {
                Some(other) if other != digest => Err(LineProblem::Conflict { name }),
                _ => Ok(()),
            })
            .map_err(|problem| ManifestError::Line { path: path.to_path_buf(), line: index + 1, problem })?;
    }
    Ok(manifest)
}

fn bag_line(
    line: &[u8],
    encoding: Encoding,
    side: Side,
) -> Result<(EvidenceName, Sha256Digest), LineProblem> {
    let form = || LineProblem::BagForm { found: String::from_utf8_lossy(line).chars().take(80).collect() };
    let (digits, rest) = line.split_at_checked(64).ok_or_else(form)?;
    let digest = std::str::from_utf8(digits).ok().and_then(|d| d.parse().ok()).ok_or_else(form)?;
    let name = rest.trim_ascii_start();
    if name.len() == rest.len() {
        return Err(form());
    }
    // Written by tools that mark binary mode, as the RFC allows.
    let name = name.strip_prefix(b"*").unwrap_or(name);
    let name = EvidenceName::new(&encoding.decode(name))?;
    let payload = name.as_bytes().starts_with(b"data/");
    if payload == (side == Side::Payload) { Ok((name, digest)) } else { Err(LineProblem::WrongSide { name }) }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 8493, section 2.1.3: CR, LF and % are percent-encoded, "and only those".
    #[test]
    fn names_are_encoded_as_the_rfc_says() {
        for (name, encoded) in [
            ("data/plain é 母.jpg", "data/plain é 母.jpg"),
            ("data/a\nb\rc", "data/a%0Ab%0Dc"),
            ("data/50%.jpg", "data/50%25.jpg"),
            ("data/%0A", "data/%250A"),
            ("data/%25", "data/%2525"),
        ] {
            assert_eq!(Encoding::encode(name), encoded);
            let decoded = Encoding::Rfc8493.decode(encoded.as_bytes());
            assert_eq!(decoded, name.as_bytes());
        }
        let old = Encoding::LineEnds;
        assert_eq!(old.decode(b"50%25 %0a%2"), b"50%25 \n%2");
    }

    #[test]
    fn malformed_lines_are_named() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join(PAYLOAD_MANIFEST);
        let digest = Sha256Digest::of(b"");
        for (line, expected) in [
            (format!("{digest} data/../../x"), "\"..\""),
            (format!("{digest} /etc/passwd"), "absolute"),
            (format!("{digest} bagit.txt"), "data/"),
            (format!("{digest}data/x"), "expected a hash"),
            ("0123  data/x".to_owned(), "expected a hash"),
            (format!("{digest}"), "expected a hash"),
        ] {
            std::fs::write(&path, format!("{digest}\tdata/ok\r\n{line}\n")).unwrap();
            let error = read_manifest(&path, Encoding::Rfc8493, Side::Payload).unwrap_err().to_string();
            assert!(error.contains("line 2"), "{error}");
            assert!(error.contains(expected), "{error}");
        }
    }
}
