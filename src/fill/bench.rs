//! The inspection on the bench: looking at the record as it is on disk now, and writing one answer into it.

use std::collections::BTreeMap;
use std::fs::File;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

use thiserror::Error;

use super::journal;
use super::judged::{Decided, decided};
use super::parts::{Wanted, added, parts_to_add};
use super::photo::{self, Kept};
use super::question::{Asked, Key, Question, questions};
use super::trials::{Stamp, Trials, stamps};
use crate::checklist::{Checklists, Fills, Scope};
use crate::derive::Derived;
use crate::inspection::{OpenError, RECORD, book, read_text};
use crate::problem::Problems;
use crate::quantity::Amount;
use crate::record::edit::{Answer, Edit, Place, Refused, apply};
use crate::record::{self, How, Record};
use crate::redact;
use crate::rules::{Book, Judgement, judge};
use crate::save;
use crate::words::nearest;

/// Folder of house checklists in an inspection folder.
const HOUSE_LISTS: &str = "checklists";
/// The list for a record that does not say its kind of pack yet.
const USUAL: &str = "drop-in";

/// Why an answer was not saved.
#[derive(Debug, Error)]
pub enum FillError {
    /// The record or a house file cannot be opened.
    #[error(transparent)]
    Open(#[from] OpenError),
    /// The answer was refused; the record is unchanged.
    #[error(transparent)]
    Refused(#[from] Refused),
    /// The answer was refused; the record is unchanged.
    #[error("{0}")]
    Words(String),
    /// The record could not be written; it is unchanged.
    #[error("not saved, the record is unchanged: {0}")]
    NotSaved(std::io::Error),
    /// The field has changed since the answer was made.
    #[error("the field has changed meanwhile: now {0}")]
    Conflict(String),
}

impl From<Problems> for FillError {
    fn from(problems: Problems) -> Self {
        Self::Open(OpenError::Problems(problems))
    }
}

/// An answer that is in the record now.
#[derive(Debug)]
pub struct Saved {
    /// Rules that ended otherwise before.
    pub decided: Vec<Decided>,
    /// What was written, as a person would say it.
    pub said: String,
    /// How things stand now.
    pub sight: Arc<Sight>,
}

/// The record as it is now, with what follows from it.
#[derive(Debug)]
pub struct Sight {
    /// The record's text.
    pub text: String,
    /// The record.
    pub record: Box<Record>,
    /// The judgement.
    pub judgement: Judgement,
    /// The questions in the order they are asked.
    pub questions: Vec<Question>,
    /// The kind of pack whose checklist is asked.
    pub kind: String,
    /// True while bench tests are being worked out beside: their findings follow.
    pub beside: bool,
    /// Which logs, and which working of the bench tests, the judgement rests on.
    upon: (Vec<Stamp>, u64),
}

fn revision(text: &str, generation: u64) -> String {
    format!("{text}\0{generation}")
}

impl Sight {
    /// As [`Bench::revision`], of what was looked at.
    pub(super) fn revision(&self) -> String {
        revision(&self.text, self.upon.1)
    }

    /// A question by its key.
    #[must_use]
    pub fn question(&self, key: &Key) -> Option<&Question> {
        self.questions.iter().find(|question| question.key == *key)
    }
}

/// An inspection folder that is being filled.
#[derive(Debug)]
pub struct Bench {
    /// The folder.
    pub folder: PathBuf,
    /// The checklists.
    pub lists: Checklists,
    file: PathBuf,
    book: Arc<Book>,
    limits: BTreeMap<String, Amount>,
    kind: Option<String>,
    /// The record as it was looked at last: most looks find it unchanged.
    last: Mutex<Option<Arc<Sight>>>,
    trials: Trials,
}

/// Held while the record is read, edited and replaced.
struct Lock(#[expect(dead_code, reason = "the lock goes when the file is closed")] Option<File>);

impl Bench {
    /// Opens a folder; `rules` and `checklists` are the house's, `kind` overrules the record's kind of pack.
    ///
    /// # Errors
    /// [`FillError`] names the file and the place.
    pub fn open(
        folder: &Path,
        rules: &[PathBuf],
        checklists: &[PathBuf],
        kind: Option<&str>,
    ) -> Result<Self, FillError> {
        let mut lists = Checklists::built_in()?;
        let mut files: Vec<PathBuf> = Vec::new();
        if let Ok(entries) = std::fs::read_dir(folder.join(HOUSE_LISTS)) {
            let paths = entries.filter_map(|entry| Some(entry.ok()?.path()));
            files.extend(paths.filter(|path| path.extension().is_some_and(|e| e == "toml")));
            files.sort();
        }
        files.extend(checklists.iter().cloned());
        for file in files {
            lists.add(&file.display().to_string(), &read_text(&file)?)?;
        }
        if let Some(kind) = kind
            && lists.of_kind(kind).is_none()
        {
            let known: Vec<&str> = lists.kinds().collect();
            return Err(FillError::Words(format!(
                "there is no checklist `{kind}`; there are: {}",
                known.join(", ")
            )));
        }
        let book = book(folder, rules)?;
        let bench = Self {
            file: folder.join(RECORD),
            folder: folder.to_owned(),
            lists,
            limits: book.limit_amounts(),
            book,
            kind: kind.map(str::to_owned),
            last: Mutex::new(None),
            trials: Trials::default(),
        };
        bench.sweep();
        Ok(bench)
    }

    /// Takes away what a killed process left beside the record. Young files may belong to one that still runs.
    fn sweep(&self) {
        for folder in [self.folder.clone(), self.folder.join(photo::FOLDER)] {
            let Ok(entries) = std::fs::read_dir(folder) else {
                continue;
            };
            for entry in entries.flatten() {
                let ours = entry.file_name().to_string_lossy().starts_with(".underlid-");
                let old = entry
                    .metadata()
                    .and_then(|meta| meta.modified())
                    .is_ok_and(|time| time.elapsed().is_ok_and(|age| age.as_secs() > 600));
                if ours && old {
                    let _ = std::fs::remove_file(entry.path());
                }
            }
        }
    }

    fn lock(&self) -> Lock {
        // The folder itself is locked, so that no lock file lies about. Where a folder cannot be locked, answers
        // are still atomic; only two programs at the same instant could then overtake each other.
        let file = File::open(&self.folder).ok();
        Lock(file.filter(|file| file.lock().is_ok()))
    }

    /// Looks at the record as it is now.
    ///
    /// # Errors
    /// When it does not read.
    pub fn look(&self) -> Result<Arc<Sight>, FillError> {
        self.sight(read_text(&self.file)?)
    }

    fn sight(&self, text: String) -> Result<Arc<Sight>, FillError> {
        let last = || self.last.lock().unwrap_or_else(PoisonError::into_inner);
        let fresh = |known: &Arc<Sight>| {
            known.text == text
                && known.upon == (stamps(&self.folder, &known.record), self.trials.generation())
        };
        if let Some(known) = last().clone().filter(fresh) {
            return Ok(known);
        }
        let sight = Arc::new(self.judged(text)?);
        *last() = Some(Arc::clone(&sight));
        Ok(sight)
    }

    fn judged(&self, text: String) -> Result<Sight, FillError> {
        // Boxed: a record is too large to be handed from frame to frame.
        let record = Box::new(record::read(&self.file.display().to_string(), &text)?);
        let upon = (stamps(&self.folder, &record), self.trials.generation());
        let worked = self.trials.facts(&self.folder, &text, &record, &self.limits);
        let derived = Derived::with_tests(&record, &self.limits, worked.facts);
        let judgement = judge(&record, &derived, &self.book);
        let kind = self.kind.as_deref().or(record.inspection.kind.word()).unwrap_or(USUAL).to_owned();
        let asked = Asked { record: &record, derived: &derived, limits: &self.limits };
        let questions = match self.lists.of_kind(&kind) {
            Some(list) => questions(list, &asked),
            None => Vec::new(),
        };
        Ok(Sight { text, record, judgement, questions, kind, beside: worked.beside, upon })
    }

    /// Changes when the record does, or what is known of its bench tests.
    ///
    /// # Errors
    /// When the record cannot be read.
    pub(super) fn revision(&self) -> Result<String, FillError> {
        Ok(revision(&self.text()?, self.trials.generation()))
    }

    /// The record's text, to see cheaply whether it has changed.
    ///
    /// # Errors
    /// When it cannot be read.
    pub fn text(&self) -> Result<String, FillError> {
        Ok(read_text(&self.file)?)
    }

    /// Reads under the lock, edits, and replaces; nothing is written unless the result reads.
    fn edit(
        &self,
        make: impl FnOnce(&Sight) -> Result<(Vec<Edit>, String), FillError>,
    ) -> Result<Saved, FillError> {
        let _lock = self.lock();
        let before = self.look()?;
        let (edits, said) = make(&before)?;
        let text = apply(&self.file.display().to_string(), &before.text, &edits)?;
        self.can_be_published(&edits, &text)?;
        if text != before.text {
            save::replace(&self.file, &text).map_err(FillError::NotSaved)?;
        }
        let sight = self.sight(text)?;
        Ok(Saved { decided: decided(&before.judgement, &sight.judgement), said, sight })
    }

    /// What is to be withheld is checked at once: a slip there would stop every other command.
    fn can_be_published(&self, edits: &[Edit], text: &str) -> Result<(), FillError> {
        let withholds = edits.iter().any(|edit| match edit {
            Edit::Set { place, .. } | Edit::Clear { place } | Edit::Append { list: place, .. } => {
                place.0.first().is_some_and(|step| step.key == "redact")
            }
        });
        if !withholds {
            return Ok(());
        }
        let file = self.file.display().to_string();
        let record = record::read(&file, text)?;
        let told = |problems| Refused::Reads(Problems::new(&file, text, problems));
        redact::plan(&record).map(drop).map_err(|problems| told(problems).into())
    }

    /// Writes an answer. `seen` is the revision the answer was made upon; an answer on another one is refused, unless
    /// what is recorded already says the same.
    ///
    /// # Errors
    /// [`FillError`]; the record is then unchanged.
    pub fn answer(&self, key: &Key, answer: &Answer, seen: Option<&str>) -> Result<Saved, FillError> {
        self.answer_once(key, answer, seen, None)
    }

    /// As [`Bench::answer`]; parts that an answer with this id has added already are not added again.
    pub(super) fn answer_once(
        &self,
        key: &Key,
        answer: &Answer,
        seen: Option<&str>,
        once: Option<&str>,
    ) -> Result<Saved, FillError> {
        let mut answer = answer.clone();
        let mut kept: Vec<Kept> = Vec::new();
        // Photos are taken in before the lock: copying may last.
        if !answer.photos.is_empty() {
            let sight = self.look()?;
            let shows = question(&sight, key)?.shows.clone();
            for file in &answer.photos {
                kept.push(photo::take_file(&self.folder, file, &shows).map_err(FillError::Words)?);
            }
            answer.photos = kept.iter().map(|kept| kept.name.clone()).collect();
        }
        let saved = self.edit(|sight| {
            let question = question(sight, key)?;
            if let Fills::Adds(adds) = question.item.fills {
                let typed = answer.value.as_deref().unwrap_or_default();
                let parts = || parts_to_add(&sight.record, &Wanted::by(question, adds), typed);
                return self.added_once(sight, once, parts);
            }
            if seen.is_some_and(|seen| seen != question.revision()) && !says_the_same(question, &answer) {
                return Err(FillError::Conflict(question.found.show()));
            }
            with_what_the_item_says(&mut answer, question)?;
            let mut edits = edits_for(question, &answer);
            for kept in &kept {
                edits.extend(listed(&sight.record, kept, &question.shows)?);
            }
            let said = match &answer.value {
                Some(value) => format!("{} = {value}", named(question)),
                None => format!("{} annotated", named(question)),
            };
            Ok((edits, said))
        })?;
        // Only what is in the record was answered.
        if let Some(question) = saved.sight.question(key) {
            note_time(&self.folder, question);
        }
        Ok(saved)
    }

    /// Takes an answer back.
    ///
    /// # Errors
    /// [`FillError`]; the record is then unchanged.
    pub fn clear(&self, key: &Key, seen: Option<&str>) -> Result<Saved, FillError> {
        self.edit(|sight| {
            let question = question(sight, key)?;
            if seen.is_some_and(|seen| seen != question.revision()) {
                return Err(FillError::Conflict(question.found.show()));
            }
            let place = question.place.clone().filter(|_| !question.is_open());
            let place = place.ok_or_else(|| FillError::Words("nothing is recorded here".to_owned()))?;
            Ok((vec![Edit::Clear { place }], format!("{} taken back", named(question))))
        })
    }

    /// Writes a remark on a part, or the time in the video (`note`, `video`).
    ///
    /// # Errors
    /// [`FillError`]; the record is then unchanged.
    pub fn of_part(&self, key: &Key, name: &str, text: &str) -> Result<Saved, FillError> {
        self.edit(|sight| {
            let question = question(sight, key)?;
            let part = question.part.clone();
            let part = part.ok_or_else(|| {
                FillError::Words("this question has no part yet; answer it first".to_owned())
            })?;
            let said = format!("{name} of {part} = {text}");
            Ok((vec![Edit::Set { place: part.then(name), answer: Answer::of(text) }], said))
        })
    }

    /// Adds parts: kinds of element with ids if wanted, `reading 3`, `claim …`, `layer …`, `test …`, `instrument …`.
    /// Elements go behind the one the question is about.
    ///
    /// # Errors
    /// [`FillError`]; the record is then unchanged.
    pub fn add(&self, at: Option<&Key>, what: &str) -> Result<Saved, FillError> {
        self.add_once(at, what, None)
    }

    /// As [`Bench::add`]; what an operation with this id has added already is not added again.
    pub(super) fn add_once(
        &self,
        at: Option<&Key>,
        what: &str,
        once: Option<&str>,
    ) -> Result<Saved, FillError> {
        self.edit(|sight| self.added_once(sight, once, || added(sight, at, what)))
    }

    /// Answers what is open of the part of a question as it is answered of another one of its kind, by id; of the one
    /// before when no id is given. What was measured is never taken over.
    ///
    /// # Errors
    /// [`FillError`]; the record is then unchanged.
    pub fn same(&self, key: &Key, from: &str) -> Result<Saved, FillError> {
        self.edit(|sight| super::same::same(sight, key, from))
    }

    /// Parts are added once for each id, even over a restart: what is about to be added is noted beside the record
    /// first, and an id that is noted and whose parts are there is done.
    fn added_once(
        &self,
        sight: &Sight,
        once: Option<&str>,
        make: impl FnOnce() -> Result<(Vec<Edit>, String), FillError>,
    ) -> Result<(Vec<Edit>, String), FillError> {
        let Some(id) = once else { return make() };
        if let Some(said) = journal::done(&self.folder, id, &sight.text) {
            return Ok((Vec::new(), said));
        }
        let (edits, said) = make()?;
        journal::note(&self.folder, id, &edits, &said).map_err(FillError::NotSaved)?;
        Ok((edits, said))
    }
    /// Takes a photo in and ties it to the part of a question.
    ///
    /// # Errors
    /// [`FillError`]; the record is then unchanged.
    pub fn photo(&self, key: &Key, file: &str) -> Result<Saved, FillError> {
        let sight = self.look()?;
        let shows = question(&sight, key)?.shows.clone();
        let kept = photo::take_file(&self.folder, file, &shows).map_err(FillError::Words)?;
        self.tie(key, &kept)
    }

    /// Lists photos that lie in `photos/`, each with its hash and, where it is given, when it was taken.
    pub(super) fn list_photos(
        &self,
        photos: &[(Kept, Option<String>)],
        shows: &str,
    ) -> Result<Saved, FillError> {
        self.edit(|sight| {
            let mut edits = Vec::new();
            for (kept, taken) in photos {
                let mut own = listed(&sight.record, kept, shows)?;
                let file = format!("{}/{}", photo::FOLDER, kept.name);
                let known = sight.record.photo.iter().find(|photo| photo.file.text() == Some(&file));
                if let Some(taken) = taken
                    && known.is_none_or(|photo| !photo.taken.is_recorded())
                {
                    match own.first_mut() {
                        Some(Edit::Append { fields, .. }) => fields.push(("taken".to_owned(), taken.clone())),
                        _ => {
                            let pick = record::edit::Pick::Where { key: "file".to_owned(), is: file };
                            let step = record::edit::Step { key: "photo".to_owned(), pick: Some(pick) };
                            let place = Place(vec![step]).then("taken");
                            own.push(Edit::Set { place, answer: Answer::of(taken) });
                        }
                    }
                }
                edits.extend(own);
            }
            Ok((edits, format!("{} listed", crate::words::count(photos.len(), "photo", "photos"))))
        })
    }

    /// Ties a photo that lies in `photos/` to the part of a question and lists it with its hash.
    pub(super) fn tie(&self, key: &Key, kept: &Kept) -> Result<Saved, FillError> {
        self.edit(|sight| {
            let question = question(sight, key)?;
            let mut edits = Vec::new();
            let photos = Answer { photos: vec![kept.name.clone()], ..Answer::default() };
            match (&question.part, &question.item.fills) {
                (Some(part), _) if part.0.first().is_some_and(|step| step.key != "photo") => {
                    edits.push(Edit::Set { place: part.clone().then("photos"), answer: photos });
                }
                (None, Fills::Remark) => {
                    let fields = vec![
                        ("id".to_owned(), question.item.id.clone()),
                        ("photos".to_owned(), kept.name.clone()),
                    ];
                    edits.push(Edit::Append { list: Place::keys("item"), at: usize::MAX, fields });
                }
                (None, Fills::Field { .. }) if question.item.scope == Scope::Readings => {
                    let fields = vec![
                        ("position".to_owned(), question.key.part.clone()),
                        ("photos".to_owned(), kept.name.clone()),
                    ];
                    edits.push(Edit::Append { list: Place::keys("cells.reading"), at: usize::MAX, fields });
                }
                _ => {}
            }
            edits.extend(listed(&sight.record, kept, &question.shows)?);
            let file = format!("{}/{}", photo::FOLDER, kept.name);
            Ok((edits, format!("{file} shows {} (SHA-256 {})", question.shows, kept.digest)))
        })
    }
}

/// Notes that the part of a question was at hand now, so that pictures of that time can be proposed for it.
fn note_time(folder: &Path, question: &Question) {
    let adds = matches!(question.item.fills, Fills::Adds(_));
    let shown = !adds && !matches!(question.item.scope, Scope::Photos | Scope::Tests | Scope::Instruments);
    if shown && question.shows != "inspection" {
        journal::answered(folder, &question.key.to_string(), &question.shows);
    }
}

/// Lists a photo with its hash, or adds to what a listed one shows.
///
/// # Errors
/// When the photo is listed with another hash: what arrived then is not what lies there now.
pub(super) fn listed(record: &Record, kept: &Kept, part: &str) -> Result<Vec<Edit>, FillError> {
    let file = format!("{}/{}", photo::FOLDER, kept.name);
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
        None => edits.push(Edit::Set { place: place.clone().then("sha256"), answer: Answer::of(&digest) }),
    }
    let mut shows = photo.shows.list().to_vec();
    if !part.is_empty() && !shows.iter().any(|shown| shown == part) {
        shows.push(part.to_owned());
        edits.push(Edit::Set { place: place.then("shows"), answer: Answer::of(&shows.join(", ")) });
    }
    Ok(edits)
}

fn question<'a>(sight: &'a Sight, key: &Key) -> Result<&'a Question, FillError> {
    sight
        .question(key)
        .ok_or_else(|| FillError::Words(format!("there is no question `{key}` in this record any more")))
}

