//! What belongs to the sealed evidence of an inspection folder, and what does not.
//!
//! Evidence is the record `inspection.toml`, everything under `photos/` and `logs/`, and the house
//! rules and checklists that the findings rest on, and the salts of the record's fields. What is generated is not, because it can be made
//! again: the write-up in `report/`, the description, chapters and cards in `video-kit/` (`appendix/` once), the manifest
//! and its signatures (comparisons, collections and bags lie outside the folder). Nor are hidden files and the leftovers of editors and half-done copies. Whatever is left
//! out is listed, so that nobody believes a file sealed that was not.
//!
//! Refused: links, even those that stay inside (evidence must be the file itself; a link can be
//! pointed elsewhere without its hash changing), pipes, sockets and devices, and folders deeper or
//! larger than any inspection.

use std::fs::Metadata;
use std::io;
use std::path::{Path, PathBuf};

use walkdir::{DirEntry, WalkDir};

use super::fields::{FIELDS_NAME, SALTS_NAME};
use super::manifest::MANIFEST_NAME;
pub use super::name::RECORD_NAME;
use super::name::{EvidenceName, UnsafeName};
use super::seals::SEALS_NAME;
use super::timestamp::{REQUEST_ENDING, TOKEN_ENDING};
use crate::record::open::FileError;
use crate::record::open::unlike_a_file;
use crate::units::terminal::shown;

/// Folders whose whole content is evidence.
pub const EVIDENCE_FOLDERS: [&str; 4] = ["checklists", "logs", "photos", "rules"];

/// The most files that one inspection is taken to hold.
pub const MAX_FILES: usize = 100_000;

/// The deepest nesting of folders that one inspection is taken to hold.
pub const MAX_DEPTH: usize = 32;

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct EvidenceFile {
    pub name: EvidenceName,
    pub path: PathBuf,
    /// Its size in bytes when it was listed.
    pub bytes: u64,
}

/// Why something in the folder is not sealed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, schemars::JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
pub enum LeftOutReason {
    /// Its name begins with a dot, or the system put it there for its own use.
    Hidden,
    /// An editor's, a browser's or a card reader's leftover.
    Temporary,
    /// Neither the record nor in one of [`EVIDENCE_FOLDERS`].
    Elsewhere,
}

/// A file or whole folder that is not sealed.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize, schemars::JsonSchema)]
pub struct LeftOut {
    /// Its name.
    #[schemars(with = "String")]
    pub name: EvidenceName,
    /// Why.
    pub reason: LeftOutReason,
}

/// What an inspection folder holds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Listing {
    /// The evidence, sorted by name.
    pub files: Vec<EvidenceFile>,
    /// What is not evidence, sorted by name; not what the tool itself generates.
    pub left_out: Vec<LeftOut>,
}

/// Why a folder's evidence was not listed.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
#[allow(missing_docs)] // The message of each says what it is.
pub enum FolderError {
    #[error(transparent)]
    File(#[from] FileError),
    #[error("{}: holds no {RECORD_NAME}; this is no inspection folder", shown(folder))]
    NoRecord { folder: PathBuf },
    #[error(
        "{}: is a link that leads out of the inspection folder or to nothing; put the file itself in its place",
        shown(path)
    )]
    LinkOutside { path: PathBuf },
    #[error(
        "{}: is a link; evidence must be the file itself, because a link can be pointed elsewhere \
         later; put the file in its place",
        shown(path)
    )]
    LinkInside { path: PathBuf },
    #[error("{}: is {what}, not a plain file", shown(path))]
    NotAPlainFile {
        path: PathBuf,
        /// What was found, with its article.
        what: &'static str,
    },
    #[error(transparent)]
    Name(#[from] UnsafeName),
    #[error("{}: holds more than {MAX_FILES} files; this is no inspection folder", shown(folder))]
    TooMany { folder: PathBuf },
    #[error("{}: lies more than {MAX_DEPTH} folders deep", shown(path))]
    TooDeep { path: PathBuf },
}

/// Lists the evidence of an inspection folder without opening any file.
///
/// # Errors
/// When there is no record, when something among the evidence is not a plain file or folder, when
/// the folder is too large or too deep, and when the system refuses.
pub fn list(folder: &Path) -> Result<Listing, FolderError> {
    list_within(folder, MAX_FILES)
}

