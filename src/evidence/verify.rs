//! Sealing a folder, and telling later what has become of it: unchanged, changed, missing, added.
//!
//! Everything is read in one pass, in parallel, with memory for one buffer a thread. A file that
//! cannot be read counts as none of the four: it is reported as unreadable, and a folder with such
//! a file does not match. Sealing again over files that have changed since would quietly turn
//! altered evidence into sealed evidence, so it is refused, with the differences, unless told.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use rayon::prelude::*;
use serde::Serialize;

use super::atomic;
use super::fields::SALTS_NAME;
use super::folder::{FolderError, LeftOut, Listing, list};
use super::hash::{HashError, Meter, OnProgress, Sha256Digest, copy_file};
use super::manifest::{MANIFEST_NAME, Manifest, ManifestError};
use super::name::{EvidenceName, NameError, UnsafeName, gone, locate};
use crate::record::open::FileError;

/// How one file stands against the manifest.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, schemars::JsonSchema)]
#[serde(tag = "state", rename_all = "kebab-case")]
pub enum FileState {
    /// Its hash is the one in the manifest.
    Unchanged {
        /// The hash of both.
        digest: Sha256Digest,
    },
    /// Its hash is another one.
    Changed {
        /// The hash in the manifest.
        sealed: Sha256Digest,
        /// The hash of the file now.
        found: Sha256Digest,
    },
    /// In the manifest, not in the folder.
    Missing {
        /// The hash in the manifest.
        sealed: Sha256Digest,
    },
    /// In the folder, not in the manifest.
    Added {
        /// The hash of the file now.
        found: Sha256Digest,
    },
    /// In the folder, but could not be read, so that nothing can be said of it.
    Unreadable {
        /// Why, in words.
        why: String,
    },
}

/// A file and how it stands.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, schemars::JsonSchema)]
pub struct FileResult {
    /// Its name.
    #[schemars(with = "String")]
    pub name: EvidenceName,
    /// How it stands.
    #[serde(flatten)]
    pub state: FileState,
}

/// How a folder stands against a manifest.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, schemars::JsonSchema)]
pub struct SealComparison {
    /// Every file of either side, sorted by name.
    pub files: Vec<FileResult>,
}

/// How many files are in each state.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, schemars::JsonSchema)]
#[allow(missing_docs)]
pub struct Counts {
    pub unchanged: usize,
    pub changed: usize,
    pub missing: usize,
    pub added: usize,
    pub unreadable: usize,
}

impl SealComparison {
    /// Puts two manifests against each other: what was sealed and what was found.
    pub fn of(sealed: &Manifest, found: &Manifest) -> Self {
        let mut states: BTreeMap<&EvidenceName, FileState> = BTreeMap::new();
        for (name, digest) in sealed.iter() {
            states.insert(
                name,
                match found.get(name) {
                    Some(now) if now == digest => FileState::Unchanged { digest },
                    Some(now) => FileState::Changed { sealed: digest, found: now },
                    None => FileState::Missing { sealed: digest },
                },
            );
        }
        for (name, digest) in found.iter() {
            let added = FileState::Added { found: digest };
            states.entry(name).or_insert(added);
        }
        let files =
            states.into_iter().map(|(name, state)| FileResult { name: name.clone(), state }).collect();
        Self { files }
    }

    /// Whether every file is unchanged, none is missing, added or unreadable, and there is one.
    pub fn matches(&self) -> bool {
        !self.files.is_empty() && self.differences().next().is_none()
    }

    /// All files that are not unchanged.
    pub fn differences(&self) -> impl Iterator<Item = &FileResult> {
        self.files.iter().filter(|f| !matches!(f.state, FileState::Unchanged { .. }))
    }

    /// How many files are in each state.
    pub fn counts(&self) -> Counts {
        let mut counts = Counts::default();
        for file in &self.files {
            *match file.state {
                FileState::Unchanged { .. } => &mut counts.unchanged,
                FileState::Changed { .. } => &mut counts.changed,
                FileState::Missing { .. } => &mut counts.missing,
                FileState::Added { .. } => &mut counts.added,
                FileState::Unreadable { .. } => &mut counts.unreadable,
            } += 1;
        }
        counts
    }

