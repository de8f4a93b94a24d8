//! Taking a photo into `photos/`: copied beside, hashed on the way, given a name made here, never overwritten.
//!
//! The name comes from what the photo shows, never from whoever sends it. Only what begins as a JPEG, PNG or WebP file
//! is taken; the original's bytes are kept as they are.

use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use super::sight::FillError;
use crate::evidence::hash::{Sha256Digest, copy_file, hash_file};
use crate::evidence::name::safe_relative;
use crate::evidence::photos::PHOTO_ENDINGS;
use crate::evidence::picture::{PictureError, Undecodable};
use crate::evidence::quality;
use crate::record::Record;
use crate::record::edit::{Edit, Entered, Place};
use crate::record::open;
use crate::record::save;

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
    /// What is wrong with it as a picture, where it was looked at now.
    pub told: Option<String>,
}

impl Kept {
    fn known(name: String, digest: Sha256Digest) -> Self {
        Self { name, digest, told: None }
    }
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

/// As [`ending`], and for pictures that are kept as evidence although they cannot be shown: HEIC, AVIF, TIFF and camera
/// raw. The first bytes decide; the name only tells one raw format from another.
pub(super) fn evidence_ending(head: &[u8], name: &Path) -> Option<&'static str> {
    let raw = || {
        let own = name.extension()?.to_str()?.to_ascii_lowercase();
        PHOTO_ENDINGS.into_iter().skip_while(|known| *known != "tif").find(|known| *known == own)
    };
    ending(head).or_else(|| match head {
        [_, _, _, _, b'f', b't', b'y', b'p', brand @ ..] => match brand.get(..4)? {
            b"heic" | b"heix" | b"heim" | b"heis" | b"hevc" | b"mif1" | b"msf1" => Some("heic"),
            b"avif" | b"avis" => Some("avif"),
            b"crx " => Some("cr3"),
            _ => None,
        },
        [b'I', b'I', b'*', 0, ..] | [b'M', b'M', 0, b'*', ..] => raw().or(Some("tif")),
        // Raw formats that begin as TIFF does, with a number of their own behind the byte order.
        [b'I', b'I', ..] => raw().filter(|raw| !raw.starts_with("tif")),
        _ => None,
    })
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
            let digest = hash_file(&path).map_err(|error| error.to_string())?;
            let name = name.trim_start_matches("photos/").to_owned();
            return Ok(Kept::known(name, digest));
        }
    }
    if let Some(name) = by_number(folder, from)? {
        let path = safe_relative(folder, &format!("{FOLDER}/{name}")).map_err(|error| error.to_string())?;
        let digest = hash_file(&path).map_err(|error| error.to_string())?;
        return Ok(Kept::known(name, digest));
    }
    let path = PathBuf::from(from);
    let size = fs::metadata(&path).map_err(|error| match error.kind() {
        io::ErrorKind::NotFound => {
            format!("there is no photo `{from}` in photos/, and no file of that name here")
        }
        _ => format!("{from}: {error}"),
    });
    let size = size?.len();
    if size > LARGEST {
        return Err(too_large());
    }
    let mut beside = begin(folder)?;
    let digest = copy_file(&path, &mut beside, |_| {}).map_err(|error| error.to_string())?;
    finish(folder, beside, digest, shows)
}

/// The photo whose name begins with a number, `5` or `9b`, when there is one such.
fn by_number(folder: &Path, typed: &str) -> Result<Option<String>, String> {
    let split = |text: &str| {
        let end = text.find(|c: char| !c.is_ascii_digit()).unwrap_or(text.len());
        let (digits, rest) = text.split_at(end);
        let number = (1..=6).contains(&digits.len()).then(|| digits.parse::<u32>().ok()).flatten()?;
        Some((number, rest.to_owned()))
    };
    let Some((number, letter)) = split(typed).filter(|(_, rest)| rest.len() <= 1) else {
        return Ok(None);
    };
    if !letter.chars().all(|c| c.is_ascii_lowercase()) || Path::new(typed).exists() {
        return Ok(None);
    }
    let Ok(photos) = safe_relative(folder, FOLDER) else { return Ok(None) };
    let Ok(entries) = open::entries(&photos) else { return Ok(None) };
    let mut found: Vec<String> = entries
        .into_iter()
        .filter_map(|path| path.file_name()?.to_str().map(str::to_owned))
        .filter(|name| {
            let own = name.split(['-', '.']).next().and_then(split);
            own.is_some_and(|own| own == (number, letter.clone()))
        })
        .collect();
    found.sort();
    match found.len() {
        0 => Ok(None),
        1 => Ok(found.pop()),
        _ => Err(format!("several photos begin with {typed}: {}", found.join(", "))),
    }
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
    save::temporary_in(&photos, 0o600).map_err(|error| format!("{}: {error}", photos.display()))
}

