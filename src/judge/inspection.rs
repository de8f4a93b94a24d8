//! An inspection folder, opened: the record, the book that judges it, what follows, and the judgement.

use std::fs;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use thiserror::Error;

use crate::judge::bench_test::{TestResult, results};
use crate::judge::facts::Derived;
use crate::judge::rules::{Book, Judgement, judge};
use crate::judge::withhold::{self, Withheld};
use crate::record::problem::Problems;
use crate::record::{self, LARGEST, Record};

/// File name of the record in an inspection folder.
pub const RECORD: &str = "inspection.toml";
/// Folder of house rules in an inspection folder.
const HOUSE_RULES: &str = "rules";

/// Why an inspection cannot be opened.
#[derive(Debug, Error)]
pub enum OpenError {
    /// The file cannot be read.
    #[error("{path}: {source}", path = path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: std::io::Error,
    },
    /// The file is not text, or not a file.
    #[error("{path}: {why}", path = path.display())]
    NotText {
        /// The file.
        path: PathBuf,
        /// What it is instead.
        why: String,
    },
    /// What stands in the file is wrong.
    #[error(transparent)]
    Problems(#[from] Problems),
}

/// An inspection folder, opened and judged.
#[derive(Debug)]
pub struct Inspection {
    /// The folder.
    pub folder: PathBuf,
    /// The record's text; empty in an inspection from which something is withheld.
    pub text: String,
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

/// What follows from a record: its bench tests, its derived facts, the judgement.
pub(crate) fn worked_out(
    folder: &Path,
    record: &Record,
    book: &Book,
) -> (Vec<TestResult>, Derived, Judgement) {
    let limits = book.limit_amounts();
    let bench_tests = results(folder, record, &limits);
    let facts = bench_tests.iter().map(|result| result.facts.clone()).collect();
    let derived = Derived::with_tests(record, &limits, facts);
    let judgement = judge(record, &derived, book);
    (bench_tests, derived, judgement)
}

impl Inspection {
    /// Opens a folder, or a record file, and judges it by the built-in book and the house's.
    ///
    /// # Errors
    /// [`OpenError`] names the file and the place.
    pub fn open(path: &Path, house: &[PathBuf]) -> Result<Self, OpenError> {
        let (folder, file) = if path.is_file() {
            (path.parent().unwrap_or(Path::new(".")).to_owned(), path.to_owned())
        } else {
            (path.to_owned(), path.join(RECORD))
        };
        let text = read_text(&file)?;
        let name = file.display().to_string();
        let record = record::read(&name, &text)?;
        // A slip in what is to be withheld must show at the bench, not only when something is published.
        withhold::plan(&record).map_err(|problems| Problems::new(&name, &text, problems))?;
        let book = book(&folder, house)?;
        let (bench_tests, derived, judgement) = worked_out(&folder, &record, &book);
        Ok(Self {
            folder,
            text,
            record,
            book,
            bench_tests,
            derived,
            judgement,
            withheld: Withheld::default(),
        })
    }

    /// Opens an inspection for outputs that leave the bench: write-up, comparison, collection, video kit. What the
    /// record's `[withhold]` names is gone from it; see [`crate::judge::withhold`].
    ///
    /// Every text file made from it goes through [`Withheld::guard`] before it is written, and every photo is read
    /// through [`Withheld::original`] and blacked out with [`Withheld::areas`].
    ///
    /// # Errors
    /// As [`Inspection::open`].
    pub fn open_to_publish(path: &Path, house: &[PathBuf]) -> Result<Self, OpenError> {
        let inspection = Self::open(path, house)?;
        match withhold::plan(&inspection.record) {
            Ok(plan) => Ok(withhold::publish(inspection, &plan)),
            Err(problems) => {
                Err(Problems::new(&path.display().to_string(), &inspection.text, problems).into())
            }
        }
    }
}

/// The built-in book with the house rules of a folder and those named on the command line.
///
/// # Errors
/// [`OpenError`] names the file and the place.
pub fn book(folder: &Path, house: &[PathBuf]) -> Result<Arc<Book>, OpenError> {
    let mut files: Vec<PathBuf> = Vec::new();
    let inside = folder.join(HOUSE_RULES);
    if inside.is_dir() {
        files.extend(toml_files(&inside)?);
    }
    for path in house {
        if path.is_dir() { files.extend(toml_files(path)?) } else { files.push(path.clone()) }
    }
    let built_in = Book::built_in()?;
    if files.is_empty() {
        return Ok(built_in);
    }
    let mut book = (*built_in).clone();
    for file in files {
        let text = read_text(&file)?;
        book.add_house(&file.display().to_string(), &text)?;
    }
    Ok(Arc::new(book))
}

fn toml_files(folder: &Path) -> Result<Vec<PathBuf>, OpenError> {
    let io = |source| OpenError::Io { path: folder.to_owned(), source };
    let mut files = Vec::new();
    for entry in fs::read_dir(folder).map_err(io)? {
        let path = entry.map_err(io)?.path();
        if path.extension().is_some_and(|extension| extension == "toml") {
            files.push(path);
        }
    }
    files.sort();
    Ok(files)
}

/// Reads a text file of bounded size; a device, a folder or binary data is an error.
///
/// # Errors
/// [`OpenError::Io`] and [`OpenError::NotText`].
pub fn read_text(path: &Path) -> Result<String, OpenError> {
    let io = |source| OpenError::Io { path: path.to_owned(), source };
    let not_text = |why: &str| OpenError::NotText { path: path.to_owned(), why: why.to_owned() };
    let meta = fs::metadata(path).map_err(io)?;
    if !meta.is_file() {
        return Err(not_text("expected a file"));
    }
    let mut bytes = Vec::new();
    let limit = LARGEST as u64 + 1;
    fs::File::open(path).map_err(io)?.take(limit).read_to_end(&mut bytes).map_err(io)?;
    if bytes.len() > LARGEST {
        return Err(not_text("the file is far larger than a record can be"));
    }
    String::from_utf8(bytes).map_err(|_| not_text("the file is not UTF-8 text"))
}
