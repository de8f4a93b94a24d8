//! A collection: many inspections as a static site and as tables.
//!
//! The root is walked, each inspection is judged by itself, its page is written, and only a row, its findings and its
//! elements go on to the tables; no more than a few hundred judged inspections are in memory at once. What cannot be
//! read is listed with its problem and stops nothing. What has not changed since the last build is taken from a cache.
//!
//! The site needs no server and asks for nothing from anywhere: every page stands alone.

#[cfg(feature = "collection")]
mod build;
mod cache;
mod chart;
pub(crate) mod column;
mod export;
mod fields;
mod find;
mod listing;
mod old_rows;
mod page;
#[cfg(feature = "parquet")]
mod parquet;
pub(crate) mod row;
mod seal;
mod site;
mod stamp;
mod table_files;
pub mod tables;

use std::io;
use std::path::{Path, PathBuf};

use thiserror::Error;

#[cfg(feature = "collection")]
pub use build::{Built, build};
pub(crate) use page::published;

use crate::evidence::signature::VerifyingKey;
use crate::judge::inspection::{House, OpenError};

/// What a write-up carries for collections, beside its pages.
pub(crate) const PUBLISHED: &str = "pack.json";

/// What to build, and how.
#[derive(Debug, Clone)]
pub struct Options {
    /// Inspections are searched below this folder.
    pub root: PathBuf,
    /// Folder of the site.
    pub to: PathBuf,
    /// Whose rules judge.
    pub house: House,
    /// Title of the site.
    pub title: String,
    /// A folder with the user's own look: `own.html`, `own.css`, `style.css`.
    pub templates: Option<PathBuf>,
    /// True to judge everything anew.
    pub fresh: bool,
    /// The share to build; everything without one.
    pub part: Option<CollectionShare>,
    /// Keys that are trusted, each with the name of its file.
    pub keys: Vec<(String, VerifyingKey)>,
}

/// A share of a collection. Which inspections it holds follows from their keys, and so from their paths below the root
/// alone: on every machine that has the same root the same.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CollectionShare {
    share: u32,
    of: u32,
}

impl CollectionShare {
    /// CollectionShare `share` of `of`, counted from 1; none where there is no such share.
    pub const fn new(share: u32, of: u32) -> Option<Self> {
        if share >= 1 && share <= of && of <= 1_000_000 { Some(Self { share, of }) } else { None }
    }

    /// Its folder, as engines that know partitions by folder names (after Apache Hive) read it.
    pub fn folder(self) -> String {
        format!("part={}-of-{}", self.share, self.of)
    }

    fn holds(self, key: &str) -> bool {
        let number = key.get(..8).and_then(|digits| u32::from_str_radix(digits, 16).ok()).unwrap_or(0);
        number % self.of == self.share - 1
    }
}

/// Why a collection cannot be built.
#[derive(Debug, Error)]
#[allow(missing_docs)] // The message of each says what it is.
pub enum CollectionError {
    #[error("{path}: {source}", path = crate::units::terminal::shown(path))]
    Read { path: PathBuf, source: io::Error },
    #[error("{path}: {source}", path = crate::units::terminal::shown(path))]
    Write { path: PathBuf, source: io::Error },
    #[error(
        "{path} holds files and is not a collection made by underlid: name an empty or a new folder",
        path = crate::units::terminal::shown(.0)
    )]
    Foreign(PathBuf),
    #[error("{path} was not written by underlid: move it out of the way", path = crate::units::terminal::shown(.0))]
    NotOurs(PathBuf),
    #[error("another build is writing into {path}", path = crate::units::terminal::shown(.0))]
    Busy(PathBuf),
    #[error(
        "{path} lies inside an inspection, whose files are evidence: name a folder outside",
        path = crate::units::terminal::shown(.0)
    )]
    InsideInspection(PathBuf),
    #[error("{path}: neither an inspection.toml nor a published write-up lies below it", path = crate::units::terminal::shown(.0))]
    Nothing(PathBuf),
    #[error(transparent)]
    House(#[from] OpenError),
    #[error("{0}")]
    Inner(String),
}

/// The words of the pages and tables, whatever the records say.
pub(crate) fn own_words() -> String {
    let mut text = page::templates_text();
    let about = [tables::PACKS.about, tables::FINDINGS.about, tables::ELEMENTS.about];
    let columns = tables::PACKS.infos().chain(tables::FINDINGS.infos()).chain(tables::ELEMENTS.infos());
    let columns = columns.flat_map(|info| [info.name, info.about]);
    for words in about.into_iter().chain(columns).chain(listing::labels()) {
        text.push('\n');
        text.push_str(words);
    }
    text
}

/// The JSON Schemas of the lines of the three tables.
pub(crate) fn json_schemas() -> [serde_json::Value; 3] {
    [tables::PACKS.json_schema(), tables::FINDINGS.json_schema(), tables::ELEMENTS.json_schema()]
}

impl CollectionError {
    fn read(path: &Path) -> impl FnOnce(io::Error) -> Self {
        let path = path.to_owned();
        move |source| Self::Read { path, source }
    }

    fn write(path: &Path) -> impl FnOnce(io::Error) -> Self {
        let path = path.to_owned();
        move |source| Self::Write { path, source }
    }
}
