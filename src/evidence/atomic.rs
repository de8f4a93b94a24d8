//! Writing a file so that a reader, or a power cut, only ever meets the old one or the new one.
//!
//! The new content goes to a temporary file in the same folder, is forced to the disk, and takes
//! the final name in one rename. A link that carries the final name is replaced, never followed.

use std::fs::File;
use std::io::Write;
use std::path::Path;

use tempfile::{Builder, NamedTempFile};

use super::error::FileError;

/// Writes or replaces `path`.
pub(crate) fn replace(path: &Path, content: &[u8]) -> Result<(), FileError> {
    let file = beside(path, content, 0o666)?;
    file.persist(path).map_err(|e| FileError::on("rename the new file to", path)(e.error))?;
    sync_parent(path)
}

/// Writes `path` only if nothing has that name yet; `mode` is the Unix permission before umask.
pub(crate) fn create(path: &Path, content: &[u8], mode: u32) -> Result<(), FileError> {
    let file = beside(path, content, mode)?;
    file.persist_noclobber(path).map_err(|e| FileError::on("create", path)(e.error))?;
    sync_parent(path)
}

fn beside(path: &Path, content: &[u8], mode: u32) -> Result<NamedTempFile, FileError> {
    let mut builder = Builder::new();
    builder.prefix(".underlid-").suffix(".tmp");
    // Without this the temporary file's own 0600 would stay on the finished file.
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(mode));
    #[cfg(not(unix))]
    let _ = mode;
    let mut file = builder.tempfile_in(parent(path)).map_err(FileError::on("create a file beside", path))?;
    file.write_all(content)
        .and_then(|()| file.as_file().sync_all())
        .map_err(FileError::on("write a new", path))?;
    Ok(file)
}

/// The folder that holds `path`, in a form that can be opened.
pub(crate) fn parent(path: &Path) -> &Path {
    match path.parent() {
        Some(p) if !p.as_os_str().is_empty() => p,
        _ => Path::new("."),
    }
}

/// Forces a rename to the disk: on Unix the folder is what a rename changes.
pub(crate) fn sync_parent(path: &Path) -> Result<(), FileError> {
    if cfg!(unix) {
        let folder = parent(path);
        File::open(folder).and_then(|f| f.sync_all()).map_err(FileError::on("save the folder", folder))?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use std::fs;

    use super::*;

    #[test]
    fn replaces_whole_and_leaves_nothing_behind() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("photos.sha256");
        replace(&path, b"old").unwrap();
        replace(&path, b"new").unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"new");
        assert_eq!(fs::read_dir(dir.path()).unwrap().count(), 1);
    }

    #[test]
    fn create_never_overwrites() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("key");
        create(&path, b"first", 0o600).unwrap();
        let error = create(&path, b"second", 0o600).unwrap_err();
        assert_eq!(error.source.kind(), std::io::ErrorKind::AlreadyExists);
        assert_eq!(fs::read(&path).unwrap(), b"first");
        assert_eq!(fs::read_dir(dir.path()).unwrap().count(), 1);
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
