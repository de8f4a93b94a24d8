//! A card full of pictures at the bench: what lies on it, what of that the inspection has already, and taking some of
//! it in.
//!
//! Looking changes nothing. Taking copies, never moves, and never writes to the card: each picture is copied beside,
//! hashed on the way, read back, and only then given a name in `photos/`, which is made here and owes nothing to the
//! name on the card. A picture that the inspection has already is not copied again, so that a run that was stopped may
//! be started again.
//!
//! Which part a picture shows is proposed from the time at which parts were answered, and never written down unless a
//! person says so. Refused: links, what does not begin as a picture does, and files that change while they are read.

mod pick;
mod show;

use std::collections::HashMap;
use std::path::{Path, PathBuf};

use jiff::SignedDuration;
use jiff::civil::DateTime;
use serde::Serialize;

use super::journal::{self, Answered};
use super::photo::{self, Kept, Shelf};
use super::question::Key;
use super::session::FillSession;
use super::sight::{FillError, Sight};
use crate::evidence::exif::PhotoFacts;
use crate::evidence::hash::{OnProgress, Sha256Digest, copy_file};
use crate::evidence::name::safe_relative;
use crate::evidence::photos::{self as survey, find};
use crate::evidence::picture::MAX_FILE_BYTES;
use crate::fill::checklist::Fills;
use crate::record::{Part, Record};
use crate::units::terminal::shown;
use crate::units::words::hint;

pub use pick::{Moment, clock_offset, numbers};
pub use show::CardTold;

/// An answer within this many seconds of a picture is proposed for it (common practice, no source).
const NEAR_ANSWER: i64 = 600;
/// Pictures that are named as looking like one: a card may hold thousands of one scene.
const MOST_ALIKE: usize = 8;
/// Pictures that are listed in the record with one write: a record with many photos is not written anew for each.
const TOGETHER: usize = 16;

/// What a card holds, held against the inspection.
#[derive(Debug)]
pub struct PhotoCard {
    /// The pictures in the proposed order.
    pub photos: Vec<CardPhoto>,
    /// Films; they are not taken.
    pub videos: Vec<PathBuf>,
    /// Files of other kinds, and hidden ones.
    pub others: usize,
    /// Links; they are not followed.
    pub links: usize,
    /// What could not be read, and why.
    pub refused: Vec<String>,
    /// What is added to the camera's times.
    pub clock: SignedDuration,
}

/// A picture on a card.
#[derive(Debug, Clone)]
pub struct CardPhoto {
    /// Its number in the proposed order, from 1.
    pub number: usize,
    /// Where it lies.
    pub path: PathBuf,
    /// Its size in bytes.
    pub bytes: u64,
    /// Its SHA-256.
    pub digest: Sha256Digest,
    /// What it says of itself.
    pub facts: PhotoFacts,
    /// Width and height of the upright picture, when it can be decoded.
    pub pixels: Option<(u32, u32)>,
    /// Why it cannot be shown; it is evidence all the same.
    pub problem: Option<String>,
    /// When it was taken, by the camera's clock put right.
    pub taken: Option<DateTime>,
    /// An earlier picture of the card with the same content.
    pub same_as: Option<usize>,
    /// The file under `photos/` with the same content.
    pub here: Option<String>,
    /// True when that file is listed in the record.
    pub listed: bool,
    /// Pictures of the card that look alike.
    pub alike: Vec<usize>,
    /// Files under `photos/` that look alike.
    pub alike_here: Vec<String>,
    /// How many more look alike.
    pub alike_more: usize,
    /// A part that was answered about when it was taken.
    pub proposal: Option<Proposal>,
    /// The ending of its name when it is taken; nothing for what is no picture.
    ending: Option<&'static str>,
}

/// A part that a picture may show.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, schemars::JsonSchema)]
pub struct Proposal {
    /// What it would show.
    pub shows: String,
    /// The question that was answered.
    pub question: String,
    /// How long after the picture that was, seconds; less than zero when it was before.
    pub seconds: i64,
}

/// What pictures are tied to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Tie {
    /// To nothing yet.
    Nothing,
    /// To the part a question is about.
    Question(Key),
    /// To what the word names, without a question of its own.
    Shows(String),
}

/// A picture that was taken in.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, schemars::JsonSchema)]
pub struct Taken {
    /// Its number on the card.
    pub number: usize,
    /// Its name under the inspection folder.
    pub file: String,
    /// Its SHA-256.
    pub sha256: Sha256Digest,
    /// True when it was copied, false when the inspection had it.
    pub copied: bool,
}

