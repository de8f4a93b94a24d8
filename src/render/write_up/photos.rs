//! The photos of the write-up: hash of the original, a copy fit to publish, and whether the evidence still matches.

use std::collections::BTreeMap;

use base64::Engine;
use image::DynamicImage;
use rayon::prelude::*;
use serde::Serialize;

use crate::evidence::hash::{Sha256Digest, hash_file};
use crate::evidence::name::safe_relative;
use crate::evidence::picture::{self, DerivedPicture, PictureError, PictureOptions};
use crate::judge::inspection::Inspection;
use crate::record::area::{self, Area};
use crate::record::parts::{Measure, RecordPhoto};
use crate::record::{Found, Record, State};
use crate::render::draw::pointers::{Spot, measured as draw_measured, pointers as draw_pointers};

/// Longest edge of a derived picture, pixels: readable on a desktop, small enough for a phone.
const LONGEST_EDGE: u32 = 1200;
/// JPEG quality of a derived picture.
const QUALITY: u8 = 78;
/// A photo of the write-up.
#[derive(Debug, Clone, Default, Serialize)]
pub struct PhotoView {
    /// File name under the inspection folder, as written in the record.
    pub file: String,
    /// Its last part, by which findings name it.
    pub name: String,
    /// Its number in the write-up, from 1.
    pub number: usize,
    /// Caption.
    pub caption: String,
    /// Parts it shows.
    pub shows: Vec<String>,
    /// What it proves.
    pub proves: String,
    /// What its numbered pointers point to, in their order.
    pub pointers: Vec<PointerView>,
    /// What was measured in it, a line each.
    pub measured: Vec<String>,
    /// The pointers and what was measured as a drawing in the pixels of the derived picture; empty without any.
    pub marks: String,
    /// Areas of it that are blacked out in the copy.
    pub blacked_out: usize,
    /// SHA-256 of the original.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sha256: Option<String>,
    /// How the file stands against the hash that was recorded when it arrived; none when none was recorded.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub arrived: Option<&'static str>,
    /// The hash that was recorded when it arrived, where the file is another one now.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub arrived_sha256: Option<String>,
    /// What is wrong with the file: missing, outside the folder, not decodable.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub problem: Option<String>,
    /// Whether the sealed hash still matches; none when nothing is sealed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sealed: Option<bool>,
    /// The derived picture as a data address.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub data: Option<String>,
    /// Width of the derived picture.
    pub width: u32,
    /// Height of the derived picture.
    pub height: u32,
    /// Width and height of the upright original, in whose pixels places may be given.
    #[serde(skip)]
    original: (u32, u32),
}

/// What a pointer points to.
#[derive(Debug, Clone, Serialize)]
pub struct PointerView {
    /// The element's id, or the name of a part.
    pub of: String,
    /// A short label.
    pub label: String,
}

/// A photo that is shown beside a cause: the part of it that a pointer of the record points to, or all of it.
#[derive(Debug, Clone, Serialize)]
pub struct CropView {
    /// The number of the photo.
    pub number: usize,
    /// Caption of the photo.
    pub caption: String,
    /// True where it is a part of the photo.
    pub cut: bool,
    /// The picture as a data address.
    pub data: String,
    /// Its width.
    pub width: u32,
    /// Its height.
    pub height: u32,
}

/// Longest edge of a picture beside a cause, pixels: half a phone in fine print.
const CROP_EDGE: u32 = 560;
/// Longest edge of the photo of the first page, pixels.
const OVERVIEW_EDGE: u32 = 800;
/// The least part of a photo's width and height that is cut out: less does not show where it is.
const LEAST_CUT: f64 = 0.3;
/// Room round the place, in parts of its size.
const ROOM: f64 = 0.5;

