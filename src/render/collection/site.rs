//! The folder of the site: what the tool wrote there is listed, and nothing else is ever touched.
//!
//! The list is written before the files it names, so that a build that was stopped knows its own files the next time.
//! A name from the list is only used when it has one of the few shapes that this program gives, because the list lies
//! in a folder that anybody may have handed on. A folder that holds other files and no list is refused.
//!
//! Each file is written beside its name and renamed, so that a reader meets the old page or the new one. It is not
//! forced to the disk: everything here can be made again, and forcing ten thousand pages would cost more than making
//! them. Should power fail, the cache no longer matches the size of a page or table, and it is made again.

use std::collections::BTreeSet;
use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

use super::CollectionError;
use crate::record::open;

/// The list of files, and the mark by which a site is known.
pub const LIST: &str = ".underlid-collection";
/// The cache.
pub const CACHE: &str = ".underlid-collection-cache";
/// Folder of the page of each pack.
pub const PACKS: &str = "packs";
/// Folder of the table's further pages.
pub const ROWS: &str = "rows";

const FIRST_LINE: &str = "underlid collection 1";
/// Files at the top of a site.
const TOP: [&str; 16] = [
    CACHE,
    "index.html",
    "charts.html",
    "fields.html",
    "problems.html",
    "csv-metadata.json",
    "collection.csv",
    "collection.jsonl",
    "collection.parquet",
    "findings.csv",
    "findings.jsonl",
    "findings.parquet",
    "elements.csv",
    "elements.jsonl",
    "elements.parquet",
    LIST,
];
/// Ending of a file that is being written.
const PART: &str = ".part";

/// The folder of a site, held for one build.
#[derive(Debug)]
pub struct Site {
    folder: PathBuf,
    before: BTreeSet<String>,
    /// Kept open: the lock ends with it.
    _lock: Option<File>,
}

/// True for names that this program gives.
fn is_ours(name: &str) -> bool {
    let plain = |text: &str| {
        !text.is_empty()
            && text.len() <= 80
            && text.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-')
    };
    match name.split_once('/') {
        None => TOP.contains(&name),
        Some((PACKS | ROWS, page)) => page.strip_suffix(".html").is_some_and(plain),
        Some(_) => false,
    }
}

impl Site {
    /// Opens the folder of a site, or makes it.
    ///
    /// # Errors
    /// When the folder holds other files, when another build is at work in it, or what the system says.
    pub fn open(folder: &Path) -> Result<Self, CollectionError> {
        fs::create_dir_all(folder).map_err(CollectionError::write(folder))?;
        let folder = folder.canonicalize().map_err(CollectionError::write(folder))?;
        let lock = lock(&folder)?;
        let list = folder.join(LIST);
        let mut before = BTreeSet::new();
        let is_file = fs::symlink_metadata(&list).is_ok_and(|meta| meta.is_file());
        let text = if is_file { open::text(&list).ok() } else { None };
        let listed = text.as_deref().and_then(|text| text.strip_prefix(FIRST_LINE)?.strip_prefix('\n'));
        match listed {
            Some(names) => before.extend(names.lines().filter(|name| is_ours(name)).map(str::to_owned)),
            None => {
                // A first build that was stopped may have begun its list and nothing else.
                let begun = folder.join(format!("{LIST}{PART}"));
                let entries = open::entries(&folder).map_err(CollectionError::write(&folder))?;
                if entries.iter().any(|entry| *entry != begun) {
                    return Err(CollectionError::Foreign(folder));
                }
            }
        }
        let site = Self { folder, before, _lock: lock };
        if listed.is_none() {
            site.list(&BTreeSet::new())?;
        }
        for inner in [PACKS, ROWS] {
            site.real_folder(inner)?;
        }
        Ok(site)
    }

    /// The folder.
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// A folder inside the site: a link in its place would lead the pages elsewhere.
    fn real_folder(&self, name: &str) -> Result<(), CollectionError> {
        let path = self.folder.join(name);
        match fs::symlink_metadata(&path) {
            Ok(meta) if meta.is_dir() => Ok(()),
            Ok(_) => {
                let why = "is not a folder of its own; pages are only written into a real folder";
                Err(CollectionError::write(&path)(io::Error::other(why)))
            }
            Err(_) => fs::create_dir(&path).map_err(CollectionError::write(&path)),
        }
    }

