//! Checking a bag: complete (everything listed is there, nothing else is) and valid (every hash
//! fits), in the words of RFC 8493, section 3.

use std::collections::BTreeMap;
use std::io::Read;
use std::path::Path;

use serde::Serialize;

use super::{
    BAG_DECLARATION, BAG_INFO, BagError, Encoding, PAYLOAD, PAYLOAD_MANIFEST, Side, TAG_MANIFEST,
    read_manifest,
};
use crate::evidence::folder::{all_files, is_evidence};
use crate::evidence::hash::{HashError, OnProgress};
use crate::evidence::manifest::{Manifest, ManifestError};
use crate::evidence::name::{EvidenceName, gone, locate};
use crate::evidence::verify::{FileResult, FileState, SealComparison, compare};
use crate::record::open::{self, FileError};

/// The most that is read of `bagit.txt` or `bag-info.txt`, in bytes.
const TAG_MAX_BYTES: u64 = 1024 * 1024;

/// Size and number of payload files (`Payload-Oxum`: bytes, a dot, files).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, schemars::JsonSchema)]
pub struct Oxum {
    /// Bytes of all payload files together.
    pub bytes: u64,
    /// How many payload files.
    pub files: u64,
}

/// Whether the size that `bag-info.txt` gives is right.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, schemars::JsonSchema)]
#[serde(tag = "state", rename_all = "kebab-case")]
pub enum OxumState {
    /// It is.
    Matches,
    /// The payload is of another size.
    Differs {
        /// As given.
        given: Oxum,
        /// As found.
        found: Oxum,
    },
    /// What is given is not of the form `bytes.files`.
    Malformed,
    /// Nothing is given; the RFC does not ask for it.
    NotGiven,
}

/// What a bag turned out to be.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, schemars::JsonSchema)]
pub struct BagReport {
    /// The version of BagIt it declares.
    pub version: String,
    /// How the payload stands against the payload manifest.
    pub payload: SealComparison,
    /// How the tag files stand against the tag manifest, if there is one. Tag files that it does
    /// not list are allowed and not reported.
    pub tags: Option<SealComparison>,
    /// Whether the given size is right.
    pub oxum: OxumState,
    /// Manifests with other algorithms, which were not checked.
    pub not_checked: Vec<String>,
    /// Whether the bag asks for files to be fetched from the network, which is never done.
    pub asks_to_fetch: bool,
}

impl BagReport {
    /// How the inspection in the payload stands against the seal that lies in it, told from the hashes that were
    /// found, without reading anything again.
    pub fn against_seal(&self, sealed: &Manifest) -> SealComparison {
        let in_payload = |name: &EvidenceName| {
            let name = EvidenceName::new(name.as_bytes().strip_prefix(b"data/")?).ok()?;
            (sealed.get(&name).is_some() || is_evidence(&name)).then_some(name)
        };
        let (mut found, mut unreadable) = (Manifest::default(), Vec::new());
        for file in &self.payload.files {
            let Some(name) = in_payload(&file.name) else { continue };
            match &file.state {
                FileState::Unchanged { digest: found_now }
                | FileState::Changed { found: found_now, .. }
                | FileState::Added { found: found_now } => {
                    found.insert(name, *found_now);
                }
                FileState::Missing { .. } => {}
                FileState::Unreadable { .. } => unreadable.push((name, file.state.clone())),
            }
        }
        let mut comparison = SealComparison::of(sealed, &found);
        for (name, state) in unreadable {
            comparison.files.retain(|file| file.name != name);
            comparison.files.push(FileResult { name, state });
        }
        comparison.files.sort_by(|a, b| a.name.cmp(&b.name));
        comparison
    }

    /// Complete and valid: every payload file is listed and unchanged, and so are the tag files.
    pub fn is_valid(&self) -> bool {
        let tags_hold = self.tags.as_ref().is_none_or(SealComparison::matches);
        let size_holds = matches!(self.oxum, OxumState::Matches | OxumState::NotGiven);
        self.payload.matches() && tags_hold && size_holds
    }
}

