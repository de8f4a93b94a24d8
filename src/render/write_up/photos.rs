//! The photos of the write-up: hash of the original, a copy fit to publish, and whether the evidence still matches.

use std::collections::BTreeMap;

use base64::Engine;
use rayon::prelude::*;
use serde::Serialize;

use crate::evidence::hash::{Sha256Digest, hash_file};
use crate::evidence::name::safe_relative;
use crate::evidence::picture::{self, DerivedPicture, PictureError, PictureOptions};
use crate::judge::inspection::Inspection;
use crate::record::area::{self, Area};
use crate::record::parts::RecordPhoto;
use crate::record::{Found, Record, State};
use crate::render::draw::pointers::{Spot, pointers as draw_pointers};

/// Longest edge of a derived picture, pixels: readable on a desktop, small enough for a phone.
const LONGEST_EDGE: u32 = 1200;
/// JPEG quality of a derived picture.
const QUALITY: u8 = 78;
/// A photo of the write-up.
#[derive(Debug, Clone, Serialize)]
pub struct PhotoView {
    /// File name under the inspection folder, as written in the record.
    pub file: String,
    /// Its last part, by which findings name it.
    pub name: String,
    /// Anchor in the page.
    pub anchor: String,
    /// Caption.
    pub caption: String,
    /// Parts it shows.
    pub shows: Vec<String>,
    /// What it proves.
    pub proves: String,
    /// What its numbered pointers point to, in their order.
    pub pointers: Vec<PointerView>,
    /// The pointers as a drawing in the pixels of the derived picture; empty without any.
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
}

/// What a pointer points to.
#[derive(Debug, Clone, Serialize)]
pub struct PointerView {
    /// The element's id, or the name of a part.
    pub of: String,
    /// A short label.
    pub label: String,
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
/// blacked out. `file` is the name under which the inspection names the photo. The one way for every output to a picture.
///
/// # Errors
/// [`NotShown`] for a photo that is missing, cannot be decoded, or has an area that cannot be placed on it.
pub fn photo_copy(
    inspection: &Inspection,
    file: &str,
    max_edge: u32,
    quality: u8,
) -> Result<DerivedPicture, NotShown> {
    let withheld = &inspection.withheld;
    let path = safe_relative(&inspection.folder, withheld.original(file))
        .map_err(|error| NotShown { why: withheld.apply(&error.to_string()), digest: None })?;
    let options = PictureOptions { max_edge, quality, blackouts: withheld.areas(file) };
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
                anchor: format!("photo-{}", index + 1),
                caption: shown(photo.caption.found()),
                shows: photo.parts().map(str::to_owned).collect(),
                proves: shown(photo.proves.found()),
                pointers: placed(&inspection.record, photo).map(|(pointer, _)| pointer).collect(),
                marks: String::new(),
                blacked_out: inspection.withheld.areas(&file).len(),
                sha256: None,
                arrived: None,
                arrived_sha256: None,
                problem: None,
                sealed: None,
                data: None,
                width: 0,
                height: 0,
                file,
            };
            match photo_copy(inspection, &view.file, LONGEST_EDGE, QUALITY) {
                Ok(derived) => {
                    view.sha256 = Some(derived.original_digest.to_string());
                    let encoded = base64::engine::general_purpose::STANDARD.encode(&derived.jpeg);
                    view.data = Some(format!("data:image/jpeg;base64,{encoded}"));
                    (view.width, view.height) = (derived.width, derived.height);
                    let areas = placed(&inspection.record, photo).map(|(_, area)| area);
                    view.marks = marks(areas, &derived);
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

/// The pointers of a photo over its derived picture. One that a picture of another size no longer holds is drawn at its edge.
fn marks(areas: impl Iterator<Item = Area>, derived: &DerivedPicture) -> String {
    let original = (derived.original_width, derived.original_height);
    let (width, height) = (f64::from(derived.width), f64::from(derived.height));
    let spots: Vec<Spot> = areas
        .map(|area| {
            let [x, y, w, h] = area.within(original).unwrap_or([1.0, 1.0, 0.0, 0.0]);
            Spot { x: x * width, y: y * height, width: w * width, height: h * height }
        })
        .collect();
    draw_pointers(&spots, (derived.width, derived.height))
}

/// A text of the record, empty where nothing is recorded.
fn shown(found: &Found) -> String {
    if found.state == State::NotLooked { String::new() } else { found.show() }
}
