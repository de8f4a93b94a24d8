//! Measuring in a photo from the page: it sends points, the program finds the sheet, moves the points onto edges and measures.

use std::sync::{Arc, PoisonError};

use super::points::{Points, Told};
use super::state::{App, Later, later};
use crate::evidence::hash::hash_file;
use crate::evidence::name::safe_relative;
use crate::evidence::scale::photo::Photo;
use crate::fill::measured::keep;
use crate::fill::sight::{FillError, Saved, question};
use crate::fill::{Key, photo};

impl App {
    /// What points give, or why a photo cannot be measured in.
    pub(super) fn measure(&self, points: &Points) -> Result<Result<Told, String>, Later> {
        Ok(self.opened(&points.photo)?.map(|photo| points.told(&photo)))
    }

    /// Measures again what the page was told, and puts it into the record.
    pub(super) fn keep_measured(
        &self,
        key: &Key,
        points: &Points,
        value: &str,
        seen: Option<&str>,
    ) -> Result<Result<Saved, FillError>, Later> {
        let words = |words: String| Ok(Err(FillError::Words(words)));
        let photo = match self.opened(&points.photo)? {
            Ok(photo) => photo,
            Err(why) => return words(why),
        };
        let told = points.told(&photo);
        if told.value.is_empty() || told.value != value {
            let now =
                if told.value.is_empty() { told.problem } else { format!("it measures {} now", told.value) };
            return words(format!("{value} was not kept: {now}"));
        }
        let asked = match points.asked() {
            Ok(asked) => asked,
            Err(why) => return words(why),
        };
        let kept = (&*points.photo, photo.digest);
        Ok(keep(&self.session, kept, "", (&asked, value), |sight| {
            let question = question(sight, key)?;
            if seen.is_some_and(|seen| seen != question.revision()) {
                return Err(FillError::Conflict(vec![(key.clone(), question.found.show())]));
            }
            let no_part = || FillError::Words("this question has no part yet; answer it first".to_owned());
            question.place.clone().ok_or_else(no_part)
        }))
    }

    /// A photo of the record with its codes; that which was opened last is kept.
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
            if let Some(known) = last.as_ref().filter(|known| known.digest == digest) {
                return Ok(Arc::clone(known));
            }
            let opened = Arc::new(Photo::open(&path).map_err(|error| error.to_string())?);
            *last = Some(Arc::clone(&opened));
            Ok(opened)
        };
        Ok(open())
    }
}
