//! A length that was measured in a photo goes into the record, with all that is needed to measure it again.

use super::FillSession;
use super::photo::{Kept, listed, take_file};
use super::sight::{FillError, Saved};
use crate::record::Record;
use crate::record::edit::{Edit, Entered, Place};
use crate::record::field::How;

/// What is written of a measurement: keys of `[[photo.measurement]]` with their values as typed.
#[derive(Debug, Clone, Default)]
pub(crate) struct Measurement {
    /// The length with its uncertainty, as the record says it.
    pub value: String,
    /// The other keys.
    pub keys: Vec<(&'static str, String)>,
}

/// Writes a measurement and the value that it gives; a photo from elsewhere is copied into the folder first.
///
/// # Errors
/// [`FillError`], such as a field that holds no length; then nothing was written.
pub(crate) fn keep(
    session: &FillSession,
    photo: &str,
    field: &str,
    measurement: &Measurement,
) -> Result<Saved, FillError> {
    let kept = take_file(&session.folder, photo, field.split('.').next().unwrap_or_default())
        .map_err(FillError::Words)?;
    session.edit(|sight| {
        let place = place_of(&sight.record, field)?;
        let edits = edits(&sight.record, &kept, &place, measurement)?;
        Ok((edits, format!("{place}: {}", measurement.value)))
    })
}

/// `positive-bar.length` is a field of the element with that id.
fn place_of(record: &Record, field: &str) -> Result<Place, FillError> {
    let wrong = |error: crate::record::edit::NoSuchPlace| FillError::Words(error.to_string());
    if let Some((id, rest)) = field.split_once('.')
        && record.path.element.iter().any(|element| element.id.text() == Some(id))
    {
        return format!("path.element[id={id}].{rest}").parse().map_err(wrong);
    }
    field.parse().map_err(wrong)
}

fn edits(
    record: &Record,
    kept: &Kept,
    place: &Place,
    measurement: &Measurement,
) -> Result<Vec<Edit>, FillError> {
    let mut edits = listed(record, kept, "")?;
    let file = format!("photos/{}", kept.name);
    let known = record.photo.iter().position(|photo| photo.file.text() == Some(&file));
    let list = Place::keys("photo").at(known.unwrap_or(record.photo.len())).then("measurement");
    let mut fields = vec![("of".to_owned(), place.to_string())];
    fields.extend(measurement.keys.iter().map(|(key, value)| ((*key).to_owned(), value.clone())));
    fields.push(("value".to_owned(), measurement.value.clone()));
    edits.push(Edit::Append { list, at: usize::MAX, fields });
    edits.push(Edit::Set {
        place: place.clone(),
        answer: Entered {
            value: Some(measurement.value.clone()),
            how: Some(How::Measured.word().to_owned()),
            photos: vec![kept.name.clone()],
            ..Entered::default()
        },
    });
    Ok(edits)
}