/// Checks a bag against its SHA-256 manifests.
///
/// # Errors
/// When the folder is no bag, a manifest is malformed, or something in it is refused (links,
/// special files, names that leave the bag).
pub fn check(bag: &Path, on: OnProgress<'_>) -> Result<BagReport, BagError> {
    let (version, encoding) = declaration(bag)?;
    let path = bag.join(PAYLOAD_MANIFEST);
    let manifest = match read_manifest(&path, encoding, Side::Payload) {
        Err(ManifestError::File(e)) if gone(&e.source) => {
            let bag = bag.to_path_buf();
            return Err(BagError::NoManifest { bag });
        }
        other => other?,
    };
    let files = all_files(bag, PAYLOAD)?;
    let found = Oxum { bytes: files.iter().map(|f| f.bytes).sum(), files: files.len() as u64 };
    let mut paths: BTreeMap<_, _> = files.into_iter().map(|f| (f.name, f.path)).collect();
    for (name, _) in manifest.iter() {
        if !paths.contains_key(name) {
            paths.insert(name.clone(), locate(bag, name)?);
        }
    }
    Ok(BagReport {
        version,
        payload: compare(&manifest, paths, on),
        tags: tags(bag, encoding)?,
        oxum: oxum(bag, found)?,
        not_checked: other_manifests(bag)?,
        asks_to_fetch: bag.join("fetch.txt").symlink_metadata().is_ok(),
    })
}

fn tags(bag: &Path, encoding: Encoding) -> Result<Option<SealComparison>, BagError> {
    let path = bag.join(TAG_MANIFEST);
    let manifest = match read_manifest(&path, encoding, Side::Tags) {
        Err(ManifestError::File(e)) if gone(&e.source) => return Ok(None),
        other => other?,
    };
    let paths = manifest
        .iter()
        .map(|(name, _)| Ok((name.clone(), locate(bag, name)?)))
        .collect::<Result<BTreeMap<_, _>, BagError>>()?;
    Ok(Some(compare(&manifest, paths, &|_| {})))
}

fn declaration(bag: &Path) -> Result<(String, Encoding), BagError> {
    let path = bag.join(BAG_DECLARATION);
    let refuse = |problem| BagError::Declaration { path: path.clone(), problem };
    let text = read_tag(&path)?;
    let mut lines = text.lines();
    let mut value = |label: &str| {
        let (found, value) = lines.next()?.split_once(':')?;
        (found.trim() == label).then(|| value.trim().to_owned())
    };
    let version =
        value("BagIt-Version").ok_or_else(|| refuse("expected \"BagIt-Version: 1.0\" in the first line"))?;
    let charset = value("Tag-File-Character-Encoding")
        .ok_or_else(|| refuse("expected \"Tag-File-Character-Encoding: UTF-8\" in the second line"))?;
    if !charset.eq_ignore_ascii_case("utf-8") {
        return Err(refuse("only tag files in UTF-8 are read here"));
    }
    let encoding = match version.as_str() {
        "1.0" => Encoding::Rfc8493,
        "0.93" | "0.94" | "0.95" | "0.96" | "0.97" => Encoding::LineEnds,
        _ => {
            return Err(refuse("is of a version that is not known; 0.93 to 0.97 and 1.0 are"));
        }
    };
    Ok((version, encoding))
}

fn oxum(bag: &Path, found: Oxum) -> Result<OxumState, BagError> {
    let path = bag.join(BAG_INFO);
    let text = match read_tag(&path) {
        Ok(text) => text,
        Err(BagError::Hash(e)) if e.is_gone() => return Ok(OxumState::NotGiven),
        Err(e) => return Err(e),
    };
    let given = text
        .lines()
        .filter_map(|line| line.split_once(':'))
        .find(|(label, _)| label.eq_ignore_ascii_case("Payload-Oxum"));
    let Some((_, given)) = given else {
        return Ok(OxumState::NotGiven);
    };
    let parsed = given
        .trim()
        .split_once('.')
        .and_then(|(bytes, files)| Some(Oxum { bytes: bytes.parse().ok()?, files: files.parse().ok()? }));
    Ok(match parsed {
        None => OxumState::Malformed,
        Some(given) if given == found => OxumState::Matches,
        Some(given) => OxumState::Differs { given, found },
    })
}

fn other_manifests(bag: &Path) -> Result<Vec<String>, BagError> {
    let mut names = Vec::new();
    for path in open::entries(bag).map_err(FileError::on("list", bag))? {
        let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        let is_manifest =
            (name.starts_with("manifest-") || name.starts_with("tagmanifest-")) && name.ends_with(".txt");
        if is_manifest && name != PAYLOAD_MANIFEST && name != TAG_MANIFEST {
            names.push(name);
        }
    }
    Ok(names)
}

fn read_tag(path: &Path) -> Result<String, BagError> {
    let (file, _) = open::plain(path).map_err(HashError::from)?;
    let mut text = Vec::new();
    file.take(TAG_MAX_BYTES).read_to_end(&mut text).map_err(FileError::on("read", path))?;
    // A byte order mark, which the RFC forbids, ends up in the first label and is refused there.
    Ok(String::from_utf8_lossy(&text).into_owned())
}
