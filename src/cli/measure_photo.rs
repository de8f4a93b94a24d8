//! `measure-photo`: lengths from a photo in which a scale sheet or a plastic card lies beside the part.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::str::FromStr;

use serde::Serialize;

use super::calc::arg;
use super::{Done, Failure, Format, House, words};
use crate::evidence::name::safe_relative;
use crate::evidence::scale::measure::Length;
use crate::evidence::scale::photo::Photo;
use crate::fill::FillSession;
use crate::fill::measured::{Asked, Measured, SCATTER, keep, pixel, place_of, shown, with_side};
use crate::judge::inspection::record_text;
use crate::record::parts::{Measure, MeasuredSide, PhotoMeasurement, RecordPhoto};
use crate::units::terminal;
use crate::units::words::{columns, count};
use crate::units::{Dimension, Quantity};

#[derive(Debug, clap::Args)]
#[command(after_help = "\
Without --tap it says what it finds: the codes, how many corners, the tilt. Taps are pixels of the upright picture, from its \
left and top edge, as a viewer of pictures shows them. A length takes two taps; a width two taps along one edge and one or \
two on the other; a diameter three or more on the rim; an overlap two on the end of each part.\n\n\
Say how high the edge lies above the sheet (or card): a part of 20 mm looks larger by a twentieth from 400 mm away.\n\n\
Examples:\n  underlid measure-photo photos/04-bar.jpg\n  underlid measure-photo photos/04-bar.jpg --tap 812,440 --tap 1650,448 --height \"10 to 12 mm\" \
--printed \"129.6 mm ± 0.3 mm\" --printed \"199.5 mm ± 0.3 mm\"")]
pub(super) struct MeasurePhoto {
    /// The photo; with --again an inspection folder
    photo: PathBuf,
    /// Put the length into the record of this inspection folder, with the taps and the photo
    #[arg(long, value_name = "FOLDER", requires = "field")]
    into: Option<PathBuf>,
    /// The field that it goes into, such as main-bar.length or cells.vent_clearance
    #[arg(long = "as", value_name = "FIELD", requires = "into")]
    field: Option<String>,
    /// Which side it is of a section, an overlap or a size: length, width, thickness or height
    #[arg(long, value_parser = side, requires = "field")]
    side: Option<MeasuredSide>,
    /// The other side, where the record does not hold it yet, such as "3 mm ± 0.1 mm"
    #[arg(long, value_name = "LENGTH", requires = "side")]
    other_side: Vec<String>,
    /// Measure everything again that the record of an inspection folder keeps
    #[arg(long, conflicts_with_all = ["into", "taps", "card"])]
    again: bool,
    /// What is measured: length, width, diameter or overlap
    #[arg(long, default_value = "length", value_parser = measure)]
    measure: Measure,
    /// A tap, such as 812,440; given once for each
    #[arg(long = "tap", value_name = "X,Y", allow_hyphen_values = true)]
    taps: Vec<Pixel>,
    /// Height of the edges above the sheet or card, such as "10 to 12 mm"
    #[arg(long, value_name = "LENGTH", value_parser = arg::of(Dimension::LENGTH))]
    height: Option<Quantity>,
    /// Height of the second edge, where it has another one
    #[arg(long, value_name = "LENGTH", value_parser = arg::of(Dimension::LENGTH))]
    other_height: Option<Quantity>,
    /// Another photo of the same, taken from another side with sheet and part as they lie: with --corner it gives the height
    #[arg(long, value_name = "FILE", requires = "corner", conflicts_with = "height")]
    second_photo: Option<PathBuf>,
    /// A point at the height of the edges, first in the photo, then the same point in the second one
    #[arg(long, value_name = "X,Y", allow_hyphen_values = true, requires = "second_photo")]
    corner: Vec<Pixel>,
    /// The rulers of the print as you measured them, first across, then down, such as "129.6 mm ± 0.3 mm"
    #[arg(long, value_name = "LENGTH", value_parser = arg::of(Dimension::LENGTH))]
    printed: Vec<Quantity>,
    /// A corner of a plastic card (ISO/IEC 7810 ID-1) where its straight edges would meet; four, the first two along a long side
    #[arg(long = "card", value_name = "X,Y", allow_hyphen_values = true)]
    card: Vec<Pixel>,
    /// Standard deviation of a tap in pixels
    #[arg(long, value_name = "PIXELS", default_value_t = SCATTER)]
    scatter: f64,
    /// Take the taps as they are, do not move them onto the edges near them
    #[arg(long)]
    as_tapped: bool,
    /// How to print
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
    #[command(flatten)]
    house: House,
}

