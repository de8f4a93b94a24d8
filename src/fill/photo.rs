//! Taking a photo into `photos/`: copied beside, hashed on the way, given a name made here, never overwritten.
//!
//! The name comes from what the photo shows, never from whoever sends it. Only what begins as a JPEG, PNG or WebP file
//! is taken; the original's bytes are kept as they are.

use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use crate::evidence::hash::{Sha256Digest, copy_file};
use crate::evidence::name::safe_relative;

/// Folder of the photos in an inspection folder.
pub(super) const FOLDER: &str = "photos";
/// Largest photo that is taken.
pub(super) const LARGEST: u64 = 40 << 20;
/// Photos in a folder beyond which no more are taken.
const MOST: usize = 2_000;

/// A photo that lies in `photos/`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Kept {
    /// Its name without folder.
    pub name: String,
    /// Its SHA-256.
    pub digest: Sha256Digest,
}

/// The ending for what the first bytes say, or nothing when it is no picture that browsers show.
pub(super) fn ending(head: &[u8]) -> Option<&'static str> {
    match head {
        [0xff, 0xd8, 0xff, ..] => Some("jpg"),
        [0x89, b'P', b'N', b'G', 0x0d, 0x0a, 0x1a, 0x0a, ..] => Some("png"),
        [b'R', b'I', b'F', b'F', _, _, _, _, b'W', b'E', b'B', b'P', ..] => Some("webp"),
        _ => None,
    }
}

/// Copies a file from anywhere into the folder's photos; one that lies there already is only hashed.
pub(super) fn take_file(folder: &Path, from: &str, shows: &str) -> Result<Kept, String> {
    let inside = [format!("{FOLDER}/{from}"), from.to_owned()];
    for name in inside {
        if !name.starts_with("photos/") {
            continue;
        }
        let Ok(path) = safe_relative(folder, &name) else {
            continue;
        };
        if path.is_file() {
            let digest = crate::evidence::hash::hash_file(&path).map_err(|error| error.to_string())?;
            let name = name.trim_start_matches("photos/").to_owned();
            return Ok(Kept { name, digest });
        }
    }
    let path = PathBuf::from(from);
    let size = fs::metadata(&path).map_err(|error| format!("{from}: {error}"))?.len();
    if size > LARGEST {
        return Err(too_large());
    }
    let mut beside = begin(folder)?;
    let digest = copy_file(&path, &mut beside, |_| {}).map_err(|error| error.to_string())?;
    finish(folder, beside, digest, shows)
}

pub(super) fn too_large() -> String {
    format!("the photo is larger than {} MiB", LARGEST >> 20)
}

/// A file beside the photos, to be written and then finished.
pub(super) fn begin(folder: &Path) -> Result<tempfile::NamedTempFile, String> {
    let photos = folder.join(FOLDER);
    fs::create_dir_all(&photos).map_err(|error| format!("{}: {error}", photos.display()))?;
    // `safe_relative` refuses a `photos` that is a link out of the folder.
    safe_relative(folder, FOLDER).map_err(|error| error.to_string())?;
    tempfile::Builder::new()
        .prefix(".underlid-")
        .tempfile_in(&photos)
        .map_err(|error| format!("{}: {error}", photos.display()))
}

/// Gives a written file its name. The same picture sent twice is kept once.
pub(super) fn finish(
    folder: &Path,
    mut beside: tempfile::NamedTempFile,
    digest: Sha256Digest,
    shows: &str,
) -> Result<Kept, String> {
    let at = |error: io::Error| format!("the photo was not kept: {error}");
    beside.flush().map_err(at)?;
    let mut head = [0; 12];
    let read = read_head(beside.path(), &mut head).map_err(at)?;
    let Some(ending) = ending(head.get(..read).unwrap_or_default()) else {
        return Err("this is not a JPEG, PNG or WebP picture".to_owned());
    };
    let photos = folder.join(FOLDER);
    let mut highest = 0;
    let mut count = 0;
    let size = beside.as_file().metadata().map_err(at)?.len();
    for entry in fs::read_dir(&photos).map_err(at)? {
        let entry = entry.map_err(at)?;
        let name = entry.file_name().to_string_lossy().into_owned();
        if name.starts_with('.') {
            continue;
        }
        count += 1;
        let digits: String = name.chars().take_while(char::is_ascii_digit).take(6).collect();
        highest = highest.max(digits.parse::<u32>().unwrap_or(0));
        let same_size = entry.metadata().is_ok_and(|meta| meta.is_file() && meta.len() == size);
        if same_size && crate::evidence::hash::hash_file(&entry.path()).is_ok_and(|other| other == digest) {
            return Ok(Kept { name, digest });
        }
    }
    if count >= MOST {
        return Err(format!("there are {MOST} photos already; no more are taken"));
    }
    beside.as_file().sync_all().map_err(at)?;
    readable(beside.path()).map_err(at)?;
    // Somebody else may take the same number at the same time: then the next one is tried.
    for number in highest + 1..highest + 1_000 {
        let name = format!("{number:02}-{}.{ending}", slug(shows));
        match beside.persist_noclobber(photos.join(&name)) {
            Ok(_) => {
                #[cfg(unix)]
                fs::File::open(&photos).and_then(|folder| folder.sync_all()).map_err(at)?;
                return Ok(Kept { name, digest });
            }
            Err(error) if error.error.kind() == io::ErrorKind::AlreadyExists => beside = error.file,
            Err(error) => return Err(at(error.error)),
        }
    }
    Err("no free name was found for the photo".to_owned())
}

