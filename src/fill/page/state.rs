//! The answers that pages have sent: each is carried out once, however often it arrives.

use std::collections::{BTreeMap, HashMap, VecDeque};
use std::sync::{Mutex, PoisonError};

use serde::{Deserialize, Serialize};

use super::Reach;
use super::pairing::Pairing;
use super::view::{PageNext, PageState, short};
use crate::evidence::name::safe_relative;
use crate::evidence::picture::{self, PictureOptions};
use crate::fill::parts::Change;
use crate::fill::photo::{self, Kept};
use crate::fill::sight::{FillError, Given, Saved, Sight};
use crate::fill::{FillSession, Key};
use crate::record::edit::{EditRefused, Entered};

/// Answers whose ids are remembered.
const REMEMBERED: usize = 20_000;

/// Longer edge of a picture on the page, pixels, and of one in which lengths are measured.
const PICTURE_EDGE: u32 = 1200;
const MEASURED_EDGE: u32 = 4096;

/// The page's server.
pub(super) struct App {
    pub(super) session: FillSession,
    pub(super) pairing: Option<Pairing>,
    pub(super) reach: Reach,
    pub(super) port: u16,
    /// `http` or `https`.
    pub(super) scheme: &'static str,
    /// Which record this is, so that answers kept in a browser do not end up in another one.
    record: String,
    cached: Mutex<Option<(String, axum::body::Bytes)>>,
    done: Mutex<Done>,
    pictures: Mutex<()>,
    /// The photos in which lengths were measured last.
    #[cfg(feature = "measuring")]
    pub(super) measured_in: Mutex<Vec<std::sync::Arc<crate::evidence::scale::photo::Photo>>>,
}

#[derive(Default)]
struct Done {
    results: HashMap<String, OpResult>,
    order: VecDeque<String>,
}

/// An operation as the page sends it.
#[derive(Debug, Deserialize)]
pub(super) struct Op {
    pub(super) id: String,
    pub(super) record: String,
    #[serde(rename = "do")]
    what_to_do: Do,
    #[serde(flatten)]
    own: OwnAnswer,
    /// The answers of one screen: all are saved, or none.
    #[serde(default)]
    answers: Vec<OwnAnswer>,
    what: Option<String>,
    #[cfg(feature = "measuring")]
    #[serde(default)]
    points: Vec<super::points::Points>,
}

/// A question, and what was answered.
#[derive(Debug, Deserialize)]
struct OwnAnswer {
    #[serde(default)]
    key: String,
    seen: Option<String>,
    value: Option<String>,
    how: Option<String>,
    with: Option<String>,
    note: Option<String>,
}

impl OwnAnswer {
    fn key(&self) -> Key {
        match self.key.parse() {
            Ok(key) => key,
            Err(never) => match never {},
        }
    }

    fn given(&self) -> Given {
        let answer = Entered {
            value: self.value.clone(),
            how: self.how.clone(),
            with: self.with.clone(),
            photos: Vec::new(),
            note: self.note.clone(),
            confirmed: false,
        };
        Given { key: self.key(), answer, seen: self.seen.clone() }
    }
}

#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(rename_all = "lowercase")]
enum Do {
    Answer,
    Clear,
    Add,
    Same,
    Alike,
    Rename,
    Move,
    Remove,
    With,
    Point,
    /// What the record holds stays in place of a confirmed answer that it lost.
    Stay,
    #[cfg(feature = "measuring")]
    Measure,
}

/// How an operation ended.
#[derive(Debug, Clone, Serialize)]
pub(super) struct OpResult {
    status: &'static str,
    said: String,
    decided: Vec<Line>,
    /// What each question that was answered says now.
    revs: BTreeMap<String, String>,
    message: String,
    /// What was changed meanwhile, and what it says now.
    now: BTreeMap<String, String>,
}

#[derive(Debug, Clone, Serialize)]
struct Line {
    rule: String,
    line: String,
}

/// The record cannot be read or written now; the page keeps its answer and sends it later.
#[derive(Debug)]
pub(super) struct Later(pub(super) String);

