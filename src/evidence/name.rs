//! The name of a file inside an inspection folder, and the promise that it stays inside.
//!
//! Names come from three places that cannot be trusted: the record, a manifest, and the disk of
//! whoever sent the folder. A name is refused if it is empty or absolute, climbs with `..`, starts
//! with a drive letter, or holds a NUL; [`safe_relative`] also refuses a link anywhere on the way,
//! because a link is how a name without `..` still leaves the folder.

use std::collections::BTreeMap;
use std::fmt;
use std::io;
use std::path::{Path, PathBuf};

use serde::{Serialize, Serializer};
use unicode_normalization::UnicodeNormalization;

use crate::record::open::FileError;
use crate::units::terminal::shown_text;

/// The record's name in an inspection folder.
pub const RECORD_NAME: &str = "inspection.toml";

/// A checked name relative to the inspection folder, with `/` between its parts.
///
/// On Unix it may be any bytes; it need not be UTF-8. Sorted by bytes, as `LC_ALL=C sort` does.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct EvidenceName(Vec<u8>);

/// What is wrong with a name.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
#[allow(missing_docs)] // The message of each says what it is.
pub enum UnsafeReason {
    #[error("the name is empty")]
    Empty,
    #[error("it is an absolute path; write it relative to the inspection folder")]
    Absolute,
    #[error("it starts with a drive letter; write it relative to the inspection folder")]
    Drive,
    #[error("it contains \"..\"; evidence must lie inside the inspection folder")]
    Climbs,
    #[error("it contains a NUL character")]
    Nul,
    #[error("it contains a backslash; write / between folders")]
    Backslash,
    #[error("it is not UTF-8, which this system needs in a file name")]
    NotUtf8,
    #[error("a link lies on the way to it; evidence must be the file itself, not a link to it")]
    Link,
}

/// A name that is not used, and why.
#[derive(Debug, thiserror::Error)]
#[error("\"{}\": {reason}", shown_text(name))]
pub struct UnsafeName {
    /// The name as found.
    pub name: String,
    /// What is wrong with it.
    pub reason: UnsafeReason,
}

/// Why a name written in the record was not turned into a path.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs)] // The message of each says what it is.
pub enum NameError {
    #[error(transparent)]
    Unsafe(#[from] UnsafeName),
    #[error(transparent)]
    File(#[from] FileError),
}

impl EvidenceName {
    /// Checks the bytes of a relative name. A leading `./`, as `find` writes, is dropped.
    ///
    /// # Errors
    /// When the name could point outside the folder.
    pub fn new(bytes: &[u8]) -> Result<Self, UnsafeName> {
        let refuse = |reason| UnsafeName { name: String::from_utf8_lossy(bytes).into_owned(), reason };
        if bytes.contains(&0) {
            return Err(refuse(UnsafeReason::Nul));
        }
        if bytes.first() == Some(&b'/') {
            return Err(refuse(UnsafeReason::Absolute));
        }
        if cfg!(windows) && bytes.contains(&b'\\') {
            return Err(refuse(UnsafeReason::Backslash));
        }
        let drive = matches!(bytes, [letter, b':', ..] if letter.is_ascii_alphabetic());
        // On Windows a colon further on names a stream hidden behind a file.
        if drive || (cfg!(windows) && bytes.contains(&b':')) {
            return Err(refuse(UnsafeReason::Drive));
        }
        if cfg!(not(unix)) && std::str::from_utf8(bytes).is_err() {
            return Err(refuse(UnsafeReason::NotUtf8));
        }
        let mut name = Vec::with_capacity(bytes.len());
        for part in bytes.split(|&b| b == b'/') {
            match part {
                b"" | b"." => continue,
                b".." => return Err(refuse(UnsafeReason::Climbs)),
                _ => {}
            }
            if !name.is_empty() {
                name.push(b'/');
            }
            name.extend_from_slice(part);
        }
        if name.is_empty() {
            return Err(refuse(UnsafeReason::Empty));
        }
        Ok(Self(name))
    }

    /// The name of a path that is already relative to the inspection folder.
    ///
    /// # Errors
    /// When the path could point outside the folder.
    pub fn from_relative(path: &Path) -> Result<Self, UnsafeName> {
        let bytes = path.as_os_str().as_encoded_bytes();
        if cfg!(windows) {
            let slashes = path.to_string_lossy().replace('\\', "/");
            return Self::new(slashes.as_bytes());
        }
        Self::new(bytes)
    }

    /// The name's bytes, parts separated by `/`.
    pub fn as_bytes(&self) -> &[u8] {
        &self.0
    }

    /// The name as a path relative to the inspection folder.
    pub fn to_path(&self) -> PathBuf {
        #[cfg(unix)]
        {
            use std::os::unix::ffi::OsStrExt;
            PathBuf::from(std::ffi::OsStr::from_bytes(&self.0))
        }
        // `new` has refused anything else on such a system.
        #[cfg(not(unix))]
        PathBuf::from(String::from_utf8_lossy(&self.0).into_owned())
    }

    /// The name as text; bytes that are not UTF-8 become `�`. Not for a terminal: use `Display`.
    pub fn to_text(&self) -> String {
        String::from_utf8_lossy(&self.0).into_owned()
    }
}

impl fmt::Display for EvidenceName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&shown_text(&self.to_text()))
    }
}

