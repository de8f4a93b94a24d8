//! [`crate::record::save`] with errors that name the file, as everything about evidence does.

use std::path::Path;

use crate::record::open::FileError;
use crate::record::save;

pub(crate) use crate::record::save::parent;

/// Writes or replaces `path`.
pub(crate) fn replace(path: &Path, content: &[u8]) -> Result<(), FileError> {
    save::replace(path, content).map_err(FileError::on("write", path))
}

/// Writes or replaces `path`, readable by its owner alone.
pub(crate) fn replace_private(path: &Path, content: &[u8]) -> Result<(), FileError> {
    save::replace_with(path, content, 0o600).map_err(FileError::on("write", path))
}

/// Writes `path` only if nothing has that name yet; `mode` is the Unix permission before umask.
pub(crate) fn create(path: &Path, content: &[u8], mode: u32) -> Result<(), FileError> {
    save::write_new_with(path, content, mode).map_err(FileError::on("create", path))
}

/// Forces a rename to the disk.
pub(crate) fn sync_parent(path: &Path) -> Result<(), FileError> {
    save::sync_parent(path).map_err(FileError::on("save the folder of", path))
}
