//! Finding inspections below a root.
//!
//! An inspection is a folder with an `inspection.toml`; a published one has `report/pack.json` alone. Either may be the
//! payload of a bag (RFC 8493), which then gives it its name. Links are not followed, hidden folders are skipped, the depth
//! is bounded, and an inspection's own photos, logs and write-up are not searched. What cannot be looked into is
//! listed with its problem: nothing is dropped silently.
//!
//! The key of an inspection is a hash of its path below the root, without a salt, so that the same folder has the same page and
//! the same rows in every build and on every machine. Whoever guesses a folder's name can confirm the guess by its key;
//! where a record withholds the name, give the folder another one before it is published. Hashes of originals (photos,
//! records) are without a salt as well, and must be: a stranger is to find them with `sha256sum` alone. They hash
//! pictures and whole records, which nobody can list and try as one can names.

use std::collections::BTreeSet;
use std::ffi::OsStr;
use std::path::{Path, PathBuf};

use rayon::prelude::*;
use sha2::{Digest, Sha256};
use walkdir::{DirEntry, WalkDir};

use super::PUBLISHED;
use crate::evidence::bag::{BAG_DECLARATION, PAYLOAD};
use crate::evidence::hash::Sha256Digest;
use crate::judge::inspection::RECORD;
use crate::render::write_up::FOLDER;

/// Deepest folder that is looked into, counted from the root.
pub const DEEPEST: usize = 16;
/// Folders of an inspection that hold no inspections.
const OWN: [&str; 6] = ["appendix", "logs", "photos", "report", "rules", "video-kit"];
/// Characters of a folder's name that go into a page's name.
const LONGEST_NAME: usize = 40;

/// An inspection folder, or a place below the root that cannot be looked into.
#[derive(Debug, Clone)]
pub struct FoundFolder {
    /// Path below the root, of the bag where it is one.
    pub relative: PathBuf,
    /// True for the payload of a bag.
    pub bag: bool,
    /// True where there is no record but what a write-up carries.
    pub published: bool,
    /// Key in the tables: from the path below the root.
    pub key: String,
    /// What is wrong with it, where it is not an inspection that can be opened.
    pub problem: Option<String>,
}

impl FoundFolder {
    fn new(relative: &Path, problem: Option<String>) -> Self {
        Self { key: key(relative), relative: relative.to_owned(), bag: false, published: false, problem }
    }

    /// What was found below a folder, which may be the payload of a bag.
    fn inside(root: &Path, folder: &Path, published: bool, problem: Option<String>) -> Self {
        let around = folder.parent().filter(|around| {
            folder.file_name() == Some(OsStr::new(PAYLOAD))
                && around.starts_with(root)
                && around.join(BAG_DECLARATION).is_file()
                && !around.join(RECORD).exists()
        });
        let named = around.unwrap_or(folder);
        let relative = named.strip_prefix(root).unwrap_or(named);
        Self { bag: around.is_some(), published, ..Self::new(relative, problem) }
    }

    /// The folder of the inspection below the root.
    pub fn folder_in(&self, root: &Path) -> PathBuf {
        let folder = root.join(&self.relative);
        if self.bag { folder.join(PAYLOAD) } else { folder }
    }

    /// The path below the root as text, bytes that are not UTF-8 as `\xNN`.
    pub fn folder(&self) -> String {
        folder_text(&self.relative)
    }

    /// Name of its page: readable, and told apart by the key from every other of the same name.
    pub fn page(&self) -> String {
        let name = self.relative.file_name().unwrap_or(OsStr::new("root")).to_string_lossy();
        let mut slug = String::new();
        for c in name.chars().flat_map(char::to_lowercase) {
            if slug.len() >= LONGEST_NAME {
                break;
            }
            if c.is_ascii_alphanumeric() {
                slug.push(c);
            } else if !slug.is_empty() && !slug.ends_with('-') {
                slug.push('-');
            }
        }
        let slug = slug.trim_end_matches('-');
        let slug = if slug.is_empty() { "pack" } else { slug };
        format!("{slug}-{}.html", self.key)
    }

    /// Name of its page where the folder's name is withheld.
    pub fn nameless_page(&self) -> String {
        format!("pack-{}.html", self.key)
    }

    /// Sorts like the walk does.
    pub(super) fn bytes(&self) -> &[u8] {
        self.relative.as_os_str().as_encoded_bytes()
    }
}

fn key(relative: &Path) -> String {
    let mut hasher = Sha256::new();
    // `/` between the parts on every system, so that a collection has the same keys everywhere.
    for (index, part) in relative.components().enumerate() {
        if index > 0 {
            hasher.update(b"/");
        }
        hasher.update(part.as_os_str().as_encoded_bytes());
    }
    let mut text = Sha256Digest::from_hasher(hasher).to_string();
    text.truncate(16);
    text
}

/// A path as text that can be told apart from every other.
pub fn folder_text(path: &Path) -> String {
    let mut text = String::new();
    for (index, part) in path.components().enumerate() {
        if index > 0 {
            text.push('/');
        }
        for chunk in part.as_os_str().as_encoded_bytes().utf8_chunks() {
            text.push_str(chunk.valid());
            for byte in chunk.invalid() {
                text.push_str(&format!("\\x{byte:02X}"));
            }
        }
    }
    if text.is_empty() { ".".to_owned() } else { text }
}