    /// Takes names for this build: each must be free, or already on the list.
    ///
    /// # Errors
    /// When a file of somebody else has one of the names, or what the system says.
    pub fn claim(&mut self, names: &BTreeSet<String>) -> Result<(), CollectionError> {
        for name in names.difference(&self.before) {
            let path = self.folder.join(name);
            if name != LIST && fs::symlink_metadata(&path).is_ok() {
                return Err(CollectionError::NotOurs(path));
            }
        }
        let all: BTreeSet<String> = self.before.union(names).cloned().collect();
        self.list(&all)?;
        self.before = all;
        Ok(())
    }

    fn list(&self, names: &BTreeSet<String>) -> Result<(), CollectionError> {
        let mut text = format!("{FIRST_LINE}\n");
        for name in names {
            text.push_str(name);
            text.push('\n');
        }
        self.write(LIST, text.as_bytes())
    }

    /// Writes a file, unless it already holds just this.
    pub fn write(&self, name: &str, bytes: &[u8]) -> Result<(), CollectionError> {
        if self.holds(name, bytes) {
            return Ok(());
        }
        let mut file = self.begin(name)?;
        file.to.write_all(bytes).map_err(CollectionError::write(&file.part))?;
        file.finish().map(|_| ())
    }

    fn holds(&self, name: &str, bytes: &[u8]) -> bool {
        let path = self.folder.join(name);
        let same_size = fs::symlink_metadata(&path).is_ok_and(|meta| {
            meta.is_file() && usize::try_from(meta.len()).is_ok_and(|len| len == bytes.len())
        });
        same_size && open::bytes(&path, bytes.len() as u64).is_ok_and(|old| old == bytes)
    }

    /// Begins a file that is written piece by piece.
    pub fn begin(&self, name: &str) -> Result<SitePart, CollectionError> {
        debug_assert!(is_ours(name), "{name}");
        let path = self.folder.join(name);
        let part = self.folder.join(format!("{name}{PART}"));
        // Left over from a build that was stopped, or a link that somebody put there: taken away, never followed.
        let _ = fs::remove_file(&part);
        let file = File::options()
            .write(true)
            .create_new(true)
            .open(&part)
            .map_err(CollectionError::write(&part))?;
        Ok(SitePart { to: BufWriter::with_capacity(1 << 16, file), path, part })
    }

    /// How a file of the site was written.
    pub fn stamp(&self, name: &str) -> Written {
        written(&self.folder.join(name))
    }

    /// Ends a build: files of earlier builds that this one did not write again go.
    pub fn finish(mut self, written: &BTreeSet<String>) -> Result<usize, CollectionError> {
        let mut removed = 0;
        let gone: Vec<String> = self.before.difference(written).cloned().collect();
        // What a build that was stopped had begun, and this one did not need to write again.
        for folder in ["", PACKS, ROWS] {
            for path in open::entries(&self.folder.join(folder)).unwrap_or_default() {
                let name = path.file_name().unwrap_or_default().to_string_lossy();
                let of = name.strip_suffix(PART).map(|name| Path::new(folder).join(name));
                if of.is_some_and(|of| self.before.contains(of.to_string_lossy().as_ref())) {
                    let _ = fs::remove_file(&path);
                }
            }
        }
        for name in gone {
            let path = self.folder.join(&name);
            match fs::remove_file(&path) {
                Ok(()) => removed += 1,
                Err(error) if error.kind() == io::ErrorKind::NotFound => {}
                Err(error) => return Err(CollectionError::write(&path)(error)),
            }
        }
        self.list(written)?;
        self.before.clone_from(written);
        Ok(removed)
    }
}

/// Two builds in one folder would take each other's files away.
fn lock(folder: &Path) -> Result<Option<File>, CollectionError> {
    // Elsewhere a folder cannot be opened like a file.
    if cfg!(not(unix)) {
        return Ok(None);
    }
    let file = open::folder(folder).map_err(CollectionError::write(folder))?;
    match file.try_lock() {
        Ok(()) => Ok(Some(file)),
        Err(fs::TryLockError::WouldBlock) => Err(CollectionError::Busy(folder.to_owned())),
        // A file system without locks is no reason not to build.
        Err(fs::TryLockError::Error(_)) => Ok(None),
    }
}

/// Size of a file and when it was written, nanoseconds; none when it is not there as a plain file.
pub type Written = Option<(u64, i128)>;

fn written(path: &Path) -> Written {
    let meta = fs::symlink_metadata(path).ok().filter(fs::Metadata::is_file)?;
    Some((meta.len(), super::stamp::nanoseconds(meta.modified().ok()?)))
}

/// A file that is being written.
#[derive(Debug)]
pub struct SitePart {
    /// Where to write.
    pub to: BufWriter<File>,
    path: PathBuf,
    part: PathBuf,
}

