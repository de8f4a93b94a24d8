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

    /// Points to the part of a question on a photo of the record: left and top of a point, or left, top, width and height
    /// of an area, in percent or pixels. The same place twice stands there once.
    #[cfg(feature = "page")]
    pub(super) fn point(&self, key: &Key, name: &str, place: &str) -> Result<Saved, FillError> {
        self.edit(|sight| {
            let question = question(sight, key)?;
            let file = format!("{}/{name}", photo::FOLDER);
            let found = sight.record.photo.iter().enumerate().find(|(_, photo)| photo.file.text() == Some(&file));
            let Some((index, photo)) = found else {
                return Err(FillError::Words(format!("{file} is not listed in the record")));
            };
            let sides: Vec<&str> = place.split(',').map(str::trim).collect();
            if !matches!(sides.len(), 2 | 4) {
                let words = "a place on a photo is left and top of a point, or left, top, width and height: 62 %, 35 %";
                return Err(FillError::Words(words.to_owned()));
            }
            let said = format!("{file} points to {}", question.shows);
            let known = photo.pointer.iter().any(|pointer| {
                let own = [&pointer.left, &pointer.top, &pointer.width, &pointer.height].map(|side| side.text());
                pointer.of.text() == Some(&question.shows) && own.into_iter().flatten().eq(sides.iter().copied())
            });
            if known {
                return Ok((Vec::new(), said));
            }
            let keys = ["left", "top", "width", "height"];
            let mut fields = vec![("of".to_owned(), question.shows.clone())];
            fields.extend(keys.into_iter().zip(&sides).map(|(key, side)| (key.to_owned(), (*side).to_owned())));
            let list = Place::keys("photo").at(index).then("pointer");
            Ok((vec![Edit::Append { list, at: usize::MAX, fields }], said))
        })
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
            let told = kept.told.as_ref().map_or_else(String::new, |told| format!("; {told}"));
            Ok((edits, format!("{file} shows {} (SHA-256 {}){told}", question.shows, kept.digest)))
        })
    }
}
