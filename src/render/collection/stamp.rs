//! Whether the files behind an inspection are still what they were.
//!
//! Two looks, the cheap one first: size, times and file number as the system tells them; and, where those differ or
//! were too fresh to be trusted, a hash of the content. A copy or a fresh checkout changes every time and no content,
//! and still nothing needs to be judged anew.

use std::collections::BTreeMap;
use std::fs;
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime, UNIX_EPOCH};

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use crate::evidence::hash::Sha256Digest;
use crate::evidence::name::safe_relative;
use crate::judge::inspection::{FOLDER_RULES, RECORD};
use crate::record::open;

/// A file that was changed so shortly before it was looked at may change again within one tick of its clock: the
/// coarsest in use, FAT's, ticks every two seconds.
const TICK: Duration = Duration::from_secs(2);

/// What the system says of a file: size, time of change of content and of entry, number. None when it is not there.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct FileStamp(Option<(u64, i64, i64, u64)>);

/// A time as nanoseconds since 1970.
pub(super) fn nanoseconds(time: SystemTime) -> i128 {
    match time.duration_since(UNIX_EPOCH) {
        Ok(since) => i128::try_from(since.as_nanos()).unwrap_or(i128::MAX),
        Err(before) => i128::try_from(before.duration().as_nanos()).map_or(i128::MIN, |n| -n),
    }
}

fn clipped(time: SystemTime) -> i64 {
    i64::try_from(nanoseconds(time)).unwrap_or(i64::MAX)
}

impl FileStamp {
    fn of(path: &Path) -> Self {
        let Ok(meta) = fs::symlink_metadata(path) else { return Self(None) };
        let modified = meta.modified().map_or(0, clipped);
        #[cfg(unix)]
        let (changed, number) = {
            use std::os::unix::fs::MetadataExt;
            (meta.ctime().saturating_mul(1_000_000_000).saturating_add(meta.ctime_nsec()), meta.ino())
        };
        #[cfg(not(unix))]
        let (changed, number) = (modified, 0);
        Self(Some((meta.len(), modified, changed, number)))
    }

    fn latest(self) -> i64 {
        self.0.map_or(i64::MIN, |(_, modified, changed, _)| modified.max(changed))
    }
}

/// The files behind an inspection: the record, its own rules, the logs and photos that it names.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Stamps {
    /// Logs and photos that the record names.
    pub named: Vec<String>,
    /// Stamps of the record, of its own rules and then of what is named; nothing where a name is refused.
    pub files: Vec<FileStamp>,
    /// True where the stamps are old enough to be trusted.
    pub settled: bool,
    /// Hash of the content of all files.
    pub content: String,
    /// Hash of the record, as `sha256sum` prints it.
    pub record: String,
}

/// The record, and the inspection's own rules.
fn own(folder: &Path) -> Vec<PathBuf> {
    let mut files = vec![folder.join(RECORD), folder.join(FOLDER_RULES)];
    files.extend(open::entries(&folder.join(FOLDER_RULES)).unwrap_or_default());
    files
}

impl Stamps {
    /// Looks at the files behind an inspection. To be called before it is judged: what changes later then differs.
    pub fn take(folder: &Path, named: Vec<String>) -> io::Result<Self> {
        // A file whose name is refused is refused again the next time: its name stands in the record.
        let named_paths = named.iter().map(|name| safe_relative(folder, name).ok());
        let paths: Vec<Option<PathBuf>> = own(folder).into_iter().map(Some).chain(named_paths).collect();
        let look = |path: &Option<PathBuf>| path.as_deref().map_or(FileStamp(None), FileStamp::of);
        let stamps: Vec<FileStamp> = paths.iter().map(look).collect();
        let paths: Vec<PathBuf> = paths.into_iter().flatten().collect();
        let now = clipped(SystemTime::now().checked_sub(TICK).unwrap_or(UNIX_EPOCH));
        // A link shows its own times, not those of the file it leads to: behind one the content decides every time.
        let linked = paths.iter().any(|path| fs::symlink_metadata(path).is_ok_and(|meta| meta.is_symlink()));
        let settled = !linked && stamps.iter().all(|stamp| stamp.latest() < now);
        let content = content(folder, &paths)?;
        let record = crate::evidence::hash::hash_file(&folder.join(RECORD))
            .map_err(|error| io::Error::other(error.to_string()))?
            .to_string();
        Ok(Self { named, files: stamps, settled, content, record })
    }

    /// True when all files look as they did, and no link lies on the way to one.
    fn looks_the_same(&self, folder: &Path) -> bool {
        let own = own(folder);
        let Some((own_stamps, named_stamps)) = self.files.split_at_checked(own.len()) else { return false };
        if named_stamps.len() != self.named.len()
            || !own.iter().map(|path| FileStamp::of(path)).eq(own_stamps.iter().copied())
        {
            return false;
        }
        let mut folders: BTreeMap<&Path, Option<fs::FileType>> = BTreeMap::new();
        for (name, stamp) in self.named.iter().zip(named_stamps) {
            let name = Path::new(name);
            let mut on_the_way: Vec<&Path> =
                name.ancestors().skip(1).filter(|way| *way != Path::new("")).collect();
            on_the_way.reverse();
            let mut kind = |way| {
                *folders
                    .entry(way)
                    .or_insert_with(|| Some(folder.join(way).symlink_metadata().ok()?.file_type()))
            };
            let same = match on_the_way
                .into_iter()
                .map(&mut kind)
                .find(|kind| kind.is_none_or(|kind| !kind.is_dir()))
            {
                None => FileStamp::of(&folder.join(name)) == *stamp,
                // What lies in a folder that is not there is not there.
                Some(None) => stamp.0.is_none(),
                Some(Some(_)) => false,
            };
            if !same {
                return false;
            }
        }
        true
    }