fn named(question: &Question) -> String {
    match &question.place {
        Some(place) => place.to_string(),
        None => question.key.to_string(),
    }
}

/// True when the record already says what an answer says: an answer that was sent twice.
fn says_the_same(question: &Question, answer: &Answer) -> bool {
    let Fills::Field { info, .. } = &question.item.fills else {
        return answer.value.as_deref() == Some(question.found.show().as_str());
    };
    let same_value = answer.value.as_ref().is_none_or(|value| {
        record::read_answer(info, value).is_ok_and(|state| state == question.found.state)
    });
    let same = |new: &Option<String>, old: Option<&str>| {
        new.as_deref().is_none_or(|new| new == old.unwrap_or_default())
    };
    same_value
        && same(&answer.note, question.found.note.as_deref())
        && same(&answer.with, question.found.with.as_deref())
        && same(&answer.how, question.found.how.map(How::word))
}

/// What the item says of how a value comes, unless the answer says it; only what is known came somehow.
fn with_what_the_item_says(answer: &mut Answer, question: &Question) -> Result<(), FillError> {
    if let Some(how) = answer.how.as_deref().filter(|how| !how.is_empty())
        && !How::WORDS.iter().any(|word| word.word == how)
    {
        let near = nearest(how, How::WORDS.iter().map(|word| word.word));
        let hint = near.map_or_else(String::new, |near| format!("; did you mean `{near}`?"));
        return Err(FillError::Words(format!("`{how}` is no way a value comes{hint}")));
    }
    let known = !matches!(
        answer.value.as_deref().map(str::trim),
        None | Some(record::field::ABSENT | record::field::NOT_VISIBLE)
    );
    let says = answer.how.is_some() || answer.with.is_some() || question.found.how.is_some();
    if known
        && !says
        && let Some(how) = question.item.how
    {
        answer.how = Some(how.word().to_owned());
    }
    Ok(())
}

