//! The one door for reading files and folders.
//!
//! An inspection folder may come from a stranger. A pipe in the place of a log would block for ever, a link would show a
//! file that lies elsewhere, a device has no end. So nothing is opened but plain files, without waiting, and what is
//! read into memory has a bound. A test looks for `File::open` and `fs::read` everywhere else.

use std::fs::{self, DirEntry, File, Metadata, OpenOptions};
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use super::LARGEST;
use crate::units::terminal::shown;

/// Entries of a folder beyond this number are not looked at.
const MOST_ENTRIES: usize = 100_000;

/// The system refused to do something with a file or folder.
#[derive(Debug, thiserror::Error)]
#[error("cannot {action} {}: {source}", shown(path))]
pub struct FileError {
    /// What was tried, as a verb phrase: "read", "create", "rename the new file to".
    pub action: &'static str,
    /// The file or folder it was tried on.
    pub path: PathBuf,
    /// What the system said.
    pub source: io::Error,
}

impl FileError {
    /// For `map_err`: ties a system error to what was being done, and to which file.
    pub(crate) fn on(action: &'static str, path: &Path) -> impl FnOnce(io::Error) -> Self {
        let path = path.to_path_buf();
        move |source| Self { action, path, source }
    }
}

/// Why a file was not read.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs)] // The message of each says what it is.
pub enum Refused {
    #[error(transparent)]
    File(#[from] FileError),
    #[error("{}: is {what}, not a plain file; put the file itself in its place", shown(path))]
    NotAPlainFile {
        path: PathBuf,
        /// What was found, with its article.
        what: &'static str,
    },
    #[error("{}: is larger than {} MiB, far more than such a file needs", shown(path), most >> 20)]
    TooLarge { path: PathBuf, most: u64 },
    #[error("{}: is not UTF-8 text", shown(path))]
    NotText { path: PathBuf },
}

impl Refused {
    /// Whether there simply is no such file.
    pub fn is_gone(&self) -> bool {
        matches!(self, Self::File(e) if e.source.kind() == io::ErrorKind::NotFound)
    }

    /// What is wrong, without the path: for outputs that must not show where it lies on this machine.
    pub fn without_path(&self) -> String {
        match self {
            Self::File(error) => error.source.to_string(),
            Self::NotAPlainFile { what, .. } => format!("it is {what}, not a plain file"),
            Self::TooLarge { most, .. } => format!("it is larger than {} MiB", most >> 20),
            Self::NotText { .. } => "it is not UTF-8 text".to_owned(),
        }
    }
}

/// What stands there instead of a plain file, with its article; nothing for a plain file.
pub(crate) fn unlike_a_file(metadata: &Metadata) -> Option<&'static str> {
    let kind = metadata.file_type();
    if kind.is_file() {
        None
    } else if kind.is_symlink() {
        Some("a link")
    } else if kind.is_dir() {
        Some("a folder")
    } else {
        Some("a pipe, socket or device")
    }
}

/// Whether a link in the last place of a name is followed.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Links {
    /// The user named the file.
    Followed,
    /// The name comes with the folder.
    Refused,
}

/// Opens a plain file of an inspection folder: a link in last place is not followed, a pipe not waited for.
pub(crate) fn plain(path: &Path) -> Result<(File, Metadata), Refused> {
    open(path, Links::Refused)
}

fn open(path: &Path, links: Links) -> Result<(File, Metadata), Refused> {
    let refuse = |what| Refused::NotAPlainFile { path: path.to_path_buf(), what };
    // Asked first for a clear message, and because opening a device can do something; the flags below hold even if the
    // file is swapped in between.
    let seen = if links == Links::Followed { path.metadata() } else { path.symlink_metadata() };
    if let Some(what) = unlike_a_file(&seen.map_err(FileError::on("read", path))?) {
        return Err(refuse(what));
    }
    let mut options = OpenOptions::new();
    options.read(true);
    flags(&mut options, links);
    let file = options.open(path).map_err(FileError::on("read", path))?;
    let metadata = file.metadata().map_err(FileError::on("read", path))?;
    match unlike_a_file(&metadata) {
        Some(what) => Err(refuse(what)),
        None => Ok((file, metadata)),
    }
}

fn flags(options: &mut OpenOptions, links: Links) {
    #[cfg(unix)]
    {
        use rustix::fs::OFlags;
        use std::os::unix::fs::OpenOptionsExt;
        let follow = if links == Links::Followed { OFlags::empty() } else { OFlags::NOFOLLOW };
        options.custom_flags((follow | OFlags::NONBLOCK).bits().cast_signed());
    }
    #[cfg(not(unix))]
    let _ = (options, links);
}

fn whole(path: &Path, links: Links, most: u64) -> Result<Vec<u8>, Refused> {
    let (file, metadata) = open(path, links)?;
    let too_large = || Refused::TooLarge { path: path.to_path_buf(), most };
    if metadata.len() > most {
        return Err(too_large());
    }
    let mut bytes = Vec::with_capacity(usize::try_from(metadata.len()).unwrap_or_default());
    file.take(most + 1).read_to_end(&mut bytes).map_err(FileError::on("read", path))?;
    // It may have grown since.
    if bytes.len() as u64 > most { Err(too_large()) } else { Ok(bytes) }
}

/// The content of a plain file of an inspection folder, of at most `most` bytes.
pub(crate) fn bytes(path: &Path, most: u64) -> Result<Vec<u8>, Refused> {
    whole(path, Links::Refused, most)
}

/// The text of a plain file of an inspection folder: a record, a rule file, a checklist.
///
/// # Errors
/// [`Refused`]: also what is not UTF-8 or larger than any record.
pub fn text(path: &Path) -> Result<String, Refused> {
    as_text(path, Links::Refused)
}