/// The photo of a cause: the first that points to one of the `parts`, cut to the place, else the first that is shown at all.
pub(super) fn crop(
    inspection: &Inspection,
    views: &[PhotoView],
    names: &[String],
    parts: &[&str],
) -> Option<CropView> {
    let of_cause = || {
        let named = names.iter().filter_map(|name| views.iter().find(|view| view.name == *name));
        named.filter(|view| view.data.is_some())
    };
    let pointed = of_cause().find_map(|view| {
        let photo = inspection.record.photo.get(view.number - 1)?;
        let (_, area) = placed(&inspection.record, photo).find(|(of, _)| parts.contains(&of.of.as_str()))?;
        let cut = cut(area.within(view.original)?);
        // Whoever cuts close to what is withheld shows where it is.
        let hidden = inspection.withheld.areas(&view.file);
        let clear =
            hidden.iter().all(|area| area.within(view.original).is_some_and(|hidden| !overlap(cut, hidden)));
        clear.then_some((view, Some(cut)))
    });
    let (view, cut) = pointed.or_else(|| of_cause().next().map(|view| (view, None)))?;
    let copy = photo_copy(inspection, &view.file, CROP_EDGE, QUALITY, cut).ok()?;
    Some(CropView {
        number: view.number,
        caption: view.caption.clone(),
        cut: cut.is_some(),
        data: data_address(&copy),
        width: copy.width,
        height: copy.height,
    })
}

/// The photo of the first page.
#[derive(Debug, Clone, Serialize)]
pub struct OverviewView {
    #[serde(flatten)]
    photo: CropView,
    /// The pointers as a drawing over it.
    marks: String,
    /// What they point to.
    pointed: Vec<String>,
}

/// The photo with most pointers, else the first one that can be shown.
pub(super) fn overview(inspection: &Inspection, views: &[PhotoView]) -> Option<OverviewView> {
    let shown = views.iter().filter(|view| view.data.is_some());
    let view = shown.min_by_key(|view| std::cmp::Reverse(view.pointers.len()))?;
    let copy = photo_copy(inspection, &view.file, OVERVIEW_EDGE, QUALITY, None).ok()?;
    let photo = inspection.record.photo.get(view.number - 1)?;
    Some(OverviewView {
        marks: marks(&inspection.record, photo, &copy),
        pointed: view.pointers.iter().map(|pointer| pointer.label.clone()).collect(),
        photo: CropView {
            number: view.number,
            caption: view.caption.clone(),
            cut: false,
            data: data_address(&copy),
            width: copy.width,
            height: copy.height,
        },
    })
}

/// A place with room round it, inside the picture.
fn cut([left, top, width, height]: [f64; 4]) -> [f64; 4] {
    let side = |from: f64, size: f64| {
        let wide = (size * (1.0 + 2.0 * ROOM)).clamp(LEAST_CUT, 1.0);
        ((from + size / 2.0 - wide / 2.0).clamp(0.0, 1.0 - wide), wide)
    };
    let ((left, width), (top, height)) = (side(left, width), side(top, height));
    // No strip: what lies beside a long thin part says where it is.
    let (width, height) = (width.max(0.6 * height), height.max(0.6 * width));
    [left.min(1.0 - width), top.min(1.0 - height), width, height]
}

fn overlap(a: [f64; 4], b: [f64; 4]) -> bool {
    a[0] < b[0] + b[2] && b[0] < a[0] + a[2] && a[1] < b[1] + b[3] && b[1] < a[1] + a[3]
}

fn data_address(copy: &DerivedPicture) -> String {
    let encoded = base64::engine::general_purpose::STANDARD.encode(&copy.jpeg);
    format!("data:image/jpeg;base64,{encoded}")
}

/// The file is what arrived.
const AS_ARRIVED: &str = "as it arrived";
/// The file is another one than the one that arrived.
const CHANGED: &str = "changed since it arrived";
/// The file is missing or cannot be read.
const NOT_COMPARED: &str = "cannot be compared with what arrived";

/// How many photos have a hash from their arrival, and what became of these.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub(super) struct Arrivals {
    /// Photos whose hash was recorded when they arrived.
    recorded: usize,
    /// Those of them that are another file now, are missing or cannot be read.
    not_the_same: usize,
}

impl Arrivals {
    pub(super) fn of(photos: &[PhotoView]) -> Self {
        let recorded = || photos.iter().filter_map(|photo| photo.arrived);
        Self {
            recorded: recorded().count(),
            not_the_same: recorded().filter(|arrived| *arrived != AS_ARRIVED).count(),
        }
    }
}

