//! Photos of a record that is being filled: taken in, listed with the hash they arrived with, tied to a part.

use super::photo::{self, Kept, listed};
use super::question::Key;
use super::session::FillSession;
use super::sight::{FillError, Saved, question};
use crate::fill::checklist::{Fills, Scope};
use crate::record::edit::{Edit, Entered, Pick, Place, PlaceStep};

impl FillSession {
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
                            let pick = Pick::Where { key: "file".to_owned(), is: file };
                            let step = PlaceStep { key: "photo".to_owned(), pick: Some(pick) };
                            let place = Place(vec![step]).then("taken");
                            own.push(Edit::Set { place, answer: Entered::of(taken) });
                        }
                    }
                }
                edits.extend(own);
            }
            Ok((edits, format!("{} listed", crate::units::words::count(photos.len(), "photo", "photos"))))
        })
    }

    /// Ties a photo that lies in `photos/` to the part of a question and lists it with its hash.
    pub(super) fn tie(&self, key: &Key, kept: &Kept) -> Result<Saved, FillError> {
        self.edit(|sight| {
            let question = question(sight, key)?;
            let mut edits = Vec::new();
            let photos = Entered { photos: vec![kept.name.clone()], ..Entered::default() };
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
