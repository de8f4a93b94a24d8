//! Measuring in a photo from the page: it sends points, the program finds the sheet, moves the points onto edges and measures.

use std::sync::{Arc, PoisonError};

use serde::Serialize;

use super::points::{Points, Told};
use super::state::{App, Later, later};
use crate::evidence::hash::hash_file;
use crate::evidence::name::safe_relative;
use crate::evidence::scale::photo::Photo;
use crate::fill::measured::{Asked, Measured, keep};
use crate::fill::sight::{FillError, Saved, question};
use crate::fill::{Key, photo};
use crate::physics::marking;

/// A length is measured in one photo and perhaps a second; sides of a section may lie in different ones.
const OPENED: usize = 2;

/// Most codes of a photo that are offered.
const OFFERED: usize = 24;

/// A code in a photo, as it is offered.
#[derive(Debug, Serialize)]
pub(super) struct PhotoCode {
    text: String,
    /// What an open standard says of it.
    says: String,
}

/// What points give, what is then asked, and the photo.
type Answer = (Told, Option<Asked>, Arc<Photo>);

impl App {
    /// What points give, or why a photo cannot be measured in.
    pub(super) fn measure(&self, points: &Points) -> Result<Result<Told, String>, Later> {
        Ok(self.told(points)?.map(|(told, ..)| told))
    }

    fn told(&self, points: &Points) -> Result<Result<Answer, String>, Later> {
        let photo = match self.opened(&points.photo)? {
            Ok(photo) => photo,
            Err(why) => return Ok(Err(why)),
        };
        let second = match (!points.second.is_empty()).then(|| self.opened(&points.second)).transpose()? {
            Some(Err(why)) => return Ok(Err(why)),
            second => second.and_then(Result::ok),
        };
        let (told, asked) = points.told(&photo, second.as_deref());
        Ok(Ok((told, asked, photo)))
    }

    /// What the codes in a photo say, or why it cannot be read. What is no code of a standard is offered as it stands.
    pub(super) fn codes(&self, name: &str) -> Result<Result<Vec<PhotoCode>, String>, Later> {
        let photo = match self.opened(name)? {
            Ok(photo) => photo,
            Err(why) => return Ok(Err(why)),
        };
        let texts = photo.other_codes().into_iter().map(str::to_owned);
        #[cfg(feature = "labels")]
        let texts = texts.chain(photo.labels());
        let offered = texts.filter(|text| text.chars().count() <= marking::LONGEST).take(OFFERED);
        let code = |text: String| {
            let says = match marking::decode(&text) {
                Ok(marking) => {
                    let fields =
                        marking.fields.iter().map(|field| format!("{}: {}", field.name, field.meaning));
                    format!("{}. {}", marking.standard, fields.collect::<Vec<_>>().join("; "))
                }
                Err(_) => "no code of a standard that is known here".to_owned(),
            };
            PhotoCode { text, says }
        };
        Ok(Ok(offered.map(code).collect()))
    }

    /// Measures again what the page was told, and puts the whole value into the record.
    pub(super) fn keep_measured(
        &self,
        key: &Key,
        points: &[Points],
        value: &str,
        seen: Option<&str>,
    ) -> Result<Result<Saved, FillError>, Later> {
        let words = |words: String| Ok(Err(FillError::Words(words)));
        let mut asked = Vec::new();
        for one in points {
            let (told, given, photo) = match self.told(one)? {
                Ok(told) => told,
                Err(why) => return words(why),
            };
            match given {
                Some(given) if !told.value.is_empty() && told.value == one.value => {
                    asked.push((given, photo.digest));
                }
                _ => {
                    let now = if told.value.is_empty() {
                        told.problem
                    } else {
                        format!("it measures {} now", told.value)
                    };
                    return words(format!("{} was not kept: {now}", one.value));
                }
            }
        }
        let measured: Vec<Measured<'_>> = points
            .iter()
            .zip(&asked)
            .map(|(one, (asked, digest))| Measured {
                photo: &one.photo,
                digest: *digest,
                asked,
                value: &one.value,
            })
            .collect();
        if measured.is_empty() || measured.iter().any(|one| !value.contains(one.value)) {
            return words("nothing of this value was measured".to_owned());
        }
        Ok(keep(&self.session, "", &measured, |sight| {
            let question = question(sight, key)?;
            if seen.is_some_and(|seen| seen != question.revision()) {
                return Err(FillError::Conflict(vec![(key.clone(), question.found.show())]));
            }
            let no_part = || FillError::Words("this question has no part yet; answer it first".to_owned());
            Ok((question.place.clone().ok_or_else(no_part)?, value.to_owned()))
        }))
    }

    /// A photo of the record with its codes; those that were opened last are kept.
    fn opened(&self, name: &str) -> Result<Result<Arc<Photo>, String>, Later> {
        let sight = self.session.look().map_err(later)?;
        let file = format!("{}/{name}", photo::FOLDER);
        if !sight.record.photo.iter().any(|photo| photo.file.text() == Some(&file)) {
            return Ok(Err(format!("{file} is not listed in the record")));
        }
        // One at a time: a large picture takes a hundred megabytes.
        let mut last = self.measured_in.lock().unwrap_or_else(PoisonError::into_inner);
        let mut open = || {
            let path = safe_relative(&self.session.folder, &file).map_err(|error| error.to_string())?;
            let digest = hash_file(&path).map_err(|error| error.to_string())?;
            if let Some(known) = last.iter().find(|known| known.digest == digest) {
                return Ok(Arc::clone(known));
            }
            let opened = Arc::new(Photo::open(&path).map_err(|error| error.to_string())?);
            last.truncate(OPENED - 1);
            last.insert(0, Arc::clone(&opened));
            Ok(opened)
        };
        Ok(open())
    }
}