impl App {
    pub(super) fn new(
        session: FillSession,
        pairing: Option<Pairing>,
        reach: Reach,
        port: u16,
        scheme: &'static str,
    ) -> Self {
        let folder = session.folder.canonicalize().unwrap_or_else(|_| session.folder.clone());
        Self {
            record: short(folder.as_os_str().as_encoded_bytes()),
            session,
            pairing,
            reach,
            port,
            scheme,
            cached: Mutex::new(None),
            done: Mutex::new(Done::default()),
            pictures: Mutex::new(()),
            #[cfg(feature = "measuring")]
            measured_in: Mutex::new(Vec::new()),
        }
    }

    /// The state as JSON, or nothing when the page has it already.
    pub(super) fn state(&self, since: &str) -> Result<Option<axum::body::Bytes>, Later> {
        let revision = short(self.session.revision().map_err(later)?.as_bytes());
        if revision == since {
            return Ok(None);
        }
        // Whoever comes first makes it; those who wait take the same.
        let mut cached = self.cached.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((known, json)) = &*cached
            && *known == revision
        {
            return Ok(Some(json.clone()));
        }
        let sight = self.session.look().map_err(later)?;
        let json = serde_json::to_vec(&PageState::of(&self.session, &self.record, &sight))
            .map_err(|error| Later(error.to_string()))?;
        let json = axum::body::Bytes::from(json);
        *cached = Some((short(sight.revision().as_bytes()), json.clone()));
        Ok(Some(json))
    }

    /// What to look at next.
    pub(super) fn next(&self) -> Result<PageNext, Later> {
        Ok(PageNext::of(&*self.session.look().map_err(later)?))
    }

    /// Carries an operation out, or says again how it ended.
    pub(super) fn operate(&self, op: &Op, device: Option<u32>) -> Result<OpResult, Later> {
        // One at a time: the same answer may arrive twice at once.
        let mut done = self.done.lock().unwrap_or_else(PoisonError::into_inner);
        self.session.answered_by(&called(device));
        if let Some(result) = done.results.get(&op.id) {
            return Ok(result.clone());
        }
        if op.record != self.record {
            return Ok(OpResult::refused("this answer belongs to another record".to_owned()));
        }
        let key = op.own.key();
        let seen = op.own.seen.as_deref();
        let several = op.answers.iter();
        let keys: Vec<Key> = several.clone().map(OwnAnswer::key).chain([key.clone()]).collect();
        let result = match op.what_to_do {
            Do::Answer if op.answers.is_empty() => self.session.answer_once(&[op.own.given()], Some(&op.id)),
            Do::Answer => self.session.answer_once(&several.map(OwnAnswer::given).collect::<Vec<_>>(), None),
            Do::Clear => self.session.clear(&key, seen),
            Do::Stay => {
                *self.cached.lock().unwrap_or_else(PoisonError::into_inner) = None;
                self.session.let_stand(&key)
            }
            // Sent twice, the second finds nothing open and changes nothing.
            Do::Same => self.session.same(&key, op.what.as_deref().unwrap_or_default()),
            Do::Alike => self.session.alike(&key),
            Do::Rename | Do::Move | Do::Remove => {
                let what = op.what.as_deref().unwrap_or_default();
                self.session.change(
                    &key,
                    &match op.what_to_do {
                        Do::Rename => Change::Rename(what),
                        Do::Move => Change::Move(what),
                        _ => Change::Remove(what),
                    },
                )
            }
            Do::With => self.session.of_part(&key, "with", op.what.as_deref().unwrap_or_default()),
            Do::Point => {
                let words = |text: &Option<String>| text.clone().unwrap_or_default();
                self.session.point(&key, &words(&op.what), &words(&op.own.value))
            }
            #[cfg(feature = "measuring")]
            Do::Measure => {
                self.keep_measured(&key, &op.points, op.own.value.as_deref().unwrap_or_default(), seen)?
            }
            Do::Add => {
                self.session.add_once(Some(&key), op.what.as_deref().unwrap_or_default(), Some(&op.id))
            }
        };
        let result = self.result(&keys, result)?;
        // What was refused is not remembered: it changed nothing, and may be right later.
        if result.status == "saved" {
            done.results.insert(op.id.clone(), result.clone());
            done.order.push_back(op.id.clone());
            if done.order.len() > REMEMBERED
                && let Some(oldest) = done.order.pop_front()
            {
                done.results.remove(&oldest);
            }
        }
        Ok(result)
    }