impl fmt::Debug for EvidenceName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:?}", self.to_text())
    }
}

impl Serialize for EvidenceName {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&self.to_text())
    }
}

/// Names that other systems cannot hold beside each other or at all, each with why: a sealed folder is to be unpacked
/// anywhere. Windows: reserved names, characters and endings (Microsoft, Naming Files, Paths, and Namespaces; from memory).
/// Windows and macOS: names that differ by case or by Unicode form alone.
pub(crate) fn not_everywhere<'a>(
    names: impl Iterator<Item = &'a EvidenceName>,
) -> Vec<(&'a EvidenceName, String)> {
    let mut folded = BTreeMap::new();
    names.filter_map(|name| Some((name, unlike_elsewhere(name, &mut folded)?))).collect()
}

fn unlike_elsewhere<'a>(
    name: &'a EvidenceName,
    folded: &mut BTreeMap<String, &'a EvidenceName>,
) -> Option<String> {
    const DEVICES: [&str; 6] = ["con", "prn", "aux", "nul", "com", "lpt"];
    let Ok(text) = std::str::from_utf8(&name.0) else {
        return Some(
            "is not UTF-8, which other systems need in a file name; rename it and seal again".to_owned(),
        );
    };
    let of_windows = text.split('/').any(|part| {
        let stem = part.split('.').next().unwrap_or_default().trim_end().to_ascii_lowercase();
        let numbered = stem.strip_suffix(|c: char| c.is_ascii_digit() && c != '0');
        DEVICES[..4].contains(&stem.as_str())
            || numbered.is_some_and(|stem| DEVICES[4..].contains(&stem))
            || part.ends_with(['.', ' '])
            || part.contains(|c: char| c.is_control() || "<>:\"\\|?*".contains(c))
    });
    if of_windows {
        return Some("cannot be a file's name on Windows; rename it and seal again".to_owned());
    }
    let same = folded.insert(text.nfc().flat_map(char::to_lowercase).collect(), name)?;
    Some(format!("is the same name as {same} on Windows and macOS; rename one and seal again"))
}

/// Turns a name written in the record, such as a photo's, into a path under `folder`.
///
/// The file need not exist. What exists on the way must not be a link.
///
/// # Errors
/// When the name could leave the folder, or a link lies on the way.
pub fn safe_relative(folder: &Path, name: &str) -> Result<PathBuf, NameError> {
    if name.contains('\\') {
        return Err(NameError::Unsafe(UnsafeName { name: name.to_owned(), reason: UnsafeReason::Backslash }));
    }
    locate(folder, &EvidenceName::new(name.as_bytes())?)
}

/// The path of a checked name under `folder`, refusing links on the way.
pub(crate) fn locate(folder: &Path, name: &EvidenceName) -> Result<PathBuf, NameError> {
    let mut path = folder.to_path_buf();
    for part in name.to_path().components() {
        path.push(part);
        match path.symlink_metadata() {
            Ok(found) if found.is_symlink() => {
                return Err(NameError::Unsafe(UnsafeName {
                    name: name.to_text(),
                    reason: UnsafeReason::Link,
                }));
            }
            Ok(_) => {}
            Err(e) if gone(&e) => return Ok(folder.join(name.to_path())),
            Err(e) => return Err(FileError::on("look at", &path)(e).into()),
        }
    }
    Ok(path)
}

/// Nothing has that name: either no such file, or a part of the way is a file and not a folder.
pub(crate) fn gone(error: &io::Error) -> bool {
    matches!(error.kind(), io::ErrorKind::NotFound | io::ErrorKind::NotADirectory)
}

#[cfg(test)]
mod tests {
    use std::fs;

    use super::*;

