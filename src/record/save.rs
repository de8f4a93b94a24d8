//! Writing files of the user: beside, flushed to disk, then renamed, so that a file is either old or new.

use std::fs::{self, File};
use std::io::{self, Write};
use std::path::Path;

/// Replaces a file atomically.
///
/// # Errors
/// What the system says; the old file is then unchanged.
pub fn replace(path: &Path, text: &str) -> io::Result<()> {
    let folder = parent(path);
    let mut file = tempfile::Builder::new().prefix(".underlid-").tempfile_in(folder)?;
    file.write_all(text.as_bytes())?;
    let old = fs::metadata(path).ok();
    if let Some(meta) = &old {
        fs::set_permissions(file.path(), meta.permissions())?;
    }
    file.as_file().sync_all()?;
    file.persist(path).map_err(|error| error.error)?;
    if old.is_none() {
        make_readable(path)?;
    }
    sync_folder(folder)
}

/// Writes a file that must not exist yet, atomically.
///
/// # Errors
/// [`io::ErrorKind::AlreadyExists`] when it does, or what the system says.
pub fn write_new(path: &Path, text: &str) -> io::Result<()> {
    let folder = parent(path);
    let mut file = tempfile::Builder::new().prefix(".underlid-").tempfile_in(folder)?;
    file.write_all(text.as_bytes())?;
    file.as_file().sync_all()?;
    file.persist_noclobber(path).map_err(|error| error.error)?;
    make_readable(path)?;
    sync_folder(folder)
}

fn parent(path: &Path) -> &Path {
    path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."))
}

/// Temporary files are private to the user; a file that stays has the usual permissions.
fn make_readable(path: &Path) -> io::Result<()> {
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        fs::set_permissions(path, fs::Permissions::from_mode(0o644))?;
    }
    let _ = path;
    Ok(())
}

/// A rename is on disk only when its folder is.
fn sync_folder(folder: &Path) -> io::Result<()> {
    #[cfg(unix)]
    File::open(folder)?.sync_all()?;
    let _ = folder;
    Ok(())
}