/// What became of a choice of pictures.
#[derive(Debug, Default)]
pub struct TakeOutcome {
    /// Those that are in the inspection now.
    pub taken: Vec<Taken>,
    /// Those that were not taken, and why.
    pub refused: Vec<(usize, String)>,
}

impl CardPhoto {
    /// True when it is a picture and the inspection does not have it in its record.
    #[must_use]
    pub fn is_new(&self) -> bool {
        self.ending.is_some() && self.same_as.is_none() && !self.listed
    }
}

impl PhotoCard {
    /// Looks at folders, cards or files, and at what the inspection has.
    ///
    /// # Errors
    /// When the record does not read, or none of `from` can be looked at.
    pub fn look(
        session: &FillSession,
        from: &[PathBuf],
        clock: SignedDuration,
        on: OnProgress<'_>,
    ) -> Result<Self, FillError> {
        let sight = session.look()?;
        let found = find(from);
        if found.photos.is_empty() && found.videos.is_empty() && !found.refused.is_empty() {
            return Err(FillError::Words(found.refused.join("\n")));
        }
        let here = lying_here(&session.folder);
        let mut paths: Vec<PathBuf> = here.iter().map(|(_, path)| path.clone()).collect();
        paths.extend(found.photos.iter().cloned());
        let names: HashMap<&PathBuf, &String> = here.iter().map(|(name, path)| (path, name)).collect();
        let survey = survey::survey(&paths, on);
        let mut refused = found.refused;
        refused.extend(survey.unreadable.iter().map(ToString::to_string));
        let mut card = Self {
            photos: Vec::new(),
            videos: found.videos,
            others: found.others,
            links: found.links,
            refused,
            clock,
        };
        // Positions of the survey that are pictures of the card, and their numbers.
        let mut number_of: HashMap<usize, usize> = HashMap::new();
        let mut held: HashMap<Sha256Digest, &String> = HashMap::new();
        let mut first: HashMap<Sha256Digest, usize> = HashMap::new();
        for photo in &survey.photos {
            if let Some(name) = names.get(&photo.path) {
                held.entry(photo.digest).or_insert(name);
            }
        }
        let times = journal::times(&session.folder);
        for (position, photo) in survey.photos.iter().enumerate() {
            if names.contains_key(&photo.path) {
                continue;
            }
            let number = card.photos.len() + 1;
            number_of.insert(position, number);
            let here = held.get(&photo.digest).map(|name| (*name).clone());
            card.photos.push(CardPhoto {
                number,
                path: photo.path.clone(),
                bytes: photo.bytes,
                digest: photo.digest,
                pixels: photo.pixels,
                problem: photo.undecodable.as_ref().map(ToString::to_string),
                taken: photo.facts.taken.and_then(|taken| taken.local.checked_add(clock).ok()),
                same_as: first.get(&photo.digest).copied(),
                listed: here.as_deref().is_some_and(|name| is_listed(&sight.record, name)),
                here,
                alike: Vec::new(),
                alike_here: Vec::new(),
                alike_more: 0,
                proposal: proposal(&photo.facts, clock, &times),
                ending: kind_of(&photo.path, photo.bytes),
                facts: photo.facts.clone(),
            });
            first.entry(photo.digest).or_insert(number);
        }
        for group in &survey.near_duplicates {
            let (card_ones, here): (Vec<usize>, Vec<usize>) =
                group.iter().partition(|position| number_of.contains_key(position));
            let numbers: Vec<usize> =
                card_ones.iter().filter_map(|position| number_of.get(position).copied()).collect();
            let here: Vec<String> = here
                .iter()
                .filter_map(|position| Some((*names.get(&survey.photos.get(*position)?.path)?).clone()))
                .collect();
            for number in &numbers {
                if let Some(photo) = card.photos.get_mut(number - 1) {
                    let others = numbers.iter().copied().filter(|other| other != number);
                    photo.alike = others.take(MOST_ALIKE).collect();
                    photo.alike_here = here.iter().take(MOST_ALIKE).cloned().collect();
                    let named = photo.alike.len() + photo.alike_here.len();
                    photo.alike_more = (numbers.len() - 1 + here.len()).saturating_sub(named);
                }
            }
        }
        Ok(card)
    }

    /// The numbers of the pictures that are new to the inspection.
    #[must_use]
    pub fn new_ones(&self) -> Vec<usize> {
        self.photos.iter().filter(|photo| photo.is_new()).map(|photo| photo.number).collect()
    }