/// Why a photo is not shown; it is listed all the same.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NotShown {
    /// Why, without a path of the machine it was tried on.
    pub why: String,
    /// SHA-256 of the original, where it could be read.
    pub digest: Option<Sha256Digest>,
}

/// The copy of a photo that is fit to publish: upright, without metadata, with the areas that the record withholds
/// blacked out. `cut` is the part of it that is wanted, in parts of its width and height. `file` is the name under which the inspection names the photo. The one way for every output to a picture.
///
/// # Errors
/// [`NotShown`] for a photo that is missing, cannot be decoded, or has an area that cannot be placed on it.
pub fn photo_copy(
    inspection: &Inspection,
    file: &str,
    max_edge: u32,
    quality: u8,
    cut: Option<[f64; 4]>,
) -> Result<DerivedPicture, NotShown> {
    let withheld = &inspection.withheld;
    let path = safe_relative(&inspection.folder, withheld.original(file))
        .map_err(|error| NotShown { why: withheld.apply(&error.to_string()), digest: None })?;
    let options = PictureOptions { max_edge, quality, blackouts: withheld.areas(file), cut };
    picture::derive(&path, &options).map_err(|error| {
        let why = match error {
            PictureError::Undecodable { reason, .. } => reason.to_string(),
            PictureError::Blackout { number, problem, .. } => {
                format!("area {number} to black out {problem}")
            }
            PictureError::File(error) => error.without_path(),
        };
        NotShown { why: withheld.apply(&why), digest: hash_file(&path).ok() }
    })
}

/// Reads the photos named in a record; `sealed` holds the hashes of the manifest, when there is one.
#[must_use]
pub fn photos(inspection: &Inspection, sealed: Option<&BTreeMap<String, String>>) -> Vec<PhotoView> {
    inspection
        .record
        .photo
        .par_iter()
        .enumerate()
        .map(|(index, photo)| {
            let file = photo.file.text().unwrap_or_default().to_owned();
            let mut view = PhotoView {
                name: file.rsplit('/').next().unwrap_or(&file).to_owned(),
                number: index + 1,
                caption: shown(photo.caption.found()),
                shows: photo.parts().map(str::to_owned).collect(),
                proves: shown(photo.proves.found()),
                pointers: placed(&inspection.record, photo).map(|(pointer, _)| pointer).collect(),
                measured: measured(photo).map(|(line, ..)| line).collect(),
                blacked_out: inspection.withheld.areas(&file).len(),
                file,
                ..PhotoView::default()
            };
            match photo_copy(inspection, &view.file, LONGEST_EDGE, QUALITY, None) {
                Ok(derived) => {
                    view.sha256 = Some(derived.original_digest.to_string());
                    view.data = Some(data_address(&derived));
                    (view.width, view.height) = (derived.width, derived.height);
                    view.original = (derived.original_width, derived.original_height);
                    view.marks = marks(&inspection.record, photo, &derived);
                }
                // What cannot be shown is hashed and listed all the same.
                Err(not_shown) => {
                    view.sha256 = not_shown.digest.map(|digest| digest.to_string());
                    view.problem = Some(format!("not shown: {}", not_shown.why));
                }
            }
            let noted = photo.sha256.text().and_then(|text| text.parse::<Sha256Digest>().ok());
            if let Some(noted) = noted.map(|noted| noted.to_string()) {
                view.arrived = Some(match &view.sha256 {
                    Some(now) if *now == noted => AS_ARRIVED,
                    Some(_) => CHANGED,
                    None => NOT_COMPARED,
                });
                view.arrived_sha256 = Some(noted).filter(|_| view.arrived != Some(AS_ARRIVED));
            }
            let original = inspection.withheld.original(&view.file);
            view.sealed = sealed.map(|sealed| {
                view.sha256.is_some() && sealed.get(original).map(String::as_str) == view.sha256.as_deref()
            });
            view
        })
        .collect()
}

