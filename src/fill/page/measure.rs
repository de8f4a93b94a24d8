//! Measuring in a photo from the page: it sends points, the program finds the sheet, moves the points onto edges and measures.

use std::sync::{Arc, PoisonError};

use serde::{Deserialize, Serialize};

use super::state::{App, Later, later};
use crate::evidence::hash::hash_file;
use crate::evidence::name::safe_relative;
use crate::evidence::scale::measure::Contribution;
use crate::evidence::scale::photo::Photo;
use crate::fill::measured::{Asked, SCATTER, keep, length, shown};
use crate::fill::sight::{FillError, Saved, question};
use crate::fill::{Key, photo};
use crate::record::parts::Measure;

/// Points as the page sends them, in pixels of the upright picture, and lengths as they were typed.
#[derive(Debug, Clone, Deserialize)]
pub(super) struct Points {
    photo: String,
    measure: String,
    taps: Vec<[f64; 2]>,
    card: Vec<[f64; 2]>,
    height: String,
    other_height: String,
    printed: [String; 2],
}

/// What came of them.
#[derive(Debug, Default, Serialize)]
pub(super) struct Told {
    /// Width and height of the picture, pixels.
    size: [u32; 2],
    /// What gives the scale, in lines.
    scale: Vec<String>,
    /// Where the points were taken to be.
    taps: Vec<[f64; 2]>,
    /// The length with its uncertainty, as the record will say it.
    value: String,
    /// What the uncertainty consists of.
    budget: Vec<String>,
    /// Why there is no length yet.
    problem: String,
}

impl Points {
    fn asked(&self) -> Result<Asked, String> {
        let [across, down] = &self.printed;
        Ok(Asked {
            measure: Measure::from_word(&self.measure).ok_or("this cannot be measured")?,
            taps: self.taps.clone(),
            scatter: SCATTER,
            on_edges: true,
            height: length(&self.height)?,
            other_height: length(&self.other_height)?,
            card: self.card.clone(),
            printed: [length(across)?, length(down)?],
        })
    }

    fn told(&self, photo: &Photo) -> Told {
        let mut told = Told { size: photo.size(), ..Told::default() };
        if let Err(problem) = self.tell(photo, &mut told) {
            told.problem = problem;
        }
        told
    }

    fn tell(&self, photo: &Photo, told: &mut Told) -> Result<(), String> {
        let asked = self.asked()?;
        let scaled = photo.scaled(&asked.reference()?).map_err(|error| error.to_string())?;
        told.scale = scaled.words();
        told.taps = scaled.placed(&asked.taps, asked.scatter);
        if asked.taps.len() < asked.measure.taps().0 {
            return Ok(());
        }
        let wanted = asked.wanted()?;
        let (length, _) = scaled.length(&wanted).map_err(|error| error.to_string())?;
        told.value = shown(&length);
        let line = |part: &Contribution| format!("{:.3} mm: {}", part.standard, part.from);
        told.budget = length.budget.iter().map(line).collect();
        Ok(())
    }
}

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
                return Err(FillError::Conflict(question.found.show()));
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