    /// The numbers of the pictures taken in a span of time; pictures without a time are in none.
    #[must_use]
    pub fn taken_between(&self, from: Option<Moment>, until: Option<Moment>) -> Vec<usize> {
        let within = |taken: DateTime| {
            from.is_none_or(|from| from.is_from(taken)) && until.is_none_or(|until| until.is_until(taken))
        };
        self.photos.iter().filter(|photo| photo.taken.is_some_and(within)).map(|p| p.number).collect()
    }

    /// Takes pictures in by number and ties them. Each is listed in the record with the hash it arrived with; `told`
    /// hears of each as soon as its file is there.
    ///
    /// # Errors
    /// When the record cannot be read or written. Pictures that were copied before stay, and are listed by the next run.
    pub fn take(
        &mut self,
        session: &FillSession,
        numbers: &[usize],
        tie: &Tie,
        told: &mut dyn FnMut(&Taken),
    ) -> Result<TakeOutcome, FillError> {
        let mut outcome = TakeOutcome::default();
        let mut unlisted: Vec<(Kept, Option<String>)> = Vec::new();
        let shows = match tie {
            Tie::Shows(shows) => shows.as_str(),
            Tie::Nothing | Tie::Question(_) => "",
        };
        let stem = self.stem(session, tie)?;
        // The folder is made and checked before anything is looked up in it.
        drop(photo::begin(&session.folder).map_err(FillError::Words)?);
        let mut shelf = Shelf::of(&session.folder).map_err(FillError::Words)?;
        let together = if matches!(tie, Tie::Question(_)) { 1 } else { TOGETHER };
        for &number in numbers {
            let Some(photo) = self.photos.get(number.wrapping_sub(1)) else {
                outcome.refused.push((number, "there is no such picture".to_owned()));
                continue;
            };
            let (kept, copied) = match kept(&session.folder, &mut shelf, photo, stem.as_deref()) {
                Ok(kept) => kept,
                Err(words) => {
                    outcome.refused.push((number, words));
                    continue;
                }
            };
            // Only a clock that was put right says what the file itself does not.
            let taken = photo.taken.filter(|_| !self.clock.is_zero()).map(|taken| {
                let taken = taken.round(jiff::Unit::Second).unwrap_or(taken);
                taken.to_string().replace('T', " ")
            });
            for other in self.photos.iter_mut().filter(|other| other.digest == kept.digest) {
                other.here = Some(kept.name.clone());
                other.listed = true;
            }
            let file = format!("{}/{}", photo::FOLDER, kept.name);
            let arrived = Taken { number, file, sha256: kept.digest, copied };
            told(&arrived);
            outcome.taken.push(arrived);
            // Two of the chosen may be the same picture.
            if unlisted.iter().all(|(other, _)| other.name != kept.name) {
                unlisted.push((kept, taken));
            }
            if unlisted.len() >= together {
                list(session, &mut unlisted, shows, tie)?;
            }
        }
        list(session, &mut unlisted, shows, tie)?;
        Ok(outcome)
    }

    /// The middle of the names: what the pictures show, where that is known.
    fn stem(&self, session: &FillSession, tie: &Tie) -> Result<Option<String>, FillError> {
        Ok(match tie {
            Tie::Nothing => None,
            Tie::Shows(shows) => Some(photo::slug(shows)),
            Tie::Question(key) => {
                let sight = session.look()?;
                sight.question(key).map(|question| photo::slug(&question.shows))
            }
        })
    }
}

fn list(
    session: &FillSession,
    unlisted: &mut Vec<(Kept, Option<String>)>,
    shows: &str,
    tie: &Tie,
) -> Result<(), FillError> {
    if unlisted.is_empty() {
        return Ok(());
    }
    session.list_photos(unlisted, shows)?;
    if let Tie::Question(key) = tie {
        for (kept, _) in unlisted.iter() {
            session.tie(key, kept)?;
        }
    }
    unlisted.clear();
    Ok(())
}

/// Copies one picture, unless the inspection has it.
fn kept(
    folder: &Path,
    shelf: &mut Shelf,
    photo: &CardPhoto,
    stem: Option<&str>,
) -> Result<(Kept, bool), String> {
    let digest = photo.digest;
    if let Some(name) = &photo.here {
        return Ok((Kept { name: name.clone(), digest, told: None }, false));
    }
    let ending = photo.ending.ok_or_else(|| {
        photo.problem.clone().unwrap_or_else(|| "this does not begin as a picture does".to_owned())
    })?;
    let mut beside = photo::begin(folder)?;
    let copied = copy_file(&photo.path, &mut beside, |_| {}).map_err(|error| error.to_string())?;
    if copied != digest {
        return Err(format!("{}: changed since it was looked at; look again", shown(&photo.path)));
    }
    let by_time = || match photo.taken {
        Some(taken) => taken.strftime("%Y-%m-%d-%H%M%S").to_string(),
        None => "photo".to_owned(),
    };
    let stem = stem.map_or_else(by_time, str::to_owned);
    let name = shelf.put(beside, digest, &stem, ending)?;
    Ok((Kept { name, digest, told: None }, true))
}

