//! Photos of a record that is being filled: taken in, listed with the hash they arrived with, tied to a part.

use super::bench::{Bench, FillError, Saved, question};
use super::photo::{self, Kept};
use super::question::Key;
use crate::fill::checklist::{Fills, Scope};
use crate::record::Record;
use crate::record::edit::{Answer, Edit, Pick, Place, Step};

impl Bench {
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
                            let step = Step { key: "photo".to_owned(), pick: Some(pick) };
                            let place = Place(vec![step]).then("taken");
                            own.push(Edit::Set { place, answer: Answer::of(taken) });
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