/// As [`text`], for a file that the user named: a link to a plain file will do.
pub fn named_text(path: &Path) -> Result<String, Refused> {
    as_text(path, Links::Followed)
}

fn as_text(path: &Path, links: Links) -> Result<String, Refused> {
    let bytes = whole(path, links, LARGEST as u64)?;
    String::from_utf8(bytes).map_err(|_| Refused::NotText { path: path.to_path_buf() })
}

/// The first bytes of a file that the user named: how many of `head` were read.
pub(crate) fn named_head(path: &Path, head: &mut [u8]) -> Result<usize, Refused> {
    let (mut file, _) = open(path, Links::Followed)?;
    let mut read = 0;
    while let Some(rest) = head.get_mut(read..).filter(|rest| !rest.is_empty()) {
        match file.read(rest).map_err(FileError::on("read", path))? {
            0 => break,
            n => read += n,
        }
    }
    Ok(read)
}

/// Opens a plain file to add to its end, and makes it where there is none.
pub(crate) fn append(path: &Path) -> io::Result<File> {
    let mut options = OpenOptions::new();
    options.create(true).append(true);
    flags(&mut options, Links::Refused);
    let file = options.open(path)?;
    match unlike_a_file(&file.metadata()?) {
        Some(what) => Err(io::Error::other(format!("is {what}, not a plain file"))),
        None => Ok(file),
    }
}

/// What lies in a folder, sorted by name.
pub(crate) fn entries(folder: &Path) -> io::Result<Vec<PathBuf>> {
    let mut paths = Vec::new();
    for entry in fs::read_dir(folder)?.take(MOST_ENTRIES) {
        paths.push(entry?.path());
    }
    // All lie in one folder: byte by byte is part by part, and quicker.
    paths.sort_unstable_by(|a, b| a.as_os_str().cmp(b.as_os_str()));
    Ok(paths)
}

/// All that lies in a folder, however many, sorted by name: each with its kind, which mostly need not be asked for again.
pub(crate) fn listing(folder: &Path) -> io::Result<Vec<DirEntry>> {
    let mut entries = fs::read_dir(folder)?.collect::<io::Result<Vec<_>>>()?;
    entries.sort_by_cached_key(DirEntry::file_name);
    Ok(entries)
}

/// The files of a folder whose names end in `.toml`, sorted by name.
pub(crate) fn toml_files(folder: &Path) -> io::Result<Vec<PathBuf>> {
    let mut files = entries(folder)?;
    files.retain(|path| path.extension().is_some_and(|extension| extension == "toml"));
    Ok(files)
}

/// A folder itself, to lock it or to force what changed in it to the disk.
pub(crate) fn folder(path: &Path) -> io::Result<File> {
    let mut options = OpenOptions::new();
    options.read(true);
    flags(&mut options, Links::Followed);
    let file = options.open(path)?;
    if file.metadata()?.is_dir() { Ok(file) } else { Err(io::ErrorKind::NotADirectory.into()) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[cfg(unix)]
    #[test]
    fn only_plain_files_are_read_and_nothing_is_waited_for() {
        let dir = tempfile::tempdir().unwrap();
        let at = |name: &str| dir.path().join(name);
        fs::write(at("file"), "x").unwrap();
        fs::write(at("binary"), [0xff]).unwrap();
        std::os::unix::fs::symlink(at("file"), at("link")).unwrap();
        std::os::unix::fs::symlink("/dev/zero", at("to a device")).unwrap();
        let _socket = std::os::unix::net::UnixListener::bind(at("socket")).unwrap();
        fs::create_dir(at("folder")).unwrap();
        std::process::Command::new("mkfifo").arg(at("pipe")).status().unwrap();
        std::os::unix::fs::symlink(at("pipe"), at("to a pipe")).unwrap();
        for (name, of_the_folder, of_the_user) in [
            ("file", "", ""),
            ("link", "is a link", ""),
            ("to a pipe", "is a link", "is a pipe"),
            ("to a device", "is a link", "is a pipe, socket or device"),
            ("socket", "is a pipe, socket or device", "is a pipe, socket or device"),
            ("folder", "is a folder", "is a folder"),
            ("pipe", "is a pipe", "is a pipe"),
            ("binary", "is not UTF-8", "is not UTF-8"),
            ("nothing", "cannot read", "cannot read"),
        ] {
            for (read, expected) in
                [(text as fn(&Path) -> Result<String, Refused>, of_the_folder), (named_text, of_the_user)]
            {
                match read(&at(name)) {
                    Ok(text) => assert_eq!((text.as_str(), expected), ("x", ""), "{name}"),
                    Err(error) => {
                        let error = error.to_string();
                        assert!(!expected.is_empty() && error.contains(expected), "{name}: {error}");
                        assert!(error.contains(name), "{error}");
                    }
                }
            }
        }
        assert!(append(&at("pipe")).is_err() && append(&at("link")).is_err() && append(&at("new")).is_ok());
        assert!(folder(&at("folder")).is_ok() && folder(&at("file")).is_err());
    }

    #[test]
    fn what_is_read_into_memory_has_a_bound() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("record");
        let file = File::create_new(&path).unwrap();
        // A sparse file takes no room on the disk.
        file.set_len(LARGEST as u64 + 1).unwrap();
        assert!(matches!(text(&path), Err(Refused::TooLarge { .. })));
        assert!(matches!(bytes(&path, 10), Err(Refused::TooLarge { .. })));
        file.set_len(10).unwrap();
        assert_eq!(bytes(&path, 10).unwrap().len(), 10);
    }
}