    #[test]
    fn names_that_stay_inside() {
        let dir = tempfile::tempdir().unwrap();
        for (name, expected) in [
            ("photos/bar.jpg", "photos/bar.jpg"),
            ("./photos//a b.jpg", "photos/a b.jpg"),
            ("photos/10:22:05.jpg", "photos/10:22:05.jpg"),
            ("photos/..bar", "photos/..bar"),
            ("photos/line\nbreak é.jpg", "photos/line\nbreak é.jpg"),
        ] {
            let path = safe_relative(dir.path(), name).unwrap();
            assert_eq!(path, dir.path().join(expected));
        }
    }

    #[test]
    fn names_that_other_systems_cannot_hold_are_told() {
        let told = |names: &[&str]| {
            let names: Vec<EvidenceName> =
                names.iter().map(|name| EvidenceName::new(name.as_bytes()).unwrap()).collect();
            not_everywhere(names.iter())
                .into_iter()
                .map(|(name, why)| format!("{name} {why}"))
                .collect::<Vec<_>>()
        };
        let good = ["photos/1.jpg", "photos/auxiliary.jpg", "photos/com0.jpg", "photos/é.jpg", "logs/1.jpg"];
        assert_eq!(told(&good), Vec::<String>::new());
        for bad in [
            "aux.jpg",
            "COM1",
            "photos/a:b.jpg",
            "end.",
            "end ",
            "what?.jpg",
            "con/1.jpg",
            "a\\b",
            "lpt9.tar.gz",
        ] {
            assert!(told(&[bad]).concat().contains("Windows"), "{bad}");
        }
        assert!(told(&["Photo.jpg", "photo.JPG"]).concat().contains("is the same name as Photo.jpg"));
        assert!(told(&["e\u{301}.jpg", "é.jpg"]).concat().contains("is the same name"));
        #[cfg(unix)]
        {
            let name = EvidenceName::new(b"\xff.jpg").unwrap();
            assert!(not_everywhere([&name].into_iter())[0].1.contains("UTF-8"));
        }
    }

    #[test]
    fn names_that_would_leave() {
        use UnsafeReason::*;
        let dir = tempfile::tempdir().unwrap();
        for (name, reason) in [
            ("", Empty),
            (".", Empty),
            ("./", Empty),
            ("/etc/passwd", Absolute),
            ("//server/share", Absolute),
            ("../secret", Climbs),
            ("photos/../../secret", Climbs),
            ("photos/..", Climbs),
            ("C:secret", Drive),
            ("c:/secret", Drive),
            ("photos\\bar.jpg", Backslash),
            ("\\\\server\\share", Backslash),
            ("photos/a\0.jpg", Nul),
        ] {
            let NameError::Unsafe(error) = safe_relative(dir.path(), name).unwrap_err() else {
                panic!("{name:?}");
            };
            assert_eq!(error.reason, reason, "{name:?}");
            assert_eq!(error.name, name);
        }
    }

    #[cfg(unix)]
    #[test]
    fn links_on_the_way_are_refused_wherever_they_point() {
        let dir = tempfile::tempdir().unwrap();
        let inside = dir.path().join("inspection");
        fs::create_dir_all(inside.join("photos")).unwrap();
        fs::write(inside.join("photos/real.jpg"), "x").unwrap();
        let link = |to: &str, at: &str| std::os::unix::fs::symlink(to, inside.join(at)).unwrap();
        link("/etc", "photos/out");
        link("real.jpg", "photos/alias.jpg");
        link("nowhere", "photos/dangling.jpg");
        for name in ["photos/out/passwd", "photos/out", "photos/alias.jpg", "photos/dangling.jpg"] {
            let error = safe_relative(&inside, name).unwrap_err();
            assert!(error.to_string().contains("link"), "{error}");
        }
        assert!(safe_relative(&inside, "photos/real.jpg").is_ok());
        assert!(safe_relative(&inside, "photos/real.jpg/deeper").is_ok());
        // The folder itself was named by the user and may be reached through a link.
        std::os::unix::fs::symlink(&inside, dir.path().join("shortcut")).unwrap();
        assert!(safe_relative(&dir.path().join("shortcut"), "photos/real.jpg").is_ok());
    }

    proptest::proptest! {
        #[test]
        fn no_name_leads_outside(name in "[a./\\\\:\u{0}\\n C]{0,12}|.*") {
            let folder = Path::new("/nonexistent-inspection");
            if let Ok(path) = safe_relative(folder, &name) {
                proptest::prop_assert!(path.starts_with(folder));
                proptest::prop_assert!(path.components().all(|c| c != std::path::Component::ParentDir));
            }
        }
    }
}