    /// True when the files are still what they were. Fresh stamps take the place of those that only looked changed.
    pub fn still_hold(&mut self, folder: &Path) -> bool {
        if self.settled && self.looks_the_same(folder) {
            return true;
        }
        match Self::take(folder, self.named.clone()) {
            Ok(fresh) if fresh.content == self.content && fresh.record == self.record => {
                *self = fresh;
                true
            }
            _ => false,
        }
    }
}

/// One hash over names, lengths and contents, so that no two sets of files give the same.
fn content(folder: &Path, paths: &[PathBuf]) -> io::Result<String> {
    let mut hasher = Sha256::new();
    let mut block = vec![0_u8; 1 << 16];
    for path in paths {
        let name = path.strip_prefix(folder).unwrap_or(path).as_os_str().as_encoded_bytes();
        hasher.update((name.len() as u64).to_le_bytes());
        hasher.update(name);
        let mut length = 0_u64;
        let opened = open::plain(path);
        hasher.update([u8::from(opened.is_ok())]);
        if let Ok((mut file, _)) = opened {
            loop {
                let read = file.read(&mut block)?;
                let Some(some) = block.get(..read).filter(|some| !some.is_empty()) else { break };
                hasher.update(some);
                length += read as u64;
            }
        }
        hasher.update(length.to_le_bytes());
    }
    Ok(Sha256Digest::from_hasher(hasher).to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_look_sees_every_change() {
        let folder = tempfile::tempdir().unwrap();
        let path = |name: &str| folder.path().join(name);
        fs::write(path(RECORD), "schema = 2").unwrap();
        fs::create_dir(path("logs")).unwrap();
        fs::write(path("logs/a.csv"), "1").unwrap();
        let named = ["logs/a.csv", "logs/missing.csv", "photos/b.jpg", "../outside"].map(str::to_owned);
        let take = || Stamps::take(folder.path(), named.to_vec()).unwrap();
        let mut before = take();
        assert!(before.looks_the_same(folder.path()));
        for (name, text) in [("logs/a.csv", "12"), ("logs/missing.csv", ""), (RECORD, "schema = 1")] {
            fs::write(path(name), text).unwrap();
            assert!(!before.looks_the_same(folder.path()), "{name}");
            before = take();
            assert!(before.looks_the_same(folder.path()), "{name}");
        }
        for (inner, name) in [("photos", "photos/b.jpg"), ("rules", "rules/house.toml")] {
            fs::create_dir(path(inner)).unwrap();
            fs::write(path(name), "").unwrap();
            assert!(!before.looks_the_same(folder.path()), "{name}");
            before = take();
        }
        fs::remove_file(path("photos/b.jpg")).unwrap();
        assert!(!before.looks_the_same(folder.path()), "removed");
        before = take();
        // The same files, behind a link: their names are refused now.
        #[cfg(unix)]
        {
            fs::rename(path("logs"), path("elsewhere")).unwrap();
            std::os::unix::fs::symlink(path("elsewhere"), path("logs")).unwrap();
            assert!(!before.looks_the_same(folder.path()), "a link on the way");
        }
    }

    #[test]
    fn a_change_is_seen_and_a_copy_is_not_one() {
        let folder = tempfile::tempdir().unwrap();
        let path = |name: &str| folder.path().join(name);
        fs::write(path(RECORD), "schema = 2").unwrap();
        fs::write(path("log.csv"), "1").unwrap();
        let logs = || vec!["log.csv".to_owned(), "missing.csv".to_owned(), "../outside".to_owned()];
        let before = Stamps::take(folder.path(), logs()).unwrap();
        assert!(before.clone().still_hold(folder.path()));
        fs::write(path("log.csv"), "1").unwrap();
        assert!(before.clone().still_hold(folder.path()), "written anew with the same content");
        for (name, text) in [("log.csv", "2"), ("missing.csv", ""), ("rules/house.toml", "schema = 1")] {
            fs::create_dir_all(path("rules")).unwrap();
            let old = fs::read(path(name)).ok();
            fs::write(path(name), text).unwrap();
            assert!(!before.clone().still_hold(folder.path()), "{name}");
            match old {
                Some(old) => fs::write(path(name), old).unwrap(),
                None => fs::remove_file(path(name)).unwrap(),
            }
            fs::remove_dir_all(path("rules")).unwrap();
        }
        fs::remove_file(path("log.csv")).unwrap();
        assert!(!before.clone().still_hold(folder.path()), "removed");
    }
}
