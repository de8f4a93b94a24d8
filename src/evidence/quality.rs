//! Whether a photo is fit to be looked at: sharp, bright enough, without glare. Told at once, while the pack still lies open.
//!
//! Sharpness is the perceptual blur metric of Crété-Roffet, Dolmiere, Ladret and Nicolas, "The blur effect: perception and
//! estimation with a new no-reference perceptual blur metric", SPIE 6492 (2007): the picture is blurred once more, and what
//! changes little was blurred before. 0 is sharp, 1 is nothing but blur.

use std::path::Path;

use image::imageops::FilterType;
use image::{DynamicImage, GrayImage};

use super::picture::{self, PictureError};

/// Longer edge of the picture that is judged, pixels: what a page shows.
const EDGE: u32 = 1200;
/// Length of the filter that blurs once more, pixels (the paper's choice is 9, that of later implementations 11).
const FILTER: usize = 11;
/// More blur than this is told. Sharp photos of parts lie below 0.45, the same with a blur of 4 pixels above 0.6
/// (own trial on the example pictures; custom).
const BLURRED: f64 = 0.55;
/// A picture whose brighter half ends below this level of 255 is too dark (custom).
const DARK: u8 = 50;
/// More than this share at full white hides what is under it (custom).
const GLARE: f64 = 0.06;

/// How fit a photo is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Quality {
    /// The blur metric, from 0 (sharp) to 1.
    blur: f64,
    /// The level below which nine tenths of the pixels lie, from 0 to 255.
    bright: u8,
    /// Share of pixels at full white.
    white: f64,
}

impl Quality {
    pub(crate) fn of(picture: &GrayImage) -> Self {
        let mut levels = [0_u64; 256];
        for pixel in picture.as_raw() {
            levels[usize::from(*pixel)] += 1;
        }
        let all: u64 = levels.iter().sum::<u64>().max(1);
        let mut below = 0;
        let bright = levels.iter().position(|number| {
            below += number;
            below * 10 >= all * 9
        });
        let white: u64 = levels.iter().skip(254).sum();
        Self {
            blur: blur(picture),
            bright: bright.and_then(|level| u8::try_from(level).ok()).unwrap_or(u8::MAX),
            white: white as f64 / all as f64,
        }
    }

    /// What is wrong with it and what to do, in one line; nothing where it is fit.
    pub(crate) fn words(&self) -> Option<&'static str> {
        if self.bright < DARK {
            Some("too dark to show much: bring a light and take it again")
        } else if self.blur > BLURRED {
            Some("not sharp: hold still or come less near, and take it again where a marking must be read")
        } else if self.white > GLARE {
            Some(
                "glare hides part of it: turn the light aside and take it again where a marking must be read",
            )
        } else {
            None
        }
    }
}

/// Decodes a photo to its last pixel and judges it.
///
/// # Errors
/// When it cannot be read, or not be decoded whole within the limits.
pub(crate) fn look(path: &Path) -> Result<Quality, PictureError> {
    picture::decode_whole(path)?;
    let grey = picture::grey(path)?;
    let longer = grey.width().max(grey.height());
    let grey = if longer > EDGE {
        let scaled = |edge: u32| {
            u32::try_from(u64::from(edge) * u64::from(EDGE) / u64::from(longer)).unwrap_or(EDGE).max(1)
        };
        let (width, height) = (scaled(grey.width()), scaled(grey.height()));
        DynamicImage::ImageLuma8(grey).resize_exact(width, height, FilterType::Triangle).into_luma8()
    } else {
        grey
    };
    Ok(Quality::of(&grey))
}

/// The blur metric: the worse of both directions.
fn blur(picture: &GrayImage) -> f64 {
    let (width, height) = (picture.width() as usize, picture.height() as usize);
    let raw = picture.as_raw();
    let rows = lines(width, height, |line, at| raw.get(line * width + at).copied().unwrap_or_default());
    let columns = lines(height, width, |line, at| raw.get(at * width + line).copied().unwrap_or_default());
    rows.max(columns)
}

/// The metric along lines of a length: 1 − Σ max(0, |ΔF| − |ΔB|) / Σ |ΔF|, with B the line blurred once more.
fn lines(length: usize, number: usize, level: impl Fn(usize, usize) -> u8) -> f64 {
    let (mut all, mut lost) = (0.0_f64, 0.0_f64);
    let mut line = vec![0.0; length];
    let mut soft = vec![0.0; length];
    for each in 0..number {
        for (at, value) in line.iter_mut().enumerate() {
            *value = f64::from(level(each, at));
        }
        for (at, value) in soft.iter_mut().enumerate() {
            let window = line
                .get(at.saturating_sub(FILTER / 2)..(at + FILTER / 2 + 1).min(length))
                .unwrap_or_default();
            *value = window.iter().sum::<f64>() / window.len().max(1) as f64;
        }
        for (sharp, soft) in line.windows(2).zip(soft.windows(2)) {
            let change = (sharp[1] - sharp[0]).abs();
            all += change;
            lost += (change - (soft[1] - soft[0]).abs()).max(0.0);
        }
    }
    // A picture without any edge shows nothing, however it was taken.
    if all > 0.0 { 1.0 - lost / all } else { 1.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_wrong_with_a_photo_is_told() {
        let folder =
            Path::new(env!("CARGO_MANIFEST_DIR")).join("example-inspections/harbour-24-150-rev-b/photos");
        for name in ["04-positive-bar.jpg", "08-bms.jpg", "11-cell-marking.jpg"] {
            let sharp = look(&folder.join(name)).unwrap();
            assert_eq!(sharp.words(), None, "{name}: {sharp:?}");
            let grey = picture::grey(&folder.join(name)).unwrap();
            let soft = Quality::of(&image::imageops::blur(&grey, 4.0));
            assert!(soft.words().is_some_and(|words| words.starts_with("not sharp")), "{name}: {soft:?}");
            let mut dark = grey.clone();
            dark.pixels_mut().for_each(|pixel| pixel.0[0] /= 6);
            assert!(Quality::of(&dark).words().is_some_and(|words| words.starts_with("too dark")));
            let mut glare = grey;
            let (width, height) = glare.dimensions();
            for (x, y, pixel) in glare.enumerate_pixels_mut() {
                if x < width / 2 && y < height / 3 {
                    pixel.0[0] = 255;
                }
            }
            assert!(Quality::of(&glare).words().is_some_and(|words| words.starts_with("glare")));
        }
    }

    #[test]
    fn pictures_without_anything_are_not_sharp() {
        for size in [(1, 1), (3, 2), (40, 1)] {
            assert!((Quality::of(&GrayImage::new(size.0, size.1)).blur - 1.0).abs() < 1e-9);
        }
    }
}