/// Gives a written file its name. The same picture sent twice is kept once.
pub(super) fn finish(
    folder: &Path,
    mut beside: tempfile::NamedTempFile,
    digest: Sha256Digest,
    shows: &str,
) -> Result<Kept, String> {
    beside.flush().map_err(not_kept)?;
    let Some(ending) = ending(&head_of(beside.path())?) else {
        return Err("this is not a JPEG, PNG or WebP picture".to_owned());
    };
    let photos = folder.join(FOLDER);
    let size = beside.as_file().metadata().map_err(not_kept)?.len();
    for path in open::entries(&photos).map_err(not_kept)? {
        let name = last(&path);
        let same_size = path.symlink_metadata().is_ok_and(|meta| meta.is_file() && meta.len() == size);
        if !name.starts_with('.') && same_size && hash_file(&path).is_ok_and(|other| other == digest) {
            return Ok(Kept::known(name, digest));
        }
    }
    let told = match quality::look(beside.path()) {
        Ok(quality) => quality.words().map(str::to_owned),
        Err(PictureError::Undecodable { reason: reason @ Undecodable::Broken { .. }, .. }) => {
            return Err(format!("{reason}; send it again, or take it again"));
        }
        // It is evidence, although it cannot be shown here.
        Err(PictureError::Undecodable { reason, .. }) => Some(format!("it cannot be shown: {reason}")),
        Err(error) => return Err(error.to_string()),
    };
    let mut shelf = Shelf::of(folder)?;
    let name = shelf.put(beside, digest, &slug(shows), ending)?;
    Ok(Kept { name, digest, told })
}

fn last(path: &Path) -> String {
    path.file_name().unwrap_or_default().to_string_lossy().into_owned()
}

fn not_kept(error: io::Error) -> String {
    format!("the photo was not kept: {error}")
}

/// `photos/`, with the highest number that is given away, so that many photos are put there without listing it anew.
#[derive(Debug)]
pub(super) struct Shelf {
    photos: PathBuf,
    highest: u32,
    count: usize,
}

impl Shelf {
    pub(super) fn of(folder: &Path) -> Result<Self, String> {
        let mut shelf = Self { photos: folder.join(FOLDER), highest: 0, count: 0 };
        for path in open::entries(&shelf.photos).map_err(not_kept)? {
            let name = last(&path);
            if !name.starts_with('.') {
                shelf.count += 1;
                let digits: String = name.chars().take_while(char::is_ascii_digit).take(6).collect();
                shelf.highest = shelf.highest.max(digits.parse::<u32>().unwrap_or(0));
            }
        }
        Ok(shelf)
    }

    /// Puts a written file there, once it is on disk and reads back as what was hashed on the way. Nothing is
    /// overwritten.
    pub(super) fn put(
        &mut self,
        mut beside: tempfile::NamedTempFile,
        digest: Sha256Digest,
        stem: &str,
        ending: &str,
    ) -> Result<String, String> {
        if self.count >= MOST {
            return Err(format!("there are {MOST} photos already; no more are taken"));
        }
        beside.flush().map_err(not_kept)?;
        beside.as_file().sync_all().map_err(not_kept)?;
        let written = hash_file(beside.path()).map_err(|error| error.to_string())?;
        if written != digest {
            return Err("the photo was not kept: what was written is not what was read".to_owned());
        }
        readable(beside.path()).map_err(not_kept)?;
        // Somebody else may take the same number at the same time: then the next one is tried.
        for number in self.highest + 1..self.highest + 1_000 {
            let name = format!("{number:02}-{stem}.{ending}");
            match beside.persist_noclobber(self.photos.join(&name)) {
                Ok(_) => {
                    #[cfg(unix)]
                    open::folder(&self.photos).and_then(|folder| folder.sync_all()).map_err(not_kept)?;
                    self.highest = number;
                    self.count += 1;
                    return Ok(name);
                }
                Err(error) if error.error.kind() == io::ErrorKind::AlreadyExists => beside = error.file,
                Err(error) => return Err(not_kept(error.error)),
            }
        }
        Err("no free name was found for the photo".to_owned())
    }
}