impl SitePart {
    /// Where it is being written, for messages.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Gives the file its name.
    pub fn finish(mut self) -> Result<Written, CollectionError> {
        self.to.flush().map_err(CollectionError::write(&self.part))?;
        let replaces = fs::symlink_metadata(&self.path).is_ok_and(|meta| meta.is_file());
        if replaces && exchange(&self.part, &self.path).is_ok() {
            // What is there now is the old file.
            fs::remove_file(&self.part).map_err(CollectionError::write(&self.part))?;
        } else {
            fs::rename(&self.part, &self.path).map_err(CollectionError::write(&self.path))?;
        }
        Ok(written(&self.path))
    }
}

/// Gives two files the names of each other, in one step. Where a file is renamed over another instead, some file systems
/// (ext4) first write all of it to the disk: of the tables half a gigabyte, for which the build would wait.
#[cfg(target_os = "linux")]
fn exchange(one: &Path, other: &Path) -> io::Result<()> {
    use rustix::fs::{CWD, RenameFlags, renameat_with};
    Ok(renameat_with(CWD, one, CWD, other, RenameFlags::EXCHANGE)?)
}

#[cfg(not(target_os = "linux"))]
fn exchange(_: &Path, _: &Path) -> io::Result<()> {
    Err(io::ErrorKind::Unsupported.into())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_names_of_our_own_shape() {
        for name in ["index.html", "packs/harbour-24-0123456789abcdef.html", "rows/12.html", CACHE] {
            assert!(is_ours(name), "{name}");
        }
        for name in [
            "",
            "..",
            "../x.html",
            "packs/../x.html",
            "packs/.html",
            "packs/a/b.html",
            "/etc/passwd",
            "packs/A.html",
            "packs/x.html.part",
            "notes.html",
            "rows/x\u{0}.html",
            "packs\\x.html",
        ] {
            assert!(!is_ours(name), "{name}");
        }
    }

    #[test]
    fn a_first_build_that_was_stopped_is_no_folder_of_somebody_else() {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join(format!("{LIST}{PART}")), "underlid coll").unwrap();
        Site::open(folder.path()).unwrap();
        assert!(!folder.path().join(format!("{LIST}{PART}")).exists());
    }

    #[test]
    fn a_new_file_takes_the_place_of_the_old_one_and_of_nothing_else() {
        let folder = tempfile::tempdir().unwrap();
        let site = Site::open(folder.path()).unwrap();
        let at = |name: &str| folder.path().join(name);
        for text in ["a", "b, longer", "c"] {
            site.write("index.html", text.as_bytes()).unwrap();
            assert_eq!(fs::read_to_string(at("index.html")).unwrap(), text);
            assert!(!at(&format!("index.html{PART}")).exists(), "{text}");
        }
        fs::create_dir(at("fields.html")).unwrap();
        fs::write(at("fields.html/own"), "mine").unwrap();
        assert!(site.write("fields.html", b"x").is_err());
        assert!(at("fields.html/own").exists());
        #[cfg(unix)]
        {
            std::os::unix::fs::symlink(at("fields.html/own"), at("charts.html")).unwrap();
            site.write("charts.html", b"x").unwrap();
            assert!(at("charts.html").symlink_metadata().unwrap().is_file());
            assert_eq!(fs::read_to_string(at("fields.html/own")).unwrap(), "mine");
        }
    }

    #[test]
    fn files_of_others_in_a_site_stay() {
        let folder = tempfile::tempdir().unwrap();
        let names = |list: &[&str]| list.iter().map(|n| (*n).to_owned()).collect::<BTreeSet<_>>();
        let mut site = Site::open(folder.path()).unwrap();
        site.claim(&names(&[LIST, "packs/a.html", "packs/b.html"])).unwrap();
        site.write("packs/a.html", b"a").unwrap();
        site.write("packs/b.html", b"b").unwrap();
        site.finish(&names(&[LIST, "packs/a.html", "packs/b.html"])).unwrap();
        fs::write(folder.path().join("packs/own.html"), "mine").unwrap();
        fs::write(folder.path().join("diary.txt"), "mine").unwrap();
        let mut site = Site::open(folder.path()).unwrap();
        assert!(matches!(site.claim(&names(&[LIST, "packs/own.html"])), Err(CollectionError::NotOurs(_))));
        site.claim(&names(&[LIST, "packs/a.html"])).unwrap();
        assert_eq!(site.finish(&names(&[LIST, "packs/a.html"])).unwrap(), 1);
        let there = |name: &str| folder.path().join(name).exists();
        assert!(there("packs/a.html") && there("packs/own.html") && there("diary.txt"));
        assert!(!there("packs/b.html"));
    }
}