fn list_within(folder: &Path, max_files: usize) -> Result<Listing, FolderError> {
    let record = folder.join(RECORD_NAME);
    match record.symlink_metadata() {
        Ok(found) => require_plain(folder, &record, &found)?,
        Err(e) if e.kind() == io::ErrorKind::NotFound && folder.is_dir() => {
            let folder = folder.to_path_buf();
            return Err(FolderError::NoRecord { folder });
        }
        Err(e) => return Err(FileError::on("read", &record)(e).into()),
    }
    let mut listing = Listing { files: Vec::new(), left_out: Vec::new() };
    let mut seen = 0_usize;
    // One deeper than allowed, so that what lies too deep is met and refused instead of passed over.
    let mut walk = WalkDir::new(folder).follow_links(false).min_depth(1).max_depth(MAX_DEPTH + 1).into_iter();
    while let Some(entry) = walk.next() {
        let entry = entry.map_err(|e| walk_error(folder, e))?;
        seen += 1;
        if seen > max_files {
            let folder = folder.to_path_buf();
            return Err(FolderError::TooMany { folder });
        }
        let relative = entry.path().strip_prefix(folder).unwrap_or(entry.path());
        match place(&entry) {
            Place::Generated => skip(&mut walk, &entry),
            Place::LeftOut(reason) => {
                let name = EvidenceName::from_relative(relative)?;
                listing.left_out.push(LeftOut { name, reason });
                skip(&mut walk, &entry);
            }
            Place::Evidence => {
                if entry.depth() > MAX_DEPTH {
                    let path = entry.into_path();
                    return Err(FolderError::TooDeep { path });
                }
                if entry.file_type().is_dir() {
                    continue;
                }
                let metadata = entry.metadata().map_err(|e| walk_error(folder, e))?;
                require_plain(folder, entry.path(), &metadata)?;
                listing.files.push(EvidenceFile {
                    name: EvidenceName::from_relative(relative)?,
                    bytes: metadata.len(),
                    path: entry.into_path(),
                });
            }
        }
    }
    listing.files.sort_by(|a, b| a.name.cmp(&b.name));
    listing.left_out.sort_by(|a, b| a.name.cmp(&b.name));
    Ok(listing)
}

/// Every plain file under `folder/top`, hidden ones too, named relative to `folder`. For bags and
/// write-ups, where everything counts.
pub(crate) fn all_files(folder: &Path, top: &str) -> Result<Vec<EvidenceFile>, FolderError> {
    let root = folder.join(top);
    let metadata = root.symlink_metadata().map_err(FileError::on("list", &root))?;
    if !metadata.is_dir() {
        let what = unlike_a_file(&metadata).unwrap_or("a file where a folder belongs");
        return Err(FolderError::NotAPlainFile { path: root, what });
    }
    let mut files = Vec::new();
    let walk = WalkDir::new(&root).follow_links(false).max_depth(MAX_DEPTH + 1);
    for (seen, entry) in walk.into_iter().enumerate() {
        let entry = entry.map_err(|e| walk_error(&root, e))?;
        if seen > MAX_FILES {
            return Err(FolderError::TooMany { folder: root });
        }
        if entry.depth() > MAX_DEPTH {
            let path = entry.into_path();
            return Err(FolderError::TooDeep { path });
        }
        if entry.file_type().is_dir() {
            continue;
        }
        let metadata = entry.metadata().map_err(|e| walk_error(&root, e))?;
        require_plain(folder, entry.path(), &metadata)?;
        let relative = entry.path().strip_prefix(folder).unwrap_or(entry.path());
        files.push(EvidenceFile {
            name: EvidenceName::from_relative(relative)?,
            bytes: metadata.len(),
            path: entry.into_path(),
        });
    }
    files.sort_by(|a, b| a.name.cmp(&b.name));
    Ok(files)
}

/// Whether a name is one that evidence has: the record, or a file in one of its folders that is no leftover.
pub(crate) fn is_evidence(name: &EvidenceName) -> bool {
    let text = name.to_text();
    let mut parts = text.split('/');
    let first = parts.next().unwrap_or_default();
    text == RECORD_NAME
        || text == SALTS_NAME
        || (text.contains('/')
            && EVIDENCE_FOLDERS.contains(&first)
            && parts.all(|part| leftover(part).is_none()))
}