/// What a file is by its first bytes; nothing when it is empty, too large, or no picture.
fn kind_of(path: &Path, bytes: u64) -> Option<&'static str> {
    // A pipe would block; the survey has read this as a plain file a moment ago, and `copy_file` looks again.
    if bytes == 0 || bytes > MAX_FILE_BYTES || !path.symlink_metadata().is_ok_and(|meta| meta.is_file()) {
        return None;
    }
    photo::evidence_ending(&photo::head_of(path).ok()?, path)
}

/// The plain files under `photos/` that a record can name.
fn lying_here(folder: &Path) -> Vec<(String, PathBuf)> {
    let Ok(photos) = safe_relative(folder, photo::FOLDER) else {
        return Vec::new();
    };
    let Ok(entries) = crate::record::open::entries(&photos) else {
        return Vec::new();
    };
    entries
        .into_iter()
        .filter(|path| path.symlink_metadata().is_ok_and(|meta| meta.is_file()))
        .filter_map(|path| Some((path.file_name()?.to_str()?.to_owned(), path)))
        .filter(|(name, _)| !name.starts_with('.') && !name.chars().any(char::is_control))
        .collect()
}

fn is_listed(record: &Record, name: &str) -> bool {
    let file = format!("{}/{name}", photo::FOLDER);
    record.photo.iter().any(|photo| photo.file.text() == Some(&file))
}

/// The answer nearest in time, when it is near.
fn proposal(facts: &PhotoFacts, clock: SignedDuration, times: &[Answered]) -> Option<Proposal> {
    let taken = facts.taken?;
    let local = taken.local.checked_add(clock).ok()?;
    let utc = taken.utc().and_then(|utc| utc.checked_add(clock).ok());
    times
        .iter()
        .filter_map(|answer| {
            // Where the camera knows its offset both are compared in UTC; else both are times on the spot.
            let (photo, answered) = match utc {
                Some(utc) => {
                    let offset = SignedDuration::from_mins(i64::from(answer.offset));
                    (utc, answer.at.checked_sub(offset).ok()?)
                }
                None => (local, answer.at),
            };
            let seconds = answered.duration_since(photo).as_secs();
            (seconds.abs() <= NEAR_ANSWER).then_some((seconds, answer))
        })
        .min_by_key(|(seconds, _)| seconds.abs())
        .map(|(seconds, answer)| Proposal {
            shows: answer.shows.clone(),
            question: answer.key.clone(),
            seconds,
        })
}

/// What a word ties to: an element's id, the number of a question, a part of the record; `-` for nothing.
///
/// # Errors
/// When nothing here is called so; with what is near.
pub fn tie_to(sight: &Sight, word: &str) -> Result<Tie, FillError> {
    if word == "-" {
        return Ok(Tie::Nothing);
    }
    let questions = &sight.questions;
    let by_number = questions.iter().find(|q| q.number == word || q.key.to_string() == word);
    // A field's question comes before a remark's: a photo is tied to the part, and a remark is none.
    let of_part = || {
        let parts =
            || questions.iter().filter(|q| q.part.is_some() && matches!(q.item.fills, Fills::Field { .. }));
        parts().find(|q| q.key.part == word && q.shows == word).or_else(|| parts().find(|q| q.shows == word))
    };
    if let Some(question) = by_number.or_else(of_part) {
        return Ok(Tie::Question(question.key.clone()));
    }
    let names = || {
        let parts = Record::SHAPE.children.iter().map(|child| child.name);
        let ids = sight.record.path.element.iter().filter_map(|element| element.id.text());
        parts.chain(ids).chain(questions.iter().map(|q| q.shows.as_str()))
    };
    if names().any(|name| name == word) {
        return Ok(Tie::Shows(word.to_owned()));
    }
    let hint = hint(word, names());
    let ids: Vec<&str> = sight.record.path.element.iter().filter_map(|element| element.id.text()).collect();
    Err(FillError::Words(format!(
        "nothing here is called `{word}`{hint}\nan element ({}), a part of the record such as bms or cells, or the \
         number of a question",
        if ids.is_empty() { "none yet".to_owned() } else { ids.join(", ") }
    )))
}