fn measure(text: &str) -> Result<Measure, String> {
    Measure::from_word(text).ok_or_else(|| "write length, width, diameter or overlap".to_owned())
}

fn side(text: &str) -> Result<MeasuredSide, String> {
    MeasuredSide::from_word(text).ok_or_else(|| "write length, width, thickness or height".to_owned())
}

/// A place on a picture.
#[derive(Debug, Clone, Copy)]
struct Pixel([f64; 2]);

impl FromStr for Pixel {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        pixel(text, ',').map(Self)
    }
}

/// What `measure-photo --format json` prints. Lengths are in millimetres.
#[derive(Debug, Serialize, schemars::JsonSchema)]
pub(super) struct PhotoMeasured {
    /// Version of this shape.
    schema: u32,
    /// SHA-256 of the photo.
    #[schemars(with = "String")]
    sha256: crate::evidence::hash::Sha256Digest,
    /// What gave the scale: a sheet by its word, or `card`.
    reference: &'static str,
    /// Corners (of a card: points of its edges) that were used.
    corners: usize,
    /// Root mean square of what they are off, pixels.
    off: f64,
    /// Angle between the look and the upright on the sheet, degrees.
    tilt: f64,
    /// How far the camera stood above the sheet.
    distance: f64,
    /// Whether the scale of the print is known.
    scale_known: bool,
    #[serde(skip)]
    scale: Vec<String>,
    /// Height of the edges above the sheet as two photos give it, with its uncertainty.
    #[serde(skip_serializing_if = "Option::is_none")]
    height: Option<String>,
    /// The length, where there are taps.
    #[serde(skip_serializing_if = "Option::is_none")]
    length: Option<Length>,
    /// Where the taps were taken to be, pixels.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    taps: Vec<[f64; 2]>,
    /// What other codes in the picture say, to be looked at before it is used: `underlid decode` reads cell codes.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    other_codes: Vec<String>,
}

impl MeasurePhoto {
    pub(super) fn run(&self) -> Result<Done, Failure> {
        if self.again {
            return self.measure_again();
        }
        let mut asked = self.asked()?;
        let reference = asked.reference().map_err(Failure::Words)?;
        let wanted = |asked: &Asked| {
            (!asked.taps.is_empty()).then(|| asked.wanted().map_err(Failure::Words)).transpose()
        };
        // What is missing is told before a picture is looked at.
        if asked.corner.is_none() {
            wanted(&asked)?;
        }
        let photo = Photo::open(&self.photo).map_err(words)?;
        let scaled = match photo.scaled(&reference) {
            Ok(scaled) => scaled,
            Err(error) => {
                // Codes on labels are told all the same.
                self.tell_codes(&photo.other_codes())?;
                return Err(words(error));
            }
        };
        if let Some(second) = &self.second_photo {
            asked.find_height(&scaled, &Photo::open(second).map_err(words)?).map_err(Failure::Words)?;
        }
        let measured = match wanted(&asked)? {
            Some(wanted) => Some(scaled.length(&wanted).map_err(words)?),
            None => None,
        };
        let (corners, off, tilt, distance) = scaled.told();
        let (length, taps) = measured.map_or((None, Vec::new()), |(length, taps)| (Some(length), taps));
        let told = PhotoMeasured {
            schema: 1,
            sha256: photo.digest,
            reference: scaled.name,
            corners,
            off,
            tilt,
            distance,
            scale_known: scaled.measured,
            scale: scaled.words(),
            height: asked.corner.as_ref().and(asked.height.as_ref()).map(|height| height.text.clone()),
            length,
            taps,
            other_codes: photo.other_codes().into_iter().map(str::to_owned).collect(),
        };
        match self.format {
            Format::Json => terminal::out().write_all(super::json(&told)?.as_bytes())?,
            Format::Text => self.text(&told)?,
        }
        if let (Some(folder), Some(field)) = (&self.into, &self.field) {
            let Some(length) = &told.length else {
                return Err(Failure::Words("there is nothing to keep without --tap".to_owned()));
            };
            let session = FillSession::open(folder, &self.house.of()?, &[], None)?;
            let (photo, value) = (self.photo.display().to_string(), shown(length));
            let shows = field.split('.').next().unwrap_or_default();
            let measured = Measured { photo: &photo, digest: told.sha256, asked: &asked, value: &value };
            let kept = keep(&session, shows, &[measured], |sight| {
                let place = place_of(&sight.record, field)?;
                let whole = match self.side {
                    Some(side) => with_side(&sight.record, &place, (side, &value), &self.other_side)?,
                    None => value.clone(),
                };
                Ok((place, whole))
            })?;
            writeln!(terminal::err(), "kept: {}", kept.said)?;
        }
        Ok(Done::Well)
    }

