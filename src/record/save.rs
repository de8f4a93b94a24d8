//! Writing a file so that a reader, or a power cut, only ever meets the old one or the new one.
//!
//! The new content goes to a temporary file in the same folder, is forced to the disk, and takes the final name in one
//! rename. A link that carries the final name is replaced, never followed. A file that is replaced keeps its
//! permissions; a new one has those that the system gives to new files.
//!
//! A temporary file is locked while it is written, so that the next writer in its folder can tell what a killed one left
//! behind, and takes it away.

use std::collections::BTreeSet;
use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};
use std::time::Duration;

use tempfile::{Builder, NamedTempFile};

/// Permissions of an ordinary new file on Unix, before the umask.
const ORDINARY: u32 = 0o666;
/// What the name of a temporary file or folder begins with.
pub const TEMPORARY: &str = ".underlid-";
/// Where the file system has no locks: the age from which a temporary file is what a killed run left behind.
const LEFT_BEHIND: Duration = Duration::from_secs(600);

/// Writes or replaces a file.
///
/// # Errors
/// What the system says; an old file is then unchanged.
pub fn replace(path: &Path, content: impl AsRef<[u8]>) -> io::Result<()> {
    replace_with(path, content, ORDINARY)
}

/// Writes or replaces a file; `mode` is the permission of a new one on Unix before the umask.
///
/// # Errors
/// As [`replace`].
pub fn replace_with(path: &Path, content: impl AsRef<[u8]>, mode: u32) -> io::Result<()> {
    let file = beside(path, content.as_ref(), mode)?;
    if let Some(old) = path.symlink_metadata().ok().filter(fs::Metadata::is_file) {
        file.as_file().set_permissions(old.permissions())?;
    }
    file.persist(path).map_err(|error| error.error)?;
    sync_parent(path)
}

/// Writes a file that must not exist yet.
///
/// # Errors
/// [`io::ErrorKind::AlreadyExists`] when it does, or what the system says.
pub fn write_new(path: &Path, content: impl AsRef<[u8]>) -> io::Result<()> {
    write_new_with(path, content, ORDINARY)
}

/// Writes a file that must not exist yet; `mode` is its permission on Unix before the umask.
pub fn write_new_with(path: &Path, content: impl AsRef<[u8]>, mode: u32) -> io::Result<()> {
    let file = beside(path, content.as_ref(), mode)?;
    file.persist_noclobber(path).map_err(|error| error.error)?;
    sync_parent(path)
}

/// Makes the folder that `what` is written into. A link in its place is refused: it would lead the files elsewhere.
///
/// # Errors
/// That it is a link, or what the system says.
pub fn real_folder(folder: &Path, what: &str) -> io::Result<()> {
    if folder.symlink_metadata().is_ok_and(|meta| meta.is_symlink()) {
        return Err(io::Error::other(format!("is a link; {what} is only written into a real folder")));
    }
    fs::create_dir_all(folder)
}

/// Removes the plain files of a folder that an earlier run made and this one did not, and what killed runs left behind: their
/// temporary files, and bags that were not finished.
///
/// # Errors
/// What the system says.
pub fn sweep(folder: &Path, stale: impl Fn(&str) -> bool) -> io::Result<()> {
    for path in super::open::entries(folder)? {
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        let Ok(meta) = path.symlink_metadata() else { continue };
        let ours = name.starts_with(TEMPORARY) && name.ends_with(".tmp");
        if meta.is_file() && (stale(&name) || ours && is_left_behind(&path, &meta)) {
            gone_is_well(fs::remove_file(&path))?;
        } else if meta.is_dir() && ours && is_left_behind(&path, &meta) {
            gone_is_well(fs::remove_dir_all(&path))?;
        }
    }
    Ok(())
}

/// Another run may sweep the same folder.
fn gone_is_well(done: io::Result<()>) -> io::Result<()> {
    done.or_else(|error| if error.kind() == io::ErrorKind::NotFound { Ok(()) } else { Err(error) })
}

/// Whether nobody writes a temporary file or folder any more: its lock ended with its writer.
fn is_left_behind(path: &Path, meta: &fs::Metadata) -> bool {
    let old =
        || meta.modified().ok().and_then(|time| time.elapsed().ok()).is_some_and(|age| age > LEFT_BEHIND);
    let opened = if meta.is_dir() {
        super::open::folder(path).ok()
    } else {
        super::open::plain(path).ok().map(|file| file.0)
    };
    match opened.map(|file| file.try_lock()) {
        Some(Ok(())) => true,
        Some(Err(fs::TryLockError::WouldBlock)) => false,
        Some(Err(fs::TryLockError::Error(_))) | None => old(),
    }
}