    /// Ties a photo that was kept to its part.
    pub(super) fn tie(&self, key: &Key, kept: &Kept, device: Option<u32>) -> Result<OpResult, Later> {
        let _one_at_a_time = self.done.lock().unwrap_or_else(PoisonError::into_inner);
        self.session.answered_by(&called(device));
        self.result(std::slice::from_ref(key), self.session.tie(key, kept))
    }

    /// A photo of the record as a JPEG for the page, or why there is none; a `large` one shows every pixel of most.
    pub(super) fn picture(&self, name: &str, large: bool) -> Result<Result<Vec<u8>, String>, Later> {
        let sight = self.session.look().map_err(later)?;
        let file = format!("{}/{name}", photo::FOLDER);
        if !sight.record.photo.iter().any(|photo| photo.file.text() == Some(&file)) {
            return Ok(Err(format!("{file} is not listed in the record")));
        }
        // One at a time: a large picture takes a hundred megabytes.
        let _one = self.pictures.lock().unwrap_or_else(PoisonError::into_inner);
        let path = match safe_relative(&self.session.folder, &file) {
            Ok(path) => path,
            Err(error) => return Ok(Err(error.to_string())),
        };
        let max_edge = if large { MEASURED_EDGE } else { PICTURE_EDGE };
        let options = PictureOptions { max_edge, ..PictureOptions::default() };
        Ok(picture::derive(&path, &options).map(|derived| derived.jpeg).map_err(|error| error.to_string()))
    }

    /// What a photo of a question shows, or why none is taken.
    pub(super) fn shows(&self, record: &str, key: &Key) -> Result<Result<String, OpResult>, Later> {
        if record != self.record {
            return Ok(Err(OpResult::refused("this photo belongs to another record".to_owned())));
        }
        let sight = self.session.look().map_err(later)?;
        Ok(match sight.question(key) {
            Some(question) => Ok(question.shows.clone()),
            None => Err(OpResult::refused(format!("there is no question `{key}` in this record any more"))),
        })
    }

    fn result(&self, keys: &[Key], result: Result<Saved, FillError>) -> Result<OpResult, Later> {
        let revs = |sight: &Sight| {
            let rev = |key: &Key| Some((key.to_string(), sight.question(key)?.revision()));
            keys.iter().filter_map(rev).collect()
        };
        match result {
            Ok(saved) => {
                let decided = saved
                    .decided
                    .iter()
                    .map(|decided| Line { rule: decided.rule.clone(), line: decided.line() });
                let asked = keys.iter().filter_map(|key| {
                    let question = saved.sight.question(key)?;
                    Some(format!("{} {}", question.number, question.asks_again()?))
                });
                let asked = asked.map(|line| Line { rule: String::new(), line });
                Ok(OpResult {
                    status: "saved",
                    decided: asked.chain(decided).collect(),
                    said: saved.said.clone(),
                    revs: revs(&saved.sight),
                    ..OpResult::refused(String::new())
                })
            }
            Err(FillError::Conflict(now)) => {
                let sight = self.session.look().map_err(later)?;
                let now = now.into_iter().map(|(key, now)| (key.to_string(), now)).collect();
                Ok(OpResult {
                    status: "conflict",
                    now,
                    revs: revs(&sight),
                    ..OpResult::refused(String::new())
                })
            }
            Err(error @ (FillError::Open(_) | FillError::NotSaved(_))) => Err(later(error)),
            Err(FillError::EditRefused(EditRefused::Reads(problems))) => {
                let words: Vec<String> =
                    problems.list().iter().map(|p| format!("{}; {}", p.message, p.expected)).collect();
                Ok(OpResult::refused(words.join("\n")))
            }
            Err(error) => Ok(OpResult::refused(error.to_string())),
        }
    }
}

/// What a device is called in the journal.
fn called(device: Option<u32>) -> String {
    device.map_or_else(|| "page on this machine".to_owned(), |number| format!("device {number}"))
}

impl OpResult {
    pub(super) fn refused(message: String) -> Self {
        Self {
            status: "refused",
            said: String::new(),
            decided: Vec::new(),
            revs: BTreeMap::new(),
            message,
            now: BTreeMap::new(),
        }
    }
}

pub(super) fn later(error: FillError) -> Later {
    Later(match error {
        FillError::Open(crate::judge::inspection::OpenError::Problems(problems)) => {
            let first = problems.list().first().map(|problem| problem.message.clone()).unwrap_or_default();
            format!("{problems}: {first}")
        }
        other => other.to_string(),
    })
}
