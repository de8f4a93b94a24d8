//! A length that is measured in a photo: what was asked, as the command line, the page and the record say it, and how it goes
//! into the record with all that is needed to measure it again.

use super::FillSession;
use super::photo::{listed, take_file};
use super::sight::{FillError, Saved, Sight};
use crate::evidence::hash::Sha256Digest;
use crate::evidence::scale::measure::{Between, Length};
use crate::evidence::scale::photo::{Reference, Wanted};
use crate::record::Record;
use crate::record::edit::{Edit, Entered, Place};
use crate::record::field::How;
use crate::record::parts::{Measure, PhotoMeasurement, ScaleReference};
use crate::units::{Dimension, Quantity, parse, show_uncertain};

/// Standard deviation of a tap, pixels, where nothing else is said.
pub(crate) const SCATTER: f64 = 2.0;

/// What is measured in a photo, and by what. Places are in pixels of the upright picture.
#[derive(Debug, Clone)]
pub(crate) struct Asked {
    pub measure: Measure,
    pub taps: Vec<[f64; 2]>,
    /// Standard deviation of a tap.
    pub scatter: f64,
    /// Whether taps are moved onto the edges near them.
    pub on_edges: bool,
    pub height: Option<Quantity>,
    pub other_height: Option<Quantity>,
    /// The corners of a card; none where a sheet gives the scale.
    pub card: Vec<[f64; 2]>,
    /// The check distances across and down the sheet, as they were measured on the print.
    pub printed: [Option<Quantity>; 2],
}

impl Asked {
    /// What the record keeps of a measurement.
    ///
    /// # Errors
    /// Words for what is missing.
    pub(crate) fn of(kept: &PhotoMeasurement) -> Result<Self, String> {
        let scatter = kept.scatter.text().and_then(|text| text.trim_end_matches("px").trim().parse().ok());
        Ok(Self {
            measure: kept.measure.known().ok_or("`measure` is missing")?,
            taps: places(kept.taps.list())?,
            scatter: scatter.ok_or("`scatter` is missing, such as \"2 px\"")?,
            on_edges: kept.on_edges.yes() != Some(false),
            height: kept.height.quantity().cloned(),
            other_height: kept.other_height.quantity().cloned(),
            card: places(kept.card.list())?,
            printed: [&kept.print_across, &kept.print_down].map(|length| length.quantity().cloned()),
        })
    }

    /// What gives the scale.
    ///
    /// # Errors
    /// When a card has not four corners, or a check distance is no range.
    pub(crate) fn reference(&self) -> Result<Reference, String> {
        let [across, down] = &self.printed;
        match &self.card[..] {
            [] => Ok(Reference::Sheet {
                measured: [
                    across.as_ref().map(between).transpose()?,
                    down.as_ref().map(between).transpose()?,
                ],
            }),
            [a, b, c, d] => Ok(Reference::Card([*a, *b, *c, *d])),
            other => Err(format!("a card has four corners; {} were given", other.len())),
        }
    }

    /// What is to be measured.
    ///
    /// # Errors
    /// When the height is missing or no range, the scatter makes no sense, or the number of taps does not fit.
    pub(crate) fn wanted(&self) -> Result<Wanted, String> {
        let height = self.height.as_ref().ok_or(
            "how high do the edges lie above the sheet? Say \"0 mm\" where they lie on it, or a range such as \"10 to 12 mm\"",
        )?;
        if !(0.0..=100.0).contains(&self.scatter) {
            return Err("the scatter of a tap lies between 0 and 100 pixels".to_owned());
        }
        let ((least, most), given) = (self.measure.taps(), self.taps.len());
        if !(least..=most).contains(&given) {
            let kind = self.measure.word();
            return Err(format!("{kind} needs {least} to {most} taps, {given} were given"));
        }
        Ok(Wanted {
            kind: self.measure,
            taps: self.taps.clone(),
            height: between(height)?,
            other_height: self.other_height.as_ref().map(between).transpose()?,
            scatter: self.scatter,
            snap: self.on_edges,
        })
    }

    /// The keys of `[[photo.measurement]]` with their values as typed.
    fn keys(&self) -> Vec<(&'static str, String)> {
        let reference = if self.card.is_empty() { ScaleReference::Sheet } else { ScaleReference::Card };
        let lengths = [
            ("height", &self.height),
            ("other_height", &self.other_height),
            ("print_across", &self.printed[0]),
            ("print_down", &self.printed[1]),
        ];
        let mut keys = vec![
            ("measure", self.measure.word().to_owned()),
            ("taps", pixels(&self.taps)),
            ("scatter", format!("{} px", self.scatter)),
            ("on_edges", if self.on_edges { "yes" } else { "no" }.to_owned()),
            ("reference", reference.word().to_owned()),
        ];
        if !self.card.is_empty() {
            keys.push(("card", pixels(&self.card)));
        }
        keys.extend(
            lengths.into_iter().filter_map(|(key, length)| Some((key, length.as_ref()?.text.clone()))),
        );
        keys
    }
}

