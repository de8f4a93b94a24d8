//! A length that is measured in a photo: what was asked, as the command line, the page and the record say it, and how it goes
//! into the record with all that is needed to measure it again.

use super::FillSession;
use super::photo::{listed, take_file};
use super::sight::{FillError, Saved, Sight};
use crate::evidence::hash::Sha256Digest;
use crate::evidence::scale::measure::{Between, Length};
use crate::evidence::scale::photo::{Photo, Reference, Scaled, Wanted};
use crate::judge::facts::field_info;
use crate::record::Record;
use crate::record::edit::{Edit, Entered, Place};
use crate::record::field::{Found, How};
use crate::record::part::FieldInfo;
use crate::record::parts::{Measure, MeasuredSide, PhotoMeasurement, ScaleReference};
use crate::units::{Dimension, Quantity, parse, show, show_uncertain};

/// Standard deviation of a tap, pixels, where nothing else is said.
pub(crate) const SCATTER: f64 = 2.0;

/// What is measured in a photo, and by what. Places are in pixels of the upright picture.
#[derive(Debug, Clone)]
pub(crate) struct Asked {
    /// Which side it is of a field that holds several.
    pub side: Option<MeasuredSide>,
    pub measure: Measure,
    pub taps: Vec<[f64; 2]>,
    /// Standard deviation of a tap.
    pub scatter: f64,
    /// Whether taps are moved onto the edges near them.
    pub on_edges: bool,
    pub height: Option<Quantity>,
    pub other_height: Option<Quantity>,
    /// A photo from another side, and a point at the height of the edges that is tapped in this photo and in that one.
    pub corner: Option<(String, [[f64; 2]; 2])>,
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
        let corner = match &places(kept.height_taps.list())?[..] {
            [here, there] => kept.height_photo.text().map(|photo| (photo.to_owned(), [*here, *there])),
            _ => None,
        };
        let scatter = kept.scatter.text().and_then(|text| text.trim_end_matches("px").trim().parse().ok());
        Ok(Self {
            side: kept.side.known(),
            corner,
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

    /// Finds the height of the edges from the other photo, where there is one.
    ///
    /// # Errors
    /// Words for why it cannot be found.
    pub(crate) fn find_height(&mut self, here: &Scaled<'_>, other: &Photo) -> Result<(), String> {
        let Some((_, [tap, there])) = self.corner else { return Ok(()) };
        if !self.card.is_empty() {
            return Err("the height from a second photo needs the printed sheet in both".to_owned());
        }
        let scaled = other.scaled(&self.reference()?).map_err(|error| format!("second photo: {error}"))?;
        let height = here.height(tap, &scaled, there, self.scatter).map_err(|error| error.to_string())?;
        self.height = length(&shown(&height))?;
        Ok(())
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

    /// The keys of `[[photo.measurement]]` with their values as typed; `second` is where the photo for the height lies now.
    fn keys(&self, second: Option<String>) -> Vec<(&'static str, String)> {
        let reference = if self.card.is_empty() { ScaleReference::Sheet } else { ScaleReference::Card };
        let lengths = [
            ("height", &self.height),
            ("other_height", &self.other_height),
            ("print_across", &self.printed[0]),
            ("print_down", &self.printed[1]),
        ];
        let mut keys: Vec<_> = self.side.map(|side| ("side", side.word().to_owned())).into_iter().collect();
        keys.extend([
            ("measure", self.measure.word().to_owned()),
            ("taps", pixels(&self.taps)),
            ("scatter", format!("{} px", self.scatter)),
            ("on_edges", if self.on_edges { "yes" } else { "no" }.to_owned()),
            ("reference", reference.word().to_owned()),
        ]);
        if let Some(((_, taps), photo)) = self.corner.as_ref().zip(second) {
            keys.extend([("height_photo", photo), ("height_taps", pixels(taps))]);
        }
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

/// The sides of a section or a size, each as a person writes it.
pub(crate) fn sides(found: &Found) -> Vec<String> {
    let side = |side: &Quantity| match side.expanded {
        Some(expanded) => show_uncertain(side.value, expanded, Dimension::LENGTH),
        None => show(side.value, Dimension::LENGTH),
    };
    found.value().map(|value| value.sides().iter().map(side).collect()).unwrap_or_default()
}

/// A length that was measured.
#[derive(Debug)]
pub(crate) struct Measured<'a> {
    pub photo: &'a str,
    pub digest: Sha256Digest,
    pub asked: &'a Asked,
    pub value: &'a str,
}

/// Writes measurements and the value that they give; a photo from elsewhere is copied into the folder first. What stands
/// there already is not written twice. `field` says which field takes which value.
///
/// # Errors
/// [`FillError`], such as a field that holds no length or a photo that is another one now; then nothing was written.
pub(crate) fn keep(
    session: &FillSession,
    shows: &str,
    measured: &[Measured<'_>],
    field: impl FnOnce(&Sight) -> Result<(Place, String), FillError>,
) -> Result<Saved, FillError> {
    let mut kept = Vec::new();
    for one in measured {
        let photo = take_file(&session.folder, one.photo, shows).map_err(FillError::Words)?;
        if photo.digest != one.digest {
            return Err(FillError::Words(format!("{} is not the photo that was measured", photo.name)));
        }
        let second = one.asked.corner.as_ref().map(|(second, _)| take_file(&session.folder, second, shows));
        kept.push((photo, second.transpose().map_err(FillError::Words)?, one));
    }
    session.edit(|sight| {
        let (place, whole) = field(sight)?;
        let place = place.by_id(&sight.record);
        let photos = &sight.record.photo;
        let (mut edits, mut names): (_, Vec<String>) = (Vec::new(), Vec::new());
        for (kept, second, Measured { asked, value, .. }) in &kept {
            let file = format!("photos/{}", kept.name);
            let known = photos.iter().position(|photo| photo.file.text() == Some(&file));
            for photo in [Some(kept), second.as_ref()].into_iter().flatten() {
                if !names.contains(&photo.name) {
                    edits.extend(listed(&sight.record, photo, "")?);
                    names.push(photo.name.clone());
                }
            }
            let mut fields = vec![("of".to_owned(), place.to_string())];
            let second = second.as_ref().map(|second| format!("photos/{}", second.name));
            fields.extend(asked.keys(second).into_iter().map(|(key, value)| (key.to_owned(), value)));
            fields.push(("value".to_owned(), (*value).to_owned()));
            let there = known.and_then(|index| photos.get(index)).is_some_and(|photo| {
                photo.measurement.iter().any(|one| {
                    one.of.text() == Some(&place.to_string())
                        && one.value.quantity().is_some_and(|known| known.text == *value)
                        && one.taps.list().join(", ") == pixels(&asked.taps)
                })
            });
            if !there {
                let list = Place::keys("photo").at(known.unwrap_or(photos.len())).then("measurement");
                edits.push(Edit::Append { list, at: usize::MAX, fields });
            }
        }
        let said = format!("{place}: {whole}");
        let answer = Entered {
            value: Some(whole),
            how: Some(How::Measured.word().to_owned()),
            photos: names,
            ..Entered::default()
        };
        edits.push(Edit::Set { place, answer });
        Ok((edits, said))
    })
}

/// A field of a record, with what it holds when one of its sides was measured and the others are known.
///
/// # Errors
/// When the field has no sides, or another side is neither given nor recorded.
pub(crate) fn with_side(
    record: &Record,
    place: &Place,
    (side, value): (MeasuredSide, &str),
    others: &[String],
) -> Result<String, FillError> {
    let (part, name) = place.owner();
    let part = part.parts(record).into_iter().next();
    let info = part.and_then(|part| part.shape().fields.iter().find(|field| field.name == name));
    let names = info.map_or(&[][..], FieldInfo::sides);
    let Some(at) = names.iter().position(|name| *name == side.word()) else {
        let expected = if names.is_empty() { "it has no sides".to_owned() } else { names.join(", ") };
        return Err(FillError::Words(format!("`{place}` has no side `{}`: {expected}", side.word())));
    };
    let mut known = part.and_then(|part| part.field(name)).map(sides).unwrap_or_default();
    if known.len() != names.len() || !others.is_empty() {
        known = others.to_vec();
        known.insert(at.min(known.len()), String::new());
    }
    if known.len() != names.len() {
        return Err(FillError::Words(format!(
            "`{place}` holds {}: say the other side too, such as --other-side \"3 mm\"",
            names.join(" and ")
        )));
    }
    value.clone_into(&mut known[at]);
    Ok(known.join(" x "))
}

/// `positive-bar.length` is a field of the element with that id.
///
/// # Errors
/// When there is no such field.
pub(crate) fn place_of(record: &Record, field: &str) -> Result<Place, FillError> {
    let wrong = |error: crate::record::edit::NoSuchPlace| FillError::Words(error.to_string());
    // `cells.vent_clearance` is the cells', although the stack may be called `cells`.
    if let Some((id, rest)) = field.split_once('.')
        && field_info(field).is_none()
        && record.path.element.iter().any(|element| element.id.text() == Some(id))
    {
        return format!("path.element[id={id}].{rest}").parse().map_err(wrong);
    }
    field.parse().map_err(wrong)
}