fn read_head(path: &Path, head: &mut [u8]) -> io::Result<usize> {
    let mut file = fs::File::open(path)?;
    let mut read = 0;
    while let Some(rest) = head.get_mut(read..).filter(|rest| !rest.is_empty()) {
        match io::Read::read(&mut file, rest)? {
            0 => break,
            n => read += n,
        }
    }
    Ok(read)
}

fn readable(path: &Path) -> io::Result<()> {
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        fs::set_permissions(path, fs::Permissions::from_mode(0o644))?;
    }
    let _ = path;
    Ok(())
}

/// A name that is safe on every disk: small letters, digits and hyphens.
pub(super) fn slug(text: &str) -> String {
    let mut slug = String::new();
    for c in text.to_lowercase().chars() {
        if c.is_ascii_alphanumeric() {
            slug.push(c);
        } else if !slug.ends_with('-') && !slug.is_empty() {
            slug.push('-');
        }
        if slug.len() >= 40 {
            break;
        }
    }
    let slug = slug.trim_matches('-');
    if slug.is_empty() { "part".to_owned() } else { slug.to_owned() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_made_here_and_nothing_is_overwritten() {
        let folder = tempfile::tempdir().unwrap();
        let jpeg = |n: u8| [0xff, 0xd8, 0xff, 0xe0, n];
        let outside = tempfile::tempdir().unwrap();
        let mut names = Vec::new();
        for (file, bytes, shows) in [
            ("a.jpg", jpeg(1).to_vec(), "main-fuse"),
            ("b.txt", jpeg(2).to_vec(), "../../etc/passwd"),
            ("again.jpg", jpeg(1).to_vec(), "other"),
        ] {
            let path = outside.path().join(file);
            fs::write(&path, bytes).unwrap();
            names.push(take_file(folder.path(), path.to_str().unwrap(), shows).unwrap().name);
        }
        assert_eq!(names, ["01-main-fuse.jpg", "02-etc-passwd.jpg", "01-main-fuse.jpg"]);
        let path = outside.path().join("page.html");
        fs::write(&path, "<script>").unwrap();
        let error = take_file(folder.path(), path.to_str().unwrap(), "x").unwrap_err();
        assert!(error.contains("not a JPEG"), "{error}");
        assert_eq!(take_file(folder.path(), "02-etc-passwd.jpg", "x").unwrap().name, "02-etc-passwd.jpg");
        assert_eq!(
            take_file(folder.path(), "photos/02-etc-passwd.jpg", "x").unwrap().name,
            "02-etc-passwd.jpg"
        );
        let left = fs::read_dir(folder.path().join("photos")).unwrap().count();
        assert_eq!(left, 2, "no temporary file stays");
    }

    #[cfg(unix)]
    #[test]
    fn a_link_out_of_the_folder_is_not_followed() {
        let folder = tempfile::tempdir().unwrap();
        let outside = tempfile::tempdir().unwrap();
        std::os::unix::fs::symlink(outside.path(), folder.path().join("photos")).unwrap();
        let file = outside.path().join("a.jpg");
        fs::write(&file, [0xff, 0xd8, 0xff]).unwrap();
        assert!(take_file(folder.path(), file.to_str().unwrap(), "x").is_err());
        assert_eq!(fs::read_dir(outside.path()).unwrap().count(), 1);
    }
}