/// The first bytes of a file, by which its kind is told.
pub(super) fn head_of(path: &Path) -> Result<Vec<u8>, String> {
    let mut head = [0; 12];
    let read = open::named_head(path, &mut head).map_err(|refused| refused.to_string())?;
    Ok(head.get(..read).unwrap_or_default().to_vec())
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

/// Lists a photo with its hash, or adds to what a listed one shows.
///
/// # Errors
/// When the photo is listed with another hash: what arrived then is not what lies there now.
pub(super) fn listed(record: &Record, kept: &Kept, part: &str) -> Result<Vec<Edit>, FillError> {
    let file = format!("{}/{}", FOLDER, kept.name);
    let digest = kept.digest.to_string();
    let known = record.photo.iter().enumerate().find(|(_, photo)| photo.file.text() == Some(&file));
    let Some((index, photo)) = known else {
        let mut fields = vec![("file".to_owned(), file)];
        if !part.is_empty() {
            fields.push(("shows".to_owned(), part.to_owned()));
        }
        fields.push(("sha256".to_owned(), digest));
        return Ok(vec![Edit::Append { list: Place::keys("photo"), at: usize::MAX, fields }]);
    };
    let place = Place::keys("photo").at(index);
    let mut edits = Vec::new();
    match photo.sha256.text() {
        Some(arrived) if arrived != digest => {
            return Err(FillError::Words(format!(
                "{file} is not what arrived: its SHA-256 was {arrived} and is {digest}"
            )));
        }
        Some(_) => {}
        None => edits.push(Edit::Set { place: place.clone().then("sha256"), answer: Entered::of(&digest) }),
    }
    let mut shows = photo.shows.list().to_vec();
    if !part.is_empty() && !shows.iter().any(|shown| shown == part) {
        shows.push(part.to_owned());
        edits.push(Edit::Set { place: place.then("shows"), answer: Entered::of(&shows.join(", ")) });
    }
    Ok(edits)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_made_here_and_nothing_is_overwritten() {
        let folder = tempfile::tempdir().unwrap();
        let jpeg = |level: u8| {
            let mut bytes = io::Cursor::new(Vec::new());
            let picture = image::GrayImage::from_pixel(8, 8, image::Luma([level]));
            picture.write_to(&mut bytes, image::ImageFormat::Jpeg).unwrap();
            bytes.into_inner()
        };
        let outside = tempfile::tempdir().unwrap();
        let mut names = Vec::new();
        for (file, bytes, shows) in [
            ("a.jpg", jpeg(1), "main-fuse"),
            ("b.txt", jpeg(90), "../../etc/passwd"),
            ("again.jpg", jpeg(1), "other"),
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
        let path = outside.path().join("half.jpg");
        fs::write(&path, jpeg(3).split_at(200).0).unwrap();
        let error = take_file(folder.path(), path.to_str().unwrap(), "x").unwrap_err();
        assert!(error.contains("damaged") && error.contains("send it again"), "{error}");
        assert_eq!(take_file(folder.path(), "02-etc-passwd.jpg", "x").unwrap().name, "02-etc-passwd.jpg");
        assert_eq!(
            take_file(folder.path(), "photos/02-etc-passwd.jpg", "x").unwrap().name,
            "02-etc-passwd.jpg"
        );
        assert_eq!(take_file(folder.path(), "2", "x").unwrap().name, "02-etc-passwd.jpg");
        assert!(take_file(folder.path(), "3", "x").is_err());
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
