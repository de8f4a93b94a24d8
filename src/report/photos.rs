//! The photos of the write-up: hash of the original, a copy fit to publish, and whether the evidence still matches.

use std::collections::BTreeMap;
use std::path::Path;

use base64::Engine;
use rayon::prelude::*;
use serde::Serialize;

use crate::evidence::hash::hash_file;
use crate::evidence::name::safe_relative;
use crate::evidence::picture::{self, PictureOptions};
use crate::record::Record;

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
    /// SHA-256 of the original.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sha256: Option<String>,
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

/// Reads the photos named in a record; `sealed` holds the hashes of the manifest, when there is one.
#[must_use]
pub fn photos(folder: &Path, record: &Record, sealed: Option<&BTreeMap<String, String>>) -> Vec<PhotoView> {
    record
        .photo
        .par_iter()
        .enumerate()
        .map(|(index, photo)| {
            let file = photo.file.text().unwrap_or_default().to_owned();
            let mut view = PhotoView {
                name: file.rsplit('/').next().unwrap_or(&file).to_owned(),
                anchor: format!("photo-{}", index + 1),
                caption: photo.caption.text().unwrap_or_default().to_owned(),
                shows: photo.shows.list().to_vec(),
                proves: photo.proves.text().unwrap_or_default().to_owned(),
                sha256: None,
                problem: None,
                sealed: None,
                data: None,
                width: 0,
                height: 0,
                file,
            };
            if let Err(problem) = load(folder, &mut view) {
                view.problem = Some(problem);
            }
            view.sealed = sealed.map(|sealed| {
                view.sha256.is_some() && sealed.get(&view.file).map(String::as_str) == view.sha256.as_deref()
            });
            view
        })
        .collect()
}

fn load(folder: &Path, view: &mut PhotoView) -> Result<(), String> {
    let path = safe_relative(folder, &view.file).map_err(|error| error.to_string())?;
    match picture::derive(&path, &options()) {
        Ok(derived) => {
            view.sha256 = Some(derived.original_digest.to_string());
            let encoded = base64::engine::general_purpose::STANDARD.encode(&derived.jpeg);
            view.data = Some(format!("data:image/jpeg;base64,{encoded}"));
            (view.width, view.height) = (derived.width, derived.height);
            Ok(())
        }
        Err(error) => {
            // What cannot be shown is hashed and listed all the same.
            view.sha256 = hash_file(&path).ok().map(|digest| digest.to_string());
            Err(format!("not shown: {error}"))
        }
    }
}

fn options() -> PictureOptions {
    PictureOptions { max_edge: LONGEST_EDGE, quality: QUALITY, ..PictureOptions::default() }
}