/// What lies below a folder, down to a depth; `without` is not searched.
fn walk(folder: &Path, deepest: usize, without: &Path) -> impl Iterator<Item = walkdir::Result<DirEntry>> {
    WalkDir::new(folder).max_depth(deepest).sort_by_file_name().into_iter().filter_entry(move |entry| {
        if entry.depth() == 0 {
            return true;
        }
        let name = entry.file_name();
        let hidden = name.as_encoded_bytes().starts_with(b".");
        let own = || {
            OWN.iter().any(|own| name == OsStr::new(own))
                && entry.path().parent().is_some_and(|parent| parent.join(RECORD).exists())
        };
        !(hidden || entry.file_type().is_dir() && (own() || entry.path() == without))
    })
}

/// What an entry that lies this many folders below the root says of an inspection.
fn look(root: &Path, entry: walkdir::Result<DirEntry>, depth: usize) -> Option<FoundFolder> {
    let entry = match entry {
        Ok(entry) => entry,
        Err(error) => {
            let path = error.path().unwrap_or(root);
            let relative = path.strip_prefix(root).unwrap_or(path);
            let why =
                error.io_error().map_or_else(|| "cannot be looked into".to_owned(), ToString::to_string);
            return Some(FoundFolder::new(relative, Some(why)));
        }
    };
    if entry.file_name() == RECORD && depth > 0 {
        let folder = entry.path().parent().unwrap_or(root);
        let problem = if entry.file_type().is_file() {
            None
        } else if entry.file_type().is_symlink() {
            Some(format!("{RECORD} is a link; links are not followed"))
        } else {
            Some(format!("{RECORD} is not a file"))
        };
        return Some(FoundFolder::inside(root, folder, false, problem));
    }
    if entry.file_name() == PUBLISHED && entry.file_type().is_file() {
        // Beside a record it is not searched: what a write-up says is told again from the record.
        let inside = entry.path().parent().filter(|inside| inside.file_name() == Some(OsStr::new(FOLDER)));
        let folder = inside.and_then(Path::parent).filter(|folder| folder.starts_with(root));
        return folder.map(|folder| FoundFolder::inside(root, folder, true, None));
    }
    (entry.file_type().is_dir() && depth == DEEPEST).then(|| {
        let relative = entry.path().strip_prefix(root).unwrap_or(entry.path());
        let why = format!("lies {DEEPEST} folders deep; what is below it is not searched");
        FoundFolder::new(relative, Some(why))
    })
}

/// Finds inspections below a root; `without` is a folder that is not searched: the site itself.
pub fn find(root: &Path, without: &Path) -> Vec<FoundFolder> {
    let (mut found, mut folders) = (Vec::new(), Vec::new());
    for entry in walk(root, 1, without) {
        match entry {
            // Each folder in the root is searched by itself, so that they can be searched side by side.
            Ok(entry) if entry.depth() == 1 && entry.file_type().is_dir() => folders.push(entry.into_path()),
            other => {
                let depth = other.as_ref().map_or(0, DirEntry::depth);
                found.extend(look(root, other, depth));
            }
        }
    }
    found.par_extend(folders.par_iter().flat_map_iter(|folder| {
        walk(folder, DEEPEST - 1, without).filter_map(|entry| {
            let depth = 1 + entry.as_ref().map_or(0, DirEntry::depth);
            look(root, entry, depth)
        })
    }));
    found.sort_by(|a, b| a.bytes().cmp(b.bytes()));
    found.dedup_by(|a, b| a.relative == b.relative);
    // Keys of 64 bits meet by chance about never; by intent they might, and then the later one is listed, not lost.
    let mut keys = BTreeSet::new();
    for one in &mut found {
        let mut number = 1;
        let key = one.key.clone();
        while !keys.insert(one.key.clone()) {
            number += 1;
            one.key = format!("{key}-{number}");
            one.problem = Some("its key is that of another folder; rename the folder".to_owned());
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pages_are_named_safely() {
        for (folder, slug) in [
            ("a/Harbour 24-150", "harbour-24-150"),
            ("a/..%2f..", "2f"),
            ("a/<script>", "script"),
            ("a/日本", "pack"),
            ("a/=cmd|x", "cmd-x"),
            ("", "pack"),
        ] {
            let page = FoundFolder::new(Path::new(folder), None).page();
            let stem = page.strip_suffix(".html").unwrap();
            let (name, key) = stem.rsplit_once('-').unwrap();
            let expected = if folder.is_empty() { "root" } else { slug };
            assert_eq!(name, expected, "{folder}");
            assert_eq!(key.len(), 16);
        }
    }

    #[test]
    fn keys_differ_where_names_are_the_same() {
        let one = FoundFolder::new(Path::new("a/pack"), None);
        let other = FoundFolder::new(Path::new("b/pack"), None);
        assert_ne!(one.page(), other.page());
    }
}