enum Place {
    Evidence,
    Generated,
    LeftOut(LeftOutReason),
}

fn place(entry: &DirEntry) -> Place {
    let name = entry.file_name().to_string_lossy();
    if entry.depth() == 1 {
        let is_evidence_folder = EVIDENCE_FOLDERS.contains(&name.as_ref()) && !entry.file_type().is_file();
        return if name == RECORD_NAME || name == SALTS_NAME || is_evidence_folder {
            Place::Evidence
        } else if matches!(name.as_ref(), "report" | "video-kit" | "appendix")
            || name == FIELDS_NAME
            || is_manifest_or_signature(&name)
        {
            Place::Generated
        } else {
            Place::LeftOut(leftover(&name).unwrap_or(LeftOutReason::Elsewhere))
        };
    }
    match leftover(&name) {
        Some(reason) => Place::LeftOut(reason),
        None => Place::Evidence,
    }
}

/// The manifest, the chain of seals, and the signatures and tokens of time beside them.
fn is_manifest_or_signature(name: &str) -> bool {
    [MANIFEST_NAME, SEALS_NAME]
        .iter()
        .filter_map(|known| name.strip_prefix(known))
        .any(|rest| matches!(rest, "" | ".minisig" | REQUEST_ENDING | TOKEN_ENDING))
}

fn leftover(name: &str) -> Option<LeftOutReason> {
    let lower = name.to_ascii_lowercase();
    let temporary = lower.ends_with('~')
        || (lower.starts_with('#') && lower.ends_with('#') && lower.len() > 1)
        || lower.starts_with("~$")
        || [".tmp", ".temp", ".part", ".partial", ".crdownload", ".swp"]
            .iter()
            .any(|ending| lower.ends_with(ending));
    if lower.starts_with('.') || matches!(lower.as_str(), "thumbs.db" | "desktop.ini") {
        Some(LeftOutReason::Hidden)
    } else if temporary {
        Some(LeftOutReason::Temporary)
    } else {
        None
    }
}

fn skip(walk: &mut walkdir::IntoIter, entry: &DirEntry) {
    if entry.file_type().is_dir() {
        walk.skip_current_dir();
    }
}

fn require_plain(folder: &Path, path: &Path, metadata: &Metadata) -> Result<(), FolderError> {
    let path_buf = path.to_path_buf();
    if metadata.is_symlink() {
        let inside = match (folder.canonicalize(), path.canonicalize()) {
            (Ok(folder), Ok(target)) => target.starts_with(folder),
            _ => false,
        };
        return Err(if inside {
            FolderError::LinkInside { path: path_buf }
        } else {
            FolderError::LinkOutside { path: path_buf }
        });
    }
    match unlike_a_file(metadata) {
        None => Ok(()),
        Some(what) => Err(FolderError::NotAPlainFile { path: path_buf, what }),
    }
}

fn walk_error(folder: &Path, error: walkdir::Error) -> FolderError {
    let path = error.path().unwrap_or(folder).to_path_buf();
    let source = error.into_io_error().unwrap_or_else(|| io::Error::other("the folder contains itself"));
    FileError::on("list", &path)(source).into()
}

#[cfg(test)]
mod tests {
    use std::fs;

    use super::*;