    /// Missing and added files with the same hash: most likely renamed or moved. `(old, new)`.
    pub fn renamed(&self) -> Vec<(&EvidenceName, &EvidenceName)> {
        let mut added: BTreeMap<Sha256Digest, Vec<&EvidenceName>> = BTreeMap::new();
        for file in self.files.iter().rev() {
            if let FileState::Added { found } = file.state {
                added.entry(found).or_default().push(&file.name);
            }
        }
        self.files
            .iter()
            .filter_map(|file| match file.state {
                FileState::Missing { sealed } => {
                    let new = added.get_mut(&sealed)?.pop()?;
                    Some((&file.name, new))
                }
                _ => None,
            })
            .collect()
    }

    /// Whether sealed evidence has been altered or lost, as opposed to merely added to. New salts stand for the same record.
    fn loses_evidence(&self) -> bool {
        let is_lost = |file: &FileResult| {
            !matches!(file.state, FileState::Added { .. }) && file.name.as_bytes() != SALTS_NAME.as_bytes()
        };
        self.differences().any(is_lost)
    }
}

/// Why a folder was not compared with its manifest.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs)] // The message of each says what it is.
pub enum VerifyError {
    #[error(transparent)]
    Folder(#[from] FolderError),
    #[error(transparent)]
    Manifest(#[from] ManifestError),
    #[error(transparent)]
    Name(#[from] NameError),
}

/// Compares an inspection folder with its manifest, [`MANIFEST_NAME`].
///
/// # Errors
/// When the manifest or the folder cannot be read or holds something refused. A single file that
/// cannot be read is no error but a [`FileState::Unreadable`].
pub fn verify(folder: &Path, on: OnProgress<'_>) -> Result<SealComparison, VerifyError> {
    let manifest = Manifest::read(&folder.join(MANIFEST_NAME))?;
    verify_against(folder, &manifest, on)
}

/// Compares an inspection folder with a manifest that came from elsewhere.
///
/// A file that the manifest names is compared wherever in the folder it lies; only evidence, as
/// [`list`] sees it, counts as added.
///
/// # Errors
/// As [`verify`].
pub fn verify_against(
    folder: &Path,
    manifest: &Manifest,
    on: OnProgress<'_>,
) -> Result<SealComparison, VerifyError> {
    let Listing { files, .. } = list(folder)?;
    let mut paths: BTreeMap<EvidenceName, PathBuf> = files.into_iter().map(|f| (f.name, f.path)).collect();
    for (name, _) in manifest.iter() {
        if !paths.contains_key(name) {
            paths.insert(name.clone(), locate(folder, name)?);
        }
    }
    Ok(compare(manifest, paths, on))
}

/// Hashes `paths` and compares them with `sealed`. A path that is not there is left to be missing.
pub(crate) fn compare(
    sealed: &Manifest,
    paths: BTreeMap<EvidenceName, PathBuf>,
    on: OnProgress<'_>,
) -> SealComparison {
    let paths: Vec<_> = paths.into_iter().collect();
    let (found, unreadable) = hash_all(&paths, on);
    let mut comparison = SealComparison::of(sealed, &found);
    let mut unreadable: BTreeMap<_, _> = unreadable
        .into_iter()
        .filter(|(_, error)| !error.is_gone())
        .map(|(name, error)| (name, error.to_string()))
        .collect();
    for file in &mut comparison.files {
        if let Some(why) = unreadable.remove(&file.name) {
            file.state = FileState::Unreadable { why };
        }
    }
    // What is left was in the folder but neither read nor in the manifest.
    for (name, why) in unreadable {
        let state = FileState::Unreadable { why };
        comparison.files.push(FileResult { name, state });
    }
    comparison.files.sort_by(|a, b| a.name.cmp(&b.name));
    comparison
}

fn hash_all(
    paths: &[(EvidenceName, PathBuf)],
    on: OnProgress<'_>,
) -> (Manifest, Vec<(EvidenceName, HashError)>) {
    let total = paths.iter().filter_map(|(_, p)| p.symlink_metadata().ok()).map(|m| m.len()).sum();
    let meter = Meter::new(total, on);
    let results: Vec<_> = paths
        .par_iter()
        .map(|(name, path)| {
            let result = copy_file(path, &mut std::io::sink(), |n| meter.add(n));
            (name.clone(), result)
        })
        .collect();
    let mut found = Manifest::default();
    let mut failed = Vec::new();
    for (name, result) in results {
        match result {
            Ok(digest) => {
                found.insert(name, digest);
            }
            Err(error) => failed.push((name, error)),
        }
    }
    (found, failed)
}

/// A folder that has been sealed.
#[derive(Debug, Clone)]
pub struct Sealed {
    /// Where the manifest is.
    pub manifest_path: PathBuf,
    /// What it says.
    pub manifest: Manifest,
    /// The hash of the manifest file itself: the one figure to publish.
    pub manifest_digest: Sha256Digest,
    /// Bytes of evidence covered.
    pub bytes: u64,
    /// What in the folder is not covered.
    pub left_out: Vec<LeftOut>,
    /// How the evidence stood against the manifest before; none where there was none.
    pub before: Option<SealComparison>,
    /// False where the manifest that lay there still held.
    pub written: bool,
}

/// Why a folder was not sealed.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs)] // The message of each says what it is.
pub enum SealError {
    #[error(transparent)]
    Folder(#[from] FolderError),
    #[error(transparent)]
    Hash(#[from] HashError),
    #[error(transparent)]
    File(#[from] FileError),
    #[error(transparent)]
    Name(#[from] UnsafeName),
    #[error("the seal cannot be read: {0}")]
    Unreadable(ManifestError),
    #[error(
        "evidence has changed since it was sealed ({} changed, {} missing or no longer \
         counted as evidence); \
         look at the differences, and replace the seal only if they are meant",
        .0.counts().changed,
        .0.counts().missing
    )]
    Differs(SealComparison),
}

/// Hashes all evidence of an inspection folder into its manifest.
///
/// With `replace` an older manifest is replaced whatever has changed. Files that were only added since need no `replace`.
/// `salts` is a new private file of salts, written with the seal; without it the one that lies there stays.
///
/// # Errors
/// When any file of the evidence cannot be hashed (a seal with holes is none), when evidence
/// sealed before has changed or is missing and `replace` is not set, and when the system refuses.
pub fn seal(
    folder: &Path,
    replace: bool,
    salts: Option<&str>,
    on: OnProgress<'_>,
) -> Result<Sealed, SealError> {
    let manifest_path = folder.join(MANIFEST_NAME);
    let old = match Manifest::read(&manifest_path) {
        Ok(old) => Some(old),
        Err(ManifestError::File(e)) if gone(&e.source) => None,
        Err(_) if replace => None,
        Err(e) => return Err(SealError::Unreadable(e)),
    };
    let Listing { files, left_out } = list(folder)?;
    let bytes = files.iter().map(|f| f.bytes).sum();
    let paths: Vec<_> = files.into_iter().map(|f| (f.name, f.path)).collect();
    let (mut manifest, failed) = hash_all(&paths, on);
    if let Some((_, error)) = failed.into_iter().next() {
        return Err(error.into());
    }
    if let Some(salts) = salts {
        manifest.insert(EvidenceName::new(SALTS_NAME.as_bytes())?, Sha256Digest::of(salts.as_bytes()));
    }
    let before = old.map(|old| SealComparison::of(&old, &manifest));
    // An identical manifest is left alone: its time and its signatures stay what they were.
    let unchanged = before.as_ref().is_some_and(SealComparison::matches);
    let before = match before {
        Some(before) if !replace && before.loses_evidence() => return Err(SealError::Differs(before)),
        before => before,
    };
    if !unchanged {
        if let Some(salts) = salts {
            atomic::replace_private(&folder.join(SALTS_NAME), salts.as_bytes())?;
        }
        manifest.write(&manifest_path)?;
    }
    // Read back, so that the figure people publish is that of the file as it lies there.
    let on_disk = Manifest::read_bytes(&manifest_path).map_err(SealError::Unreadable)?;
    Ok(Sealed {
        manifest_path,
        manifest,
        manifest_digest: Sha256Digest::of(&on_disk),
        bytes,
        left_out,
        before,
        written: !unchanged,
    })
}