/// A temporary file in a folder, locked until it is closed; what killed runs left in the folder goes first. `mode` is its
/// permission on Unix before the umask.
///
/// # Errors
/// What the system says.
pub fn temporary_in(folder: &Path, mode: u32) -> io::Result<NamedTempFile> {
    sweep_once(folder);
    let mut builder = Builder::new();
    builder.prefix(TEMPORARY).suffix(".tmp");
    // Without this the temporary file's own 0600 would stay on the finished file.
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(mode));
    #[cfg(not(unix))]
    let _ = mode;
    loop {
        let file = builder.tempfile_in(folder)?;
        let locked = file.as_file().lock().is_ok();
        // Another run may have swept it before it was locked.
        if !locked || file.path().symlink_metadata().is_ok() {
            return Ok(file);
        }
    }
}

/// Sweeps a folder the first time that this process writes into it.
pub(crate) fn sweep_once(folder: &Path) {
    static SWEPT: Mutex<BTreeSet<PathBuf>> = Mutex::new(BTreeSet::new());
    if SWEPT.lock().unwrap_or_else(PoisonError::into_inner).insert(folder.to_owned()) {
        // What cannot be swept is in nobody's way.
        let _ = sweep(folder, |_| false);
    }
}

fn beside(path: &Path, content: &[u8], mode: u32) -> io::Result<NamedTempFile> {
    let mut file = temporary_in(parent(path), mode)?;
    file.write_all(content)?;
    file.as_file().sync_all()?;
    Ok(file)
}

/// The folder that holds a file, in a form that can be opened.
pub fn parent(path: &Path) -> &Path {
    path.parent().filter(|parent| !parent.as_os_str().is_empty()).unwrap_or(Path::new("."))
}

/// Forces a rename to the disk: on Unix the folder is what a rename changes.
pub fn sync_parent(path: &Path) -> io::Result<()> {
    if cfg!(unix) {
        super::open::folder(parent(path))?.sync_all()?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn replaces_whole_and_leaves_nothing_behind() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("photos.sha256");
        replace(&path, b"old").unwrap();
        replace(&path, "new").unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"new");
        assert_eq!(fs::read_dir(dir.path()).unwrap().count(), 1);
    }

    #[test]
    fn what_an_earlier_run_made_is_swept_and_nothing_else() {
        let dir = tempfile::tempdir().unwrap();
        let at = |name: &str| dir.path().join(name);
        for name in ["curve-1.csv", "curve-2.csv", "mine.csv", ".underlid-used.tmp", ".underlid-left.tmp"] {
            fs::write(at(name), "x").unwrap();
        }
        for name in ["curve-3.csv", ".underlid-bag-left.tmp", ".underlid-bag-used.tmp"] {
            fs::create_dir(at(name)).unwrap();
            fs::write(at(name).join("x"), "x").unwrap();
        }
        let used =
            [".underlid-used.tmp", ".underlid-bag-used.tmp"].map(|name| fs::File::open(at(name)).unwrap());
        used.iter().for_each(|file| file.lock().unwrap());
        sweep(dir.path(), |name| name.starts_with("curve-") && name != "curve-1.csv").unwrap();
        let left = ["curve-1.csv", "mine.csv", ".underlid-used.tmp", "curve-3.csv", ".underlid-bag-used.tmp"];
        assert!(left.iter().all(|name| at(name).exists()));
        assert_eq!(fs::read_dir(dir.path()).unwrap().count(), left.len());
    }

    #[test]
    fn a_new_file_never_overwrites() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("key");
        write_new_with(&path, b"first", 0o600).unwrap();
        let error = write_new(&path, b"second").unwrap_err();
        assert_eq!(error.kind(), io::ErrorKind::AlreadyExists);
        assert_eq!(fs::read(&path).unwrap(), b"first");
        assert_eq!(fs::read_dir(dir.path()).unwrap().count(), 1);
    }

    #[cfg(unix)]
    #[test]
    fn permissions_stay() {
        use std::os::unix::fs::PermissionsExt;
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("inspection.toml");
        write_new_with(&path, b"first", 0o600).unwrap();
        replace(&path, b"second").unwrap();
        assert_eq!(fs::metadata(&path).unwrap().permissions().mode() & 0o777, 0o600);
    }

    #[cfg(unix)]
    #[test]
    fn a_link_in_place_of_the_file_is_replaced_not_followed() {
        let dir = tempfile::tempdir().unwrap();
        let outside = dir.path().join("outside");
        fs::write(&outside, "untouched").unwrap();
        let path = dir.path().join("photos.sha256");
        std::os::unix::fs::symlink(&outside, &path).unwrap();
        replace(&path, b"new").unwrap();
        assert_eq!(fs::read(&outside).unwrap(), b"untouched");
        assert_eq!(fs::read(&path).unwrap(), b"new");
        assert!(!fs::symlink_metadata(&path).unwrap().is_symlink());
    }
}
