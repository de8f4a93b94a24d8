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
use std::fs::DirEntry;
use std::path::{Path, PathBuf};

use rayon::prelude::*;
use sha2::{Digest, Sha256};

use super::PUBLISHED;
use crate::evidence::bag::{BAG_DECLARATION, PAYLOAD};
use crate::evidence::hash::Sha256Digest;
use crate::judge::inspection::RECORD;
use crate::record::open::listing;
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

/// What a folder that lies this many folders below the root holds, and what lies below it; `without` is not searched.
fn below(root: &Path, folder: &Path, depth: usize, without: &Path) -> Vec<FoundFolder> {
    let refused =
        |path: &Path, why: String| vec![FoundFolder::new(path.strip_prefix(root).unwrap_or(path), Some(why))];
    // By name: of two that stand for one folder the same one stays on every machine.
    let entries = match listing(folder) {
        Ok(entries) => entries,
        Err(error) => return refused(folder, error.to_string()),
    };
    let is_inspection = entries.iter().any(|entry| entry.file_name() == RECORD);
    let one = |entry: &DirEntry| {
        let (name, path) = (entry.file_name(), entry.path());
        if name.as_encoded_bytes().starts_with(b".") {
            return Vec::new();
        }
        let kind = match entry.file_type() {
            Ok(kind) => kind,
            Err(error) => return refused(&path, error.to_string()),
        };
        if name == RECORD {
            let problem = if kind.is_file() {
                None
            } else if kind.is_symlink() {
                Some(format!("{RECORD} is a link; links are not followed"))
            } else {
                Some(format!("{RECORD} is not a file"))
            };
            return vec![FoundFolder::inside(root, folder, false, problem)];
        }
        if name == PUBLISHED && kind.is_file() {
            // Beside a record it is not searched: what a write-up says is told again from the record.
            let inside = folder.file_name() == Some(OsStr::new(FOLDER));
            let of = folder.parent().filter(|of| inside && of.starts_with(root));
            return of.map(|of| FoundFolder::inside(root, of, true, None)).into_iter().collect();
        }
        let own = is_inspection && OWN.iter().any(|own| name == *own);
        if !kind.is_dir() || own || path == without {
            return Vec::new();
        }
        if depth + 1 == DEEPEST {
            return refused(&path, format!("lies {DEEPEST} folders deep; what is below it is not searched"));
        }
        below(root, &path, depth + 1, without)
    };
    entries.par_iter().flat_map_iter(one).collect()
}

/// Finds inspections below a root; `without` is a folder that is not searched: the site itself.
pub fn find(root: &Path, without: &Path) -> Vec<FoundFolder> {
    let mut found = below(root, root, 0, without);
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
    use std::fs;

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
    fn beside_the_payload_of_a_bag_its_write_up_is_not_another_inspection() {
        let root = tempfile::tempdir().unwrap();
        for file in ["a/report/pack.json", "a/data/inspection.toml", "a/bagit.txt"] {
            let path = root.path().join(file);
            fs::create_dir_all(path.parent().unwrap()).unwrap();
            fs::write(path, "").unwrap();
        }
        let found = find(root.path(), Path::new("/nowhere"));
        assert_eq!(found.len(), 1, "{found:?}");
        assert!(found[0].bag && !found[0].published, "{found:?}");
    }

    #[test]
    fn keys_differ_where_names_are_the_same() {
        let one = FoundFolder::new(Path::new("a/pack"), None);
        let other = FoundFolder::new(Path::new("b/pack"), None);
        assert_ne!(one.page(), other.page());
    }
}