fn edits_for(question: &Question, answer: &Answer) -> Vec<Edit> {
    if let Some(place) = &question.place {
        return vec![Edit::Set { place: place.clone(), answer: answer.clone() }];
    }
    match (&question.item.fills, &question.item.scope) {
        (Fills::Field { info, .. }, Scope::Readings) => {
            let list = Place::keys("cells.reading");
            let position = ("position".to_owned(), question.key.part.clone());
            let place = Place(vec![
                record::edit::Step { key: "cells".to_owned(), pick: None },
                record::edit::Step {
                    key: "reading".to_owned(),
                    pick: Some(record::edit::Pick::Where {
                        key: "position".to_owned(),
                        is: question.key.part.clone(),
                    }),
                },
            ]);
            vec![
                Edit::Append { list, at: usize::MAX, fields: vec![position] },
                Edit::Set { place: place.then(info.name), answer: answer.clone() },
            ]
        }
        _ => {
            let mut fields = vec![("id".to_owned(), question.item.id.clone())];
            fields.extend(answer.value.clone().map(|value| ("answer".to_owned(), value)));
            fields.extend(answer.note.clone().map(|note| ("note".to_owned(), note)));
            if !answer.photos.is_empty() {
                fields.push(("photos".to_owned(), answer.photos.join(", ")));
            }
            vec![Edit::Append { list: Place::keys("item"), at: usize::MAX, fields }]
        }
    }
}