    fn write(folder: &Path, name: &str) {
        let path = folder.join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, name).unwrap();
    }

    #[test]
    fn evidence_and_the_rest_are_told_apart() {
        let dir = tempfile::tempdir().unwrap();
        let evidence = [
            "checklists/house.toml",
            "inspection.toml",
            "logs/capacity.csv",
            "photos/1.jpg",
            "photos/bms/2.heic",
            "photos/report",
            "rules/house.toml",
        ];
        let generated = ["photos.sha256", "photos.sha256.minisig", "report/report.md"];
        use LeftOutReason::*;
        let left_out = [
            (".git/config", ".git", Hidden),
            ("Photos/3.jpg", "Photos", Elsewhere),
            ("notes.txt", "notes.txt", Elsewhere),
            ("inspection.toml~", "inspection.toml~", Temporary),
            ("photos/.DS_Store", "photos/.DS_Store", Hidden),
            ("photos/Thumbs.db", "photos/Thumbs.db", Hidden),
            ("photos/4.jpg.part", "photos/4.jpg.part", Temporary),
        ];
        for name in evidence.into_iter().chain(generated) {
            write(dir.path(), name);
        }
        for (name, ..) in left_out {
            write(dir.path(), name);
        }
        let listing = list(dir.path()).unwrap();
        let names: Vec<_> = listing.files.iter().map(|f| f.name.to_text()).collect();
        assert_eq!(names, evidence);
        for file in &listing.files {
            assert_eq!(fs::read(&file.path).unwrap(), file.name.as_bytes());
            assert_eq!(file.bytes, file.name.as_bytes().len() as u64);
        }
        let mut expected: Vec<_> = left_out.iter().map(|(_, n, r)| (n.to_string(), *r)).collect();
        expected.sort_by(|a, b| a.0.cmp(&b.0));
        let found: Vec<_> = listing.left_out.iter().map(|l| (l.name.to_text(), l.reason)).collect();
        assert_eq!(found, expected);
    }

    #[test]
    fn a_folder_without_a_record_is_no_inspection() {
        let dir = tempfile::tempdir().unwrap();
        write(dir.path(), "photos/1.jpg");
        let error = list(dir.path()).unwrap_err();
        assert!(matches!(error, FolderError::NoRecord { .. }), "{error}");
        let error = list(&dir.path().join("nowhere")).unwrap_err();
        assert!(matches!(error, FolderError::File(_)), "{error}");
    }

    #[cfg(unix)]
    #[test]
    fn links_and_special_files_are_refused_by_name() {
        use std::os::unix::fs::symlink;
        let outside = tempfile::tempdir().unwrap();
        write(outside.path(), "secret");
        let with = |make: &dyn Fn(&Path)| {
            let dir = tempfile::tempdir().unwrap();
            write(dir.path(), "inspection.toml");
            write(dir.path(), "photos/1.jpg");
            make(dir.path());
            list(dir.path()).map(|_| ()).map_err(|e| e.to_string())
        };
        let secret = outside.path().join("secret");
        for (expected, make) in [
            (
                "photos/x.jpg: is a link that leads out",
                &(|d: &Path| symlink(&secret, d.join("photos/x.jpg")).unwrap()) as &dyn Fn(&Path),
            ),
            ("photos/album: is a link that leads out", &|d| {
                symlink(outside.path(), d.join("photos/album")).unwrap();
            }),
            ("logs: is a link that leads out", &|d| symlink(outside.path(), d.join("logs")).unwrap()),
            ("photos/2.jpg: is a link; evidence", &|d| symlink("1.jpg", d.join("photos/2.jpg")).unwrap()),
            ("photos/2.jpg: is a link that leads out", &|d| {
                symlink("gone.jpg", d.join("photos/2.jpg")).unwrap();
            }),
            ("inspection.toml: is a link", &|d| {
                fs::remove_file(d.join("inspection.toml")).unwrap();
                symlink(&secret, d.join("inspection.toml")).unwrap();
            }),
            ("photos/pipe.jpg: is a pipe", &|d| {
                let mut mkfifo = std::process::Command::new("mkfifo");
                mkfifo.arg(d.join("photos/pipe.jpg")).status().unwrap();
            }),
        ] {
            let error = with(make).unwrap_err();
            assert!(error.contains(expected), "{error}");
        }
        // A link among what is left out cannot hurt.
        assert_eq!(with(&|d| symlink(&secret, d.join("x")).unwrap()), Ok(()));
    }

    #[test]
    fn limits_hold() {
        let dir = tempfile::tempdir().unwrap();
        write(dir.path(), "inspection.toml");
        let deep = format!("photos/{}x.jpg", "d/".repeat(MAX_DEPTH - 2));
        write(dir.path(), &deep);
        assert_eq!(list(dir.path()).unwrap().files.len(), 2);
        let error = list_within(dir.path(), 10).unwrap_err();
        assert!(matches!(error, FolderError::TooMany { .. }), "{error}");
        let deeper = format!("photos/{}x.jpg", "d/".repeat(MAX_DEPTH - 1));
        write(dir.path(), &deeper);
        let error = list(dir.path()).unwrap_err();
        assert!(matches!(error, FolderError::TooDeep { .. }), "{error}");
    }
}