    fn measure_again(&self) -> Result<Done, Failure> {
        let (folder, file, text) = record_text(&self.photo)?;
        let record = crate::record::read(&file.display().to_string(), &text)?;
        let mut out = terminal::out();
        let (mut number, mut differ) = (0, 0);
        for photo in &record.photo {
            for measurement in &photo.measurement {
                number += 1;
                let of = measurement.of.text().unwrap_or_default();
                let kept = measurement.value.quantity().map(|value| value.text.as_str()).unwrap_or_default();
                let told = match again(&folder, photo, measurement) {
                    Ok(length) if shown(&length) == kept => format!("{kept}, the same again"),
                    Ok(length) => {
                        differ += 1;
                        format!("{kept} in the record, {} measured again", shown(&length))
                    }
                    Err(why) => {
                        differ += 1;
                        format!("{kept} in the record; not measured again: {why}")
                    }
                };
                writeln!(out, "{of} in {}: {told}", photo.file.text().unwrap_or_default())?;
            }
        }
        writeln!(out, "{}, {differ} not the same again", count(number, "measurement", "measurements"))?;
        Ok(if differ == 0 { Done::Well } else { Done::FallsShort })
    }

    fn asked(&self) -> Result<Asked, Failure> {
        if self.printed.len() > 2 {
            return Err(Failure::Words(
                "--printed is given for the two rulers: across, then down".to_owned(),
            ));
        }
        let pixels = |places: &[Pixel]| places.iter().map(|place| place.0).collect();
        let corner = match (&self.second_photo, &self.corner[..]) {
            (None, _) => None,
            (Some(photo), [here, there]) => Some((photo.display().to_string(), [here.0, there.0])),
            _ => {
                return Err(Failure::Words(
                    "--corner is given for both photos: this one, then the second".to_owned(),
                ));
            }
        };
        Ok(Asked {
            side: self.side,
            corner,
            measure: self.measure,
            taps: pixels(&self.taps),
            scatter: self.scatter,
            on_edges: !self.as_tapped,
            height: self.height.clone(),
            other_height: self.other_height.clone(),
            card: pixels(&self.card),
            printed: [0, 1].map(|axis| self.printed.get(axis).cloned()),
        })
    }

    fn tell_codes(&self, codes: &[&str]) -> Result<(), Failure> {
        if self.format == Format::Text {
            let mut out = terminal::out();
            for code in codes {
                writeln!(out, "a code says: {code}")?;
            }
        }
        Ok(())
    }

    fn text(&self, told: &PhotoMeasured) -> Result<(), Failure> {
        let mut out = terminal::out();
        if let Some(height) = &told.height {
            writeln!(out, "height above the sheet, from both photos: {height}")?;
        }
        if let Some(length) = &told.length {
            writeln!(out, "{}: {} (k = 2)", self.measure.word(), shown(length))?;
            let rows: Vec<Vec<String>> = length
                .budget
                .iter()
                .map(|part| vec![format!("  {}", part.from), format!("{:.3} mm", part.standard)])
                .collect();
            for line in columns(&rows) {
                writeln!(out, "{line}")?;
            }
        }
        for line in &told.scale {
            writeln!(out, "{line}")?;
        }
        writeln!(out, "SHA-256 of the photo: {}", told.sha256)?;
        drop(out);
        self.tell_codes(&told.other_codes.iter().map(String::as_str).collect::<Vec<_>>())
    }
}

/// Measures again what the record keeps.
fn again(folder: &Path, photo: &RecordPhoto, kept: &PhotoMeasurement) -> Result<Length, String> {
    let file = photo.file.text().unwrap_or_default();
    let picture = Photo::open(&safe_relative(folder, file).map_err(|error| error.to_string())?)
        .map_err(|error| error.to_string())?;
    if photo.sha256.text().is_none_or(|sha256| sha256 != picture.digest.to_string()) {
        return Err("the photo is not the one that was measured".to_owned());
    }
    let mut asked = Asked::of(kept)?;
    let scaled = picture.scaled(&asked.reference()?).map_err(|error| error.to_string())?;
    if let Some((second, _)) = &asked.corner {
        let path = safe_relative(folder, second).map_err(|error| error.to_string())?;
        asked.find_height(&scaled, &Photo::open(&path).map_err(|error| error.to_string())?)?;
    }
    let wanted = asked.wanted()?;
    scaled.length(&wanted).map(|(length, _)| length).map_err(|error| error.to_string())
}