fn pixels(places: &[[f64; 2]]) -> String {
    places.iter().map(|[x, y]| format!("{x} {y}")).collect::<Vec<_>>().join(", ")
}

fn places(list: &[String]) -> Result<Vec<[f64; 2]>, String> {
    list.iter().map(|place| pixel(place, ' ')).collect()
}

/// A place on a picture, in pixels: two numbers with a mark between.
///
/// # Errors
/// When it is none.
pub(crate) fn pixel(text: &str, between: char) -> Result<[f64; 2], String> {
    let number = |text: &str| text.trim().parse::<f64>().ok().filter(|n| n.is_finite() && n.abs() < 1e6);
    let pair = text.trim().split_once(between).and_then(|(x, y)| Some([number(x)?, number(y)?]));
    pair.ok_or_else(|| format!("this is no place on a picture; write for example 812{between}440"))
}

/// Reads a length; nothing where nothing was typed.
///
/// # Errors
/// When it is none.
pub(crate) fn length(text: &str) -> Result<Option<Quantity>, String> {
    if text.trim().is_empty() {
        return Ok(None);
    }
    let example = "write for example 0 mm or 10 to 12 mm";
    let read = parse(text).map_err(|error| format!("`{}`: {}; {example}", text.trim(), error.message))?;
    if read.dimension != Dimension::LENGTH {
        return Err(format!("`{}` is {}; {example}", text.trim(), read.dimension.name()));
    }
    Ok(Some(read))
}

/// A length as a range, millimetres; one without ± is taken to within half of a millimetre.
fn between(length: &Quantity) -> Result<Between, String> {
    if length.bound.is_some() {
        return Err(format!("`{}` has one end only; say both, such as 10 to 12 mm", length.text));
    }
    let (middle, half) = (length.value * 1000.0, length.expanded.map_or(0.5, |expanded| expanded * 1000.0));
    Ok(Between { low: middle - half, high: middle + half })
}

/// A measured length as people write it.
pub(crate) fn shown(length: &Length) -> String {
    show_uncertain(length.value / 1000.0, length.expanded / 1000.0, Dimension::LENGTH)
}

/// Writes a measurement and the value that it gives; a photo from elsewhere is copied into the folder first. What stands
/// there already is not written twice.
///
/// # Errors
/// [`FillError`], such as a field that holds no length or a photo that is another one now; then nothing was written.
pub(crate) fn keep(
    session: &FillSession,
    (photo, digest): (&str, Sha256Digest),
    shows: &str,
    (asked, value): (&Asked, &str),
    field: impl FnOnce(&Sight) -> Result<Place, FillError>,
) -> Result<Saved, FillError> {
    let kept = take_file(&session.folder, photo, shows).map_err(FillError::Words)?;
    if kept.digest != digest {
        return Err(FillError::Words(format!("{} is not the photo that was measured", kept.name)));
    }
    session.edit(|sight| {
        let place = field(sight)?;
        let mut edits = listed(&sight.record, &kept, "")?;
        let file = format!("photos/{}", kept.name);
        let photos = &sight.record.photo;
        let known = photos.iter().position(|photo| photo.file.text() == Some(&file));
        let mut fields = vec![("of".to_owned(), place.to_string())];
        fields.extend(asked.keys().into_iter().map(|(key, value)| (key.to_owned(), value)));
        fields.push(("value".to_owned(), value.to_owned()));
        let there = known.and_then(|index| photos.get(index)).is_some_and(|photo| {
            photo.measurement.iter().any(|one| {
                one.of.text() == Some(&place.to_string())
                    && one.value.quantity().is_some_and(|known| known.text == value)
                    && one.taps.list().join(", ") == pixels(&asked.taps)
            })
        });
        if !there {
            let list = Place::keys("photo").at(known.unwrap_or(photos.len())).then("measurement");
            edits.push(Edit::Append { list, at: usize::MAX, fields });
        }
        let answer = Entered {
            value: Some(value.to_owned()),
            how: Some(How::Measured.word().to_owned()),
            photos: vec![kept.name.clone()],
            ..Entered::default()
        };
        let said = format!("{place}: {value}");
        edits.push(Edit::Set { place, answer });
        Ok((edits, said))
    })
}

/// `positive-bar.length` is a field of the element with that id.
///
/// # Errors
/// When there is no such field.
pub(crate) fn place_of(record: &Record, field: &str) -> Result<Place, FillError> {
    let wrong = |error: crate::record::edit::NoSuchPlace| FillError::Words(error.to_string());
    if let Some((id, rest)) = field.split_once('.')
        && record.path.element.iter().any(|element| element.id.text() == Some(id))
    {
        return format!("path.element[id={id}].{rest}").parse().map_err(wrong);
    }
    field.parse().map_err(wrong)
}