/// The pointers that can be placed, each with its place; one whose place is withheld is left out.
fn placed<'a>(record: &'a Record, photo: &'a RecordPhoto) -> impl Iterator<Item = (PointerView, Area)> + 'a {
    photo.pointer.iter().filter_map(|pointer| {
        let sides = [&pointer.left, &pointer.top, &pointer.width, &pointer.height];
        let area = area::read(&pointer.own, sides, true).ok()?;
        let of = pointer.of.text().unwrap_or_default();
        let element = record.path.element.iter().find(|element| element.id.text() == Some(of));
        let name = element.and_then(|element| element.name.text()).unwrap_or(of);
        let label = pointer.label.text().unwrap_or(name).to_owned();
        Some((PointerView { of: of.to_owned(), label }, area))
    })
}

/// What was measured in a photo: a line for it, the kind, the taps and the value. What is withheld is left out.
fn measured(photo: &RecordPhoto) -> impl Iterator<Item = (String, Measure, Vec<(f64, f64)>, &str)> {
    photo.measurement.iter().filter_map(|one| {
        let value = one.value.quantity()?.text.as_str();
        let of = one.of.text()?.trim_start_matches("path.element[id=").replace("].", ", ");
        let of = one.side.known().map_or(of.clone(), |side| format!("{of}, {}", side.word()));
        let taps = one.taps.list().iter().map(|tap| {
            let (x, y) = tap.split_once(' ')?;
            Some((x.parse::<f64>().ok()?, y.parse::<f64>().ok()?))
        });
        Some((format!("{of}: {value}"), one.measure.known()?, taps.collect::<Option<_>>()?, value))
    })
}

/// The pointers of a photo and what was measured in it, over its derived picture. A pointer that a picture of another size no
/// longer holds is drawn at its edge.
fn marks(record: &Record, photo: &RecordPhoto, derived: &DerivedPicture) -> String {
    let areas = placed(record, photo).map(|(_, area)| area);
    let original = (derived.original_width, derived.original_height);
    let (width, height) = (f64::from(derived.width), f64::from(derived.height));
    let spots: Vec<Spot> = areas
        .map(|area| {
            let [x, y, w, h] = area.within(original).unwrap_or([1.0, 1.0, 0.0, 0.0]);
            Spot { x: x * width, y: y * height, width: w * width, height: h * height }
        })
        .collect();
    let size = (derived.width, derived.height);
    let mut labels = Vec::new();
    let lengths: String = measured(photo)
        .map(|(_, kind, taps, value)| {
            let scale = width / f64::from(original.0.max(1));
            let taps: Vec<_> = taps.iter().map(|(x, y)| ((x + 0.5) * scale, (y + 0.5) * scale)).collect();
            draw_measured(kind, &taps, value, size, &mut labels)
        })
        .collect();
    if spots.is_empty() {
        return lengths;
    }
    let picture = image::load_from_memory(&derived.jpeg).map(DynamicImage::into_luma8);
    lengths + &draw_pointers(&spots, &picture.unwrap_or_default())
}

/// A text of the record, empty where nothing is recorded.
fn shown(found: &Found) -> String {
    if found.state == State::NotLooked { String::new() } else { found.show() }
}

#[cfg(test)]
mod tests {
    use std::fs;
    use std::io::Cursor;

    use exif::{Tag, Value};
    use image::imageops::{flip_horizontal, flip_vertical, rotate90, rotate180, rotate270};
    use image::{DynamicImage, ImageFormat, Rgb, RgbImage};

    use super::*;
    use crate::evidence::exif::tests::{block, with_app1};
    use crate::judge::inspection::House;
    use crate::render::OWN_WORDS;

    /// A picture larger than its copies, as a camera stores it that was held in some way (CIPA DC-008, tag 0x0112): red, with a
    /// part in blue and beside it a secret in green.
    fn stored(orientation: u16) -> RgbImage {
        let upright = RgbImage::from_fn(1500, 900, |x, y| {
            let within = |left, top| (left..left + 200).contains(&x) && (top..top + 150).contains(&y);
            Rgb(if within(300, 300) {
                [0, 0, 255]
            } else if within(700, 300) {
                [0, 255, 0]
            } else {
                [255, 0, 0]
            })
        });
        match orientation {
            2 => flip_horizontal(&upright),
            3 => rotate180(&upright),
            4 => flip_vertical(&upright),
            5 => flip_horizontal(&rotate90(&upright)),
            6 => rotate270(&upright),
            7 => flip_horizontal(&rotate270(&upright)),
            8 => rotate90(&upright),
            _ => upright,
        }
    }

