//! An inspection folder, opened: the record, the book that judges it, what follows, and the judgement.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use thiserror::Error;

use crate::evidence::whole::Looks;
use crate::judge::bench_test::{Logs, TestResult, results_of};
use crate::judge::facts::{Derived, TOLD_ONLY};
use crate::judge::rules::doubts;
use crate::judge::rules::{Book, Judgement, RuleFile, judge};
use crate::judge::seen::photos_seen;
use crate::judge::withhold::{self, OwnWords, Withheld};
use crate::logs::read::{PROFILES, ProfileError, Profiles};
use crate::record::open::{self, FileError, Refused};
use crate::record::problem::Problems;
use crate::record::{self, Record};

/// File name of the record in an inspection folder.
pub const RECORD: &str = "inspection.toml";
/// Folder of house rules in an inspection folder.
pub const FOLDER_RULES: &str = "rules";

/// Why an inspection cannot be opened.
#[derive(Debug, Error)]
pub enum OpenError {
    /// A file cannot be read.
    #[error(transparent)]
    File(#[from] Refused),
    /// What stands in the file is wrong.
    #[error(transparent)]
    Problems(#[from] Problems),
}

impl From<ProfileError> for OpenError {
    fn from(error: ProfileError) -> Self {
        match error {
            ProfileError::File(refused) => Self::File(refused),
            ProfileError::Problems(problems) => Self::Problems(problems),
        }
    }
}

impl From<FileError> for OpenError {
    fn from(error: FileError) -> Self {
        Self::File(error.into())
    }
}

/// Whose rules judge beside the built-in ones. A folder may come from a stranger, and a rule that is turned off there
/// would be a verdict bought: what lies in it counts only when the user says so.
#[derive(Debug, Clone, Default)]
pub struct House {
    /// Files of rules, and folders of such files, that the user named.
    pub rules: Vec<PathBuf>,
    /// The rules and format profiles that lie in the inspection folder count too.
    pub folder_rules: bool,
    /// The user's format profiles.
    pub profiles: Profiles,
}

impl House {
    /// The format profiles that may be used for a folder's logs.
    fn profiles_for(&self, folder: &Path) -> Result<Arc<Profiles>, ProfileError> {
        let (mut profiles, inside) = (self.profiles.clone(), folder.join(PROFILES));
        if self.folder_rules {
            profiles.read(&inside)?;
        } else {
            profiles.leave_aside(&inside);
        }
        Ok(Arc::new(profiles))
    }
}

/// An inspection folder, opened and judged.
#[derive(Debug)]
pub struct Inspection {
    /// The folder.
    pub folder: PathBuf,
    /// The record.
    pub record: Record,
    /// The book that judges it.
    pub book: Arc<Book>,
    /// Its bench tests, worked out.
    pub bench_tests: Vec<TestResult>,
    /// What follows from the record.
    pub derived: Derived,
    /// The judgement.
    pub judgement: Judgement,
    /// What was withheld by [`Inspection::open_to_publish`]; nothing in an inspection opened for the bench.
    pub withheld: Withheld,
}

/// Stack of a worker that opens inspections, bytes: one that waits for a part of an inspection takes up another meanwhile,
/// on top of it.
pub(crate) const WORKER_STACK: usize = 32 << 20;

impl Inspection {
    /// Opens a folder, or a record file, and judges it by the built-in book and the house's. `own` are the program's own
    /// words, which nothing may be withheld by.
    ///
    /// # Errors
    /// [`OpenError`] names the file and the place.
    pub fn open(path: &Path, house: &House, own: &OwnWords) -> Result<Self, OpenError> {
        let read = Read::beside_the_book(path, own)?;
        let book = book(Some(&read.folder), house)?;
        let profiles = house.profiles_for(&read.folder)?;
        Ok(Self::judged(read, book, profiles, Withheld::default(), Vec::new()))
    }

    /// Opens an inspection for outputs that leave the bench: write-up, comparison, collection, video kit. What the
    /// record's `[withhold]` names is taken out before anything is derived; see [`crate::judge::withhold`].
    ///
    /// Every text file made from it goes through [`Withheld::guard`] before it is written, and every photo is read
    /// through [`Withheld::original`] and blacked out with [`Withheld::areas`].
    ///
    /// # Errors
    /// As [`Inspection::open`].
    pub fn open_to_publish(path: &Path, house: &House, own: &OwnWords) -> Result<Self, OpenError> {
        Self::published(Read::beside_the_book(path, own)?, house, own, &[])
    }

    /// As [`Inspection::open_to_publish`], for tables of many packs: without facts that only a write-up tells, as long as
    /// no rule asks for them. A record of the folder that was read already is not read again.
    ///
    /// # Errors
    /// As [`Inspection::open`].
    pub fn open_for_tables(
        folder: &Path,
        record: Option<Record>,
        house: &House,
        own: &OwnWords,
    ) -> Result<Self, OpenError> {
        let known = record.and_then(|record| {
            let plan = withhold::plan(&record, own).ok()?;
            Some(Read { folder: folder.to_owned(), record, plan })
        });
        let read = known.map_or_else(|| Read::beside_the_book(folder, own), Ok)?;
        Self::published(read, house, own, &TOLD_ONLY)
    }

    fn published(
        mut read: Read,
        house: &House,
        own: &OwnWords,
        told_only: &[&'static str],
    ) -> Result<Self, OpenError> {
        let mut book = book(Some(&read.folder), house)?;
        let profiles = house.profiles_for(&read.folder)?;
        let left_out: Vec<&str> =
            told_only.iter().copied().filter(|fact| book.most_asked(fact).is_none()).collect();
        if read.plan.is_empty() {
            return Ok(Self::judged(read, book, profiles, Withheld::default(), left_out));
        }
        let withheld = Withheld::take_out(&mut read.record, &read.plan, own);
        withheld.book(&mut book);
        let mut inspection = Self::judged(read, book, profiles, withheld, left_out);
        inspection.withheld.count_findings(&inspection.judgement.findings);
        Ok(inspection)
    }

    fn judged(
        read: Read,
        book: Arc<Book>,
        profiles: Arc<Profiles>,
        withheld: Withheld,
        left_out: Vec<&'static str>,
    ) -> Self {
        let Read { folder, mut record, plan: _ } = read;
        doubts::mark(&mut record, &book);
        let limits = book.limit_amounts();
        // The slowest of both are pictures and logs, which do not wait for each other.
        let (seen, bench_tests) = rayon::join(
            || photos_seen(&folder, &record, &book, &withheld, &Looks::default()),
            || results_of(&Logs { folder: &folder, withheld: &withheld, profiles }, &record, &limits),
        );
        let of_tests = bench_tests.iter().map(|result| result.of_test());
        let derived = Derived::with_evidence(&record, &limits, of_tests, seen, left_out);
        let judgement = judge(&record, &derived, &book);
        Self { folder, record, book, bench_tests, derived, judgement, withheld }
    }
}

/// A record that was read, with what it asks to be withheld.
struct Read {
    folder: PathBuf,
    record: Record,
    plan: withhold::Plan,
}

impl Read {
    /// Reads a record while the built-in book, which judges it, is read as well.
    fn beside_the_book(path: &Path, own: &OwnWords) -> Result<Self, OpenError> {
        rayon::join(|| Self::of(path, own), Book::built_in).0
    }

    fn of(path: &Path, own: &OwnWords) -> Result<Self, OpenError> {
        let (folder, file, text) = record_text(path)?;
        let name = file.display().to_string();
        let record = record::read(&name, &text)?;
        // A slip in what is to be withheld must show at the bench, not only when something is published.
        let plan = withhold::plan(&record, own).map_err(|problems| Problems::new(&name, &text, problems))?;
        Ok(Self { folder, record, plan })
    }
}

/// The folder, the file and the text of the record that a path names: a folder with one, or the file itself.
///
/// # Errors
/// [`Refused`].
pub fn record_text(path: &Path) -> Result<(PathBuf, PathBuf, String), Refused> {
    if path.is_file() {
        let folder = path.parent().filter(|parent| !parent.as_os_str().is_empty());
        let folder = folder.unwrap_or(Path::new(".")).to_owned();
        return Ok((folder, path.to_owned(), open::named_text(path)?));
    }
    let file = path.join(RECORD);
    let text = open::text(&file)?;
    Ok((path.to_owned(), file, text))
}

/// The built-in book with the rules of the house, and of the inspection folder where the house says so.
///
/// # Errors
/// [`OpenError`] names the file and the place.
pub fn book(folder: Option<&Path>, house: &House) -> Result<Arc<Book>, OpenError> {
    let built_in = Book::built_in()?;
    let inside = folder.map(|folder| folder.join(FOLDER_RULES));
    let of_folder = inside.iter().flat_map(|inside| rule_files(inside)).collect::<Vec<_>>();
    if of_folder.is_empty() && house.rules.is_empty() {
        return Ok(built_in);
    }
    let mut book = (*built_in).clone();
    for path in of_folder {
        let name = format!("{FOLDER_RULES}/{}", name_of(&path));
        if house.folder_rules {
            book.add_house(RuleFile::of_folder(name), &path.display().to_string(), &open::text(&path)?)?;
        } else {
            book.leave_aside(name, open::text(&path).as_deref());
        }
    }
    for path in &house.rules {
        let files = if path.is_dir() {
            let files = open::toml_files(path).map_err(FileError::on("list", path))?;
            files
                .into_iter()
                .map(|file| Ok::<_, Refused>((open::text(&file)?, file)))
                .collect::<Result<Vec<_>, _>>()?
        } else {
            vec![(open::named_text(path)?, path.clone())]
        };
        for (text, file) in files {
            book.add_house(RuleFile::of_user(name_of(&file)), &file.display().to_string(), &text)?;
        }
    }
    Ok(Arc::new(book))
}

/// The rule files that lie in an inspection folder. A folder that cannot be listed holds none that could judge.
fn rule_files(inside: &Path) -> Vec<PathBuf> {
    let real = inside.symlink_metadata().is_ok_and(|meta| meta.is_dir());
    if real { open::toml_files(inside).unwrap_or_default() } else { Vec::new() }
}

fn name_of(path: &Path) -> String {
    path.file_name().unwrap_or(path.as_os_str()).to_string_lossy().into_owned()
}
