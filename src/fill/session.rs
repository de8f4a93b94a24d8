//! The inspection on the bench: looking at the record as it is on disk now, and writing one answer into it.

use std::collections::{BTreeMap, HashMap};
use std::fs::File;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

use super::bench_tests::{BenchTests, stamps};
use super::edits::{edits_for, named, part_named, says_the_same, with_what_the_item_says};
use super::journal::{self, Confirmed};
use super::judged::decided;
use super::lines::Wanted;
use super::parts::{Change, added, changed, parts_to_add};
use super::photo::{self, Kept, listed};
use super::question::{Asked, Key, Question, questions};
use super::sight::{FillError, Given, Saved, Sight, question, revision};
use crate::evidence::whole::Looks;
use crate::fill::checklist::{Checklists, Fills, Scope};
use crate::judge::facts::Derived;
use crate::judge::inspection::{House, OpenError, RECORD, book};
use crate::judge::rules::doubts;
use crate::judge::rules::{Book, judge};
use crate::judge::seen::photos_seen;
use crate::judge::withhold::{self, Withheld};
use crate::record;
use crate::record::edit::{Edit, EditRefused, Entered, apply};
use crate::record::field::State;
use crate::record::open;
use crate::record::problem::Problems;
use crate::record::save;
use crate::render::OWN_WORDS;
use crate::units::Amount;

/// Folder of house checklists in an inspection folder.
const HOUSE_LISTS: &str = "checklists";
/// The list for a record that does not say its kind of pack yet.
const USUAL: &str = "drop-in";

/// An inspection folder that is being filled.
#[derive(Debug)]
pub struct FillSession {
    /// The folder.
    pub folder: PathBuf,
    /// The checklists.
    pub lists: Checklists,
    /// What there is to say of the rules and checklists beside the built-in ones: which judge, which were left aside.
    pub told: Vec<String>,
    /// Photos that were looked at: a look at all of them at every answer would be slow.
    looks: Looks,
    file: PathBuf,
    book: Arc<Book>,
    limits: BTreeMap<String, Amount>,
    kind: Option<String>,
    /// The record as it was looked at last: most looks find it unchanged.
    last: Mutex<Option<Arc<Sight>>>,
    /// Who answers now, for the journal.
    device: Mutex<String>,
    bench_tests: BenchTests,
}

