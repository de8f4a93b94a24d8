//! `measure-photo`: lengths from a photo in which a scale sheet or a plastic card lies beside the part.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::str::FromStr;

use serde::Serialize;

use super::calc::arg;
use super::{Done, Failure, Format, House, words};
use crate::evidence::name::safe_relative;
use crate::evidence::scale::measure::{Between, Length};
use crate::evidence::scale::photo::{Photo, Reference, Wanted};
use crate::fill::FillSession;
use crate::fill::measured::{Measurement, keep};
use crate::judge::inspection::record_text;
use crate::record::parts::{Measure, PhotoMeasurement, RecordPhoto, ScaleReference};
use crate::units::terminal;
use crate::units::words::{columns, count};
use crate::units::{Dimension, Quantity, show_uncertain};

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
    /// The rulers of the print as you measured them, first across, then down, such as "129.6 mm ± 0.3 mm"
    #[arg(long, value_name = "LENGTH", value_parser = arg::of(Dimension::LENGTH))]
    printed: Vec<Quantity>,
    /// A corner of a plastic card (ISO/IEC 7810 ID-1) where its straight edges would meet; four, the first two along a long side
    #[arg(long = "card", value_name = "X,Y", allow_hyphen_values = true)]
    card: Vec<Pixel>,
    /// Standard deviation of a tap in pixels
    #[arg(long, value_name = "PIXELS", default_value = "2")]
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

/// A place on a picture.
#[derive(Debug, Clone, Copy)]
struct Pixel([f64; 2]);

impl FromStr for Pixel {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let number = |text: &str| text.trim().parse::<f64>().ok().filter(|n| n.is_finite() && n.abs() < 1e6);
        let pair = text.split_once(',').and_then(|(x, y)| Some([number(x)?, number(y)?]));
        pair.map(Self).ok_or_else(|| "this is no place on a picture; write for example 812,440".to_owned())
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
        let (reference, wanted) = (self.reference()?, self.wanted()?);
        let photo = Photo::open(&self.photo).map_err(words)?;
        let scaled = match photo.scaled(&reference) {
            Ok(scaled) => scaled,
            Err(error) => {
                // Codes on labels are told all the same.
                self.tell_codes(&photo.other_codes())?;
                return Err(words(error));
            }
        };
        let measured = match wanted {
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
            let kept = keep(&session, &self.photo.display().to_string(), field, &self.kept(length))?;
            writeln!(terminal::err(), "kept: {}", kept.said)?;
        }
        Ok(Done::Well)
    }

    /// The keys of the record from which the length can be measured again.
    fn kept(&self, length: &Length) -> Measurement {
        let pixels = |places: &[Pixel]| {
            places.iter().map(|place| format!("{} {}", place.0[0], place.0[1])).collect::<Vec<_>>().join(", ")
        };
        let reference = if self.card.is_empty() { ScaleReference::Sheet } else { ScaleReference::Card };
        let mut keys = vec![
            ("measure", self.measure.word().to_owned()),
            ("taps", pixels(&self.taps)),
            ("scatter", format!("{} px", self.scatter)),
            ("on_edges", if self.as_tapped { "no" } else { "yes" }.to_owned()),
        ];
        keys.extend(self.height.iter().map(|height| ("height", height.text.clone())));
        keys.extend(self.other_height.iter().map(|height| ("other_height", height.text.clone())));
        keys.push(("reference", reference.word().to_owned()));
        if !self.card.is_empty() {
            keys.push(("card", pixels(&self.card)));
        }
        keys.extend(
            ["print_across", "print_down"]
                .into_iter()
                .zip(&self.printed)
                .map(|(key, length)| (key, length.text.clone())),
        );
        Measurement { value: shown(length), keys }
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

    fn reference(&self) -> Result<Reference, Failure> {
        match &self.card[..] {
            [] => {
                if self.printed.len() > 2 {
                    return Err(Failure::Words(
                        "--printed is given for the two rulers: across, then down".to_owned(),
                    ));
                }
                let measured = [0, 1].map(|axis| self.printed.get(axis).map(|length| between(length, 0.5)));
                Ok(Reference::Sheet { measured })
            }
            [a, b, c, d] => Ok(Reference::Card([a.0, b.0, c.0, d.0])),
            other => Err(Failure::Words(format!(
                "a card has four corners; {} were given with --card",
                other.len()
            ))),
        }
    }

    fn wanted(&self) -> Result<Option<Wanted>, Failure> {
        if self.taps.is_empty() {
            return Ok(None);
        }
        let Some(height) = &self.height else {
            return Err(Failure::Words(
                "how high do the edges lie above the sheet? Say --height \"0 mm\" where they lie on it, or a range such as \
                 --height \"10 to 12 mm\""
                    .to_owned(),
            ));
        };
        if !(0.0..=100.0).contains(&self.scatter) {
            return Err(Failure::Words("--scatter lies between 0 and 100 pixels".to_owned()));
        }
        Ok(Some(Wanted {
            kind: self.measure,
            taps: self.taps.iter().map(|tap| tap.0).collect(),
            height: between(height, 0.5),
            other_height: self.other_height.as_ref().map(|height| between(height, 0.5)),
            scatter: self.scatter,
            snap: !self.as_tapped,
        }))
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
        writeln!(
            out,
            "scale from {}: {}, {:.2} pixels off; camera {:.0} mm away, {:.0}° from the upright",
            told.reference,
            count(told.corners, "corner", "corners"),
            told.off,
            told.distance,
            told.tilt
        )?;
        if !told.scale_known {
            writeln!(
                out,
                "the scale of the print is not known: measure both rulers of the print and give them with --printed"
            )?;
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
    let places = |list: &[String]| {
        list.iter()
            .map(|place| place.replacen(' ', ",", 1).parse().map(|Pixel(at)| at))
            .collect::<Result<Vec<_>, String>>()
    };
    let reference = match kept.reference.known() {
        Some(ScaleReference::Card) => {
            let card = places(kept.card.list())?;
            Reference::Card(card.try_into().map_err(|_| "`card` has not four corners".to_owned())?)
        }
        _ => {
            let measured = [&kept.print_across, &kept.print_down];
            Reference::Sheet {
                measured: measured.map(|length| length.quantity().map(|length| between(length, 0.5))),
            }
        }
    };
    let number = |text: &str| {
        text.trim_end_matches("px").trim().parse::<f64>().ok().filter(|n| (0.0..=100.0).contains(n))
    };
    let wanted = Wanted {
        kind: kept.measure.known().ok_or("`measure` is missing")?,
        taps: places(kept.taps.list())?,
        height: kept.height.quantity().map(|height| between(height, 0.5)).ok_or("`height` is missing")?,
        other_height: kept.other_height.quantity().map(|height| between(height, 0.5)),
        scatter: kept.scatter.text().and_then(number).ok_or("`scatter` is missing, such as \"2 px\"")?,
        snap: kept.on_edges.yes() != Some(false),
    };
    let scaled = picture.scaled(&reference).map_err(|error| error.to_string())?;
    scaled.length(&wanted).map(|(length, _)| length).map_err(|error| error.to_string())
}

/// A measured length as people write it.
fn shown(length: &Length) -> String {
    show_uncertain(length.value / 1000.0, length.expanded / 1000.0, Dimension::LENGTH)
}

/// A length as a range, millimetres; one without ± is taken to within half of a part.
fn between(length: &Quantity, half: f64) -> Between {
    let middle = length.value * 1000.0;
    let half = length.expanded.map_or(half, |expanded| expanded * 1000.0);
    Between { low: middle - half, high: middle + half }
}