    fn seen(data: &str, colour: [u8; 3]) -> usize {
        let jpeg = base64::engine::general_purpose::STANDARD.decode(data.split_once(',').unwrap().1).unwrap();
        let picture = image::load_from_memory(&jpeg).unwrap().into_rgb8();
        let near = |pixel: &&Rgb<u8>| pixel.0.iter().zip(colour).all(|(a, b)| a.abs_diff(b) < 100);
        picture.pixels().filter(near).count()
    }

    /// Whichever way the camera was held, and in percent as in pixels of an original that is larger than its copy: what is
    /// withheld is in no copy and in no cut, and a pointer's cut shows its part. Stills and the comparison take the same copies.
    #[test]
    fn no_cut_shows_what_is_withheld() {
        let folder = tempfile::tempdir().unwrap();
        fs::create_dir(folder.path().join("photos")).unwrap();
        let mut record = "schema = 2\n".to_owned();
        for orientation in 1..=8_u16 {
            let mut bytes = Cursor::new(Vec::new());
            DynamicImage::ImageRgb8(stored(orientation)).write_to(&mut bytes, ImageFormat::Jpeg).unwrap();
            let mut facts = b"Exif\0\0".to_vec();
            facts.extend(block(&[(Tag::Orientation, Value::Short(vec![orientation]))]));
            let name = format!("{orientation}.jpg");
            fs::write(folder.path().join("photos").join(&name), with_app1(&bytes.into_inner(), &facts))
                .unwrap();
            let percent = |sides: [f64; 4]| sides.map(|side| format!("{side} %"));
            let pixels = |sides: [u32; 4]| sides.map(|side| format!("{side} px"));
            // The part, the secret, and a frame round both.
            let places = if orientation % 2 == 0 {
                [pixels([300, 300, 200, 150]), pixels([700, 300, 200, 150]), pixels([250, 250, 700, 250])]
            } else {
                [
                    percent([20.0, 33.4, 13.3, 16.6]),
                    percent([46.6, 33.3, 13.4, 16.8]),
                    percent([15.0, 30.0, 50.0, 30.0]),
                ]
            };
            let area = |[left, top, width, height]: &[String; 4]| {
                format!("left = \"{left}\"\ntop = \"{top}\"\nwidth = \"{width}\"\nheight = \"{height}\"\n")
            };
            record.push_str(&format!("[[photo]]\nfile = \"photos/{name}\"\n"));
            for (of, place) in ["part", "secret", "both"].into_iter().zip(&places) {
                record.push_str(&format!("[[photo.pointer]]\nof = \"{of}\"\n{}", area(place)));
            }
            record.push_str(&format!("[[withhold.area]]\nphoto = \"{name}\"\n{}", area(&places[1])));
        }
        fs::write(folder.path().join("inspection.toml"), record).unwrap();
        let inspection = Inspection::open_to_publish(folder.path(), &House::default(), &OWN_WORDS).unwrap();
        let views = photos(&inspection, None);
        assert_eq!(views.len(), 8);
        for view in &views {
            assert_eq!((view.width, view.height, view.pointers.len()), (1200, 720, 3), "{}", view.file);
            let names = [view.name.clone()];
            assert!(seen(view.data.as_ref().unwrap(), [0, 0, 255]) > 15_000, "{}", view.file);
            assert_eq!(seen(view.data.as_ref().unwrap(), [0, 255, 0]), 0, "{}", view.file);
            for of in ["part", "secret", "both"] {
                let cut = crop(&inspection, &views, &names, &[of]).unwrap();
                assert_eq!(seen(&cut.data, [0, 255, 0]), 0, "{} {of}", view.file);
                assert_eq!(cut.cut, of == "part", "{} {of}", view.file);
                assert!(seen(&cut.data, [0, 0, 255]) > 3_000, "{} {of}: the part is not in it", view.file);
            }
        }
        let first = overview(&inspection, &views).unwrap();
        assert_eq!(seen(&first.photo.data, [0, 255, 0]), 0);
    }
}