/// Held while the record is read, edited and replaced.
struct Lock(#[expect(dead_code, reason = "the lock goes when the file is closed")] Option<File>);

impl FillSession {
    /// Opens a folder; `house` says whose rules judge, `checklists` are the user's, `kind` overrules the record's kind of pack.
    ///
    /// # Errors
    /// [`FillError`] names the file and the place.
    pub fn open(
        folder: &Path,
        house: &House,
        checklists: &[PathBuf],
        kind: Option<&str>,
    ) -> Result<Self, FillError> {
        let mut lists = Checklists::built_in()?;
        let inside = open::toml_files(&folder.join(HOUSE_LISTS)).unwrap_or_default();
        let mut told: Vec<String> = Vec::new();
        for file in &inside {
            if house.folder_rules {
                lists.add(&file.display().to_string(), &open::text(file).map_err(OpenError::from)?)?;
            } else {
                let name = file.file_name().unwrap_or_default().to_string_lossy();
                told.push(format!(
                    "The checklist {HOUSE_LISTS}/{name} of the inspection folder was left aside."
                ));
            }
        }
        for file in checklists {
            lists.add(&file.display().to_string(), &open::named_text(file).map_err(OpenError::from)?)?;
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
        let book = book(Some(folder), house)?;
        told.extend(book.files.iter().map(|file| file.told.clone()));
        let session = Self {
            file: folder.join(RECORD),
            folder: folder.to_owned(),
            lists,
            limits: book.limit_amounts(),
            book,
            told,
            looks: Looks::default(),
            kind: kind.map(str::to_owned),
            last: Mutex::new(None),
            device: Mutex::new("terminal".to_owned()),
            bench_tests: BenchTests::default(),
        };
        session.sweep();
        Ok(session)
    }

    /// Takes away what a killed process left beside the record.
    fn sweep(&self) {
        for folder in [self.folder.clone(), self.folder.join(photo::FOLDER)] {
            let _ = save::sweep(&folder, |_| false);
        }
    }

    fn lock(&self) -> Lock {
        // The folder itself is locked, so that no lock file lies about. Where a folder cannot be locked, answers
        // are still atomic; only two programs at the same instant could then overtake each other.
        let file = open::folder(&self.folder).ok();
        Lock(file.filter(|file| file.lock().is_ok()))
    }

    /// Looks at the record as it is now.
    ///
    /// # Errors
    /// When it does not read.
    pub fn look(&self) -> Result<Arc<Sight>, FillError> {
        self.sight(self.text()?)
    }

    fn sight(&self, text: String) -> Result<Arc<Sight>, FillError> {
        let last = || self.last.lock().unwrap_or_else(PoisonError::into_inner);
        let fresh = |known: &Arc<Sight>| {
            known.text == text
                && known.upon == (stamps(&self.folder, &known.record), self.bench_tests.generation())
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
        let mut record = Box::new(record::read(&self.file.display().to_string(), &text)?);
        doubts::mark(&mut record, &self.book);
        let upon = (stamps(&self.folder, &record), self.bench_tests.generation());
        let worked = self.bench_tests.facts(&self.folder, &text, &record, &self.limits);
        let seen = photos_seen(&self.folder, &record, &self.book, &Withheld::default(), &self.looks);
        let derived = Derived::with_evidence(&record, &self.limits, worked.facts, seen, Vec::new());
        let judgement = judge(&record, &derived, &self.book);
        let kind = self.kind.as_deref().or(record.inspection.kind.word()).unwrap_or(USUAL).to_owned();
        let asked = Asked { record: &record, derived: &derived, limits: &self.limits };
        let questions = match self.lists.of_kind(&kind) {
            Some(list) => questions(list, &asked),
            None => Vec::new(),
        };
        let book = Arc::clone(&self.book);
        let first = OnceLock::new();
        Ok(Sight {
            text,
            record,
            judgement,
            derived,
            book,
            first,
            questions,
            kind,
            beside: worked.beside,
            upon,
        })
    }

    /// Changes when the record does, or what is known of its bench tests.
    ///
    /// # Errors
    /// When the record cannot be read.
    pub(super) fn revision(&self) -> Result<String, FillError> {
        Ok(revision(&self.text()?, self.bench_tests.generation()))
    }

    /// The record's text, to see cheaply whether it has changed.
    ///
    /// # Errors
    /// When it cannot be read.
    pub fn text(&self) -> Result<String, FillError> {
        Ok(open::text(&self.file).map_err(OpenError::from)?)
    }

    /// Reads under the lock, edits, and replaces; nothing is written unless the result reads.
    pub(super) fn edit(
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
        let device = self.device.lock().unwrap_or_else(PoisonError::into_inner).clone();
        journal::confirmed(&self.folder, &device, differing(&before, &sight));
        Ok(Saved { decided: decided(&before.judgement, &sight.judgement), said, sight })
    }

    /// Says who answers from now on.
    #[cfg(feature = "page")]
    pub(super) fn answered_by(&self, device: &str) {
        device.clone_into(&mut self.device.lock().unwrap_or_else(PoisonError::into_inner));
    }

    /// Answers that were confirmed and that the record holds no more, by their question: something else than this
    /// program has saved it.
    pub(super) fn lost(&self, sight: &Sight) -> HashMap<String, Confirmed> {
        let mut confirmed = journal::last_confirmed(&self.folder);
        let mut lost = HashMap::new();
        for question in &sight.questions {
            if let Some((key, was)) = confirmed.remove_entry(&question.key.to_string())
                && was.value.is_some()
                && was.value != recorded(question)
            {
                lost.insert(key, was);
            }
        }
        lost
    }

    /// Lets what the record holds now stand in place of a confirmed answer.
    ///
    /// # Errors
    /// [`FillError`] when there is no such question.
    pub(super) fn let_stand(&self, key: &Key) -> Result<Saved, FillError> {
        let saved =
            self.edit(|sight| Ok((Vec::new(), format!("{} stays as it is", named(question(sight, key)?)))))?;
        let now = saved.sight.question(key).and_then(recorded);
        let device = self.device.lock().unwrap_or_else(PoisonError::into_inner).clone();
        journal::confirmed(&self.folder, &device, vec![(key.to_string(), now)]);
        Ok(saved)
    }

    /// What is to be withheld is checked at once: a slip there would stop every other command.
    fn can_be_published(&self, edits: &[Edit], text: &str) -> Result<(), FillError> {
        let withholds = edits.iter().any(|edit| match edit {
            Edit::Set { place, .. }
            | Edit::Clear { place }
            | Edit::Append { list: place, .. }
            | Edit::Move { list: place, .. } => place.0.first().is_some_and(|step| step.key == "withhold"),
        });
        if !withholds {
            return Ok(());
        }
        let file = self.file.display().to_string();
        let record = record::read(&file, text)?;
        let told = |problems| EditRefused::Reads(Problems::new(&file, text, problems));
        withhold::plan(&record, &OWN_WORDS).map(drop).map_err(|problems| told(problems).into())
    }

    /// Writes an answer. `seen` is the revision the answer was made upon; an answer on another one is refused, unless
    /// what is recorded already says the same.
    ///
    /// # Errors
    /// [`FillError`]; the record is then unchanged.
    pub fn answer(&self, key: &Key, answer: &Entered, seen: Option<&str>) -> Result<Saved, FillError> {
        let (key, answer, seen) = (key.clone(), answer.clone(), seen.map(str::to_owned));
        self.answer_once(&[Given { key, answer, seen }], None)
    }

    /// Writes the answers of one screen: all of them or none.
    ///
    /// # Errors
    /// [`FillError`]; the record is then unchanged.
    pub fn answers(&self, all: &[(Key, Entered)]) -> Result<Saved, FillError> {
        let given =
            |(key, answer): &(Key, Entered)| Given { key: key.clone(), answer: answer.clone(), seen: None };
        self.answer_once(&all.iter().map(given).collect::<Vec<_>>(), None)
    }

    /// As [`FillSession::answers`]; parts that an answer with this id has added already are not added again.
    pub(super) fn answer_once(&self, all: &[Given], once: Option<&str>) -> Result<Saved, FillError> {
        let measurable = |question: &Question| {
            !matches!(question.kind(), record::Kind::Text | record::Kind::Markdown | record::Kind::List)
        };
        let sight = self.look()?;
        let mut answers = Vec::new();
        for Given { key, answer, seen } in all {
            let mut answer = match sight.question(key) {
                Some(question) if measurable(question) => answer.clone().with_its_word(),
                _ => answer.clone(),
            };
            // Photos are taken in before the lock: copying may last.
            let mut kept: Vec<Kept> = Vec::new();
            if !answer.photos.is_empty() {
                let shows = question(&sight, key)?.shows.clone();
                for file in &answer.photos {
                    kept.push(photo::take_file(&self.folder, file, &shows).map_err(FillError::Words)?);
                }
                answer.photos = kept.iter().map(|kept| kept.name.clone()).collect();
            }
            answers.push((key, answer, seen, kept));
        }
        let saved = self.edit(|sight| {
            let (mut edits, mut said, mut changed) = (Vec::new(), Vec::new(), Vec::new());
            for (key, mut answer, seen, kept) in answers {
                let question = question(sight, key)?;
                if let Fills::Adds(adds) = question.item.fills {
                    let typed = answer.value.as_deref().unwrap_or_default();
                    let parts = || parts_to_add(&sight.record, &Wanted::by(question, adds), typed);
                    return self.added_once(sight, once, parts);
                }
                let upon_another = seen.as_ref().is_some_and(|seen| *seen != question.revision());
                if upon_another && !says_the_same(question, &answer) {
                    changed.push((key.clone(), question.found.show()));
                }
                // Of several answers it is said which one does not read.
                if let (true, Fills::Field { info, .. }, Some(value)) =
                    (all.len() > 1, &question.item.fills, &answer.value)
                {
                    record::read_answer(info, value).map_err(|wrong| {
                        let asked = format!("{} {}", question.number, question.item.prompt);
                        FillError::Words(format!("{asked} {}; {}", wrong.message, wrong.expected))
                    })?;
                }
                with_what_the_item_says(&mut answer, question)?;
                edits.extend(edits_for(question, &answer));
                for kept in &kept {
                    edits.extend(listed(&sight.record, kept, &question.shows)?);
                }
                said.push(match &answer.value {
                    Some(value) => format!("{} = {value}", named(question)),
                    None => format!("{} annotated", named(question)),
                });
                let told =
                    kept.iter().filter_map(|kept| Some(format!("{}: {}", kept.name, kept.told.as_ref()?)));
                said.extend(told);
            }
            if changed.is_empty() { Ok((edits, said.join("; "))) } else { Err(FillError::Conflict(changed)) }
        })?;
        // Only what is in the record was answered.
        for Given { key, .. } in all {
            if let Some(question) = saved.sight.question(key) {
                note_time(&self.folder, question);
            }
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
                return Err(FillError::Conflict(vec![(key.clone(), question.found.show())]));
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
            let whole = part_named(question);
            let whole = if whole.is_empty() { part.to_string() } else { whole.to_owned() };
            let said = format!("{whole}: {name} = {text}");
            Ok((vec![Edit::Set { place: part.then(name), answer: Entered::of(text) }], said))
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

    /// As [`FillSession::add`]; what an operation with this id has added already is not added again.
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

    /// Answers every other part of the kind and leg of a question as this one is answered.
    ///
    /// # Errors
    /// [`FillError`]; the record is then unchanged.
    pub fn alike(&self, key: &Key) -> Result<Saved, FillError> {
        self.edit(|sight| super::same::alike(sight, key))
    }

    /// Renames, moves or takes out the element of a question.
    ///
    /// # Errors
    /// [`FillError`]; the record is then unchanged.
    pub(super) fn change(&self, key: &Key, change: &Change<'_>) -> Result<Saved, FillError> {
        self.edit(|sight| changed(sight, key, change))
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
}

/// What the record holds of a question.
fn recorded(question: &Question) -> Option<String> {
    let fills = matches!(question.item.fills, Fills::Field { .. });
    (fills && question.found.state != State::NotLooked).then(|| question.found.show())
}

/// The questions whose answers differ, with what is recorded now.
fn differing(before: &Sight, now: &Sight) -> Vec<(String, Option<String>)> {
    if before.text == now.text {
        return Vec::new();
    }
    let known: HashMap<&Key, Option<String>> =
        before.questions.iter().map(|question| (&question.key, recorded(question))).collect();
    let now = now.questions.iter().map(|question| (question, recorded(question)));
    now.filter(|(question, value)| known.get(&question.key).unwrap_or(&None) != value)
        .map(|(question, value)| (question.key.to_string(), value))
        .collect()
}

/// Notes that the part of a question was at hand now, so that pictures of that time can be proposed for it.
fn note_time(folder: &Path, question: &Question) {
    let adds = matches!(question.item.fills, Fills::Adds(_));
    let shown = !adds && !matches!(question.item.scope, Scope::Photos | Scope::Tests | Scope::Instruments);
    if shown && question.shows != "inspection" {
        journal::answered(folder, &question.key.to_string(), &question.shows);
    }
}
