//! Copies of photos that are fit to publish: upright, of sensible size, blacked out where asked,
//! and with nothing in them but pixels.
//!
//! The original is decoded to pixels and only pixels are encoded again, so no EXIF, XMP, thumbnail,
//! colour profile, comment or hidden layer can survive. Transparent places become white: what lay
//! under them does not come back. Blackout happens before resizing, rounded outwards.
//!
//! Refused, with a typed reason: files over [`MAX_FILE_BYTES`], pictures over [`MAX_PIXELS`], and
//! what cannot be decoded here (HEIC, camera raw, damaged files). Such a photo is still evidence: it
//! is hashed and listed, only not shown.

use std::borrow::Cow;
use std::io::{Cursor, Read};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

use image::metadata::Orientation;
use image::{DynamicImage, GrayImage, ImageDecoder, ImageError, ImageFormat, ImageReader, Rgb, RgbImage};
use serde::Serialize;

use super::exif::{self, PhotoFacts};
use super::hash::{HashError, Sha256Digest};
use crate::record::area::Area;
use crate::record::open::{self, FileError};
use crate::units::terminal::{shown, shown_text};

/// The largest file that is decoded, in bytes.
pub const MAX_FILE_BYTES: u64 = 64 * 1024 * 1024;

/// The most pixels that are decoded.
pub const MAX_PIXELS: u64 = 100_000_000;

/// The most memory that a decoder is allowed at once, in bytes: 100 megapixels of four bytes, and
/// room to work.
const MAX_DECODER_BYTES: u64 = 512 * 1024 * 1024;

/// Above this many pixels only one picture is decoded at a time: a progressive JPEG of
/// [`MAX_PIXELS`] takes more than 600 MB, whatever its file size, and threads would multiply that.
const LARGE_PIXELS: u64 = 30_000_000;

static ONE_LARGE_AT_A_TIME: Mutex<()> = Mutex::new(());

/// Why a photo cannot be shown.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, schemars::JsonSchema, thiserror::Error)]
#[serde(tag = "reason", rename_all = "kebab-case")]
#[non_exhaustive]
#[allow(missing_docs)] // The message of each says what it is.
pub enum Undecodable {
    #[error("it is HEIC, HEIF or AVIF, which is not decoded here; export it as JPEG to show it")]
    Heic,
    #[error("it is a camera raw or TIFF file, which is not decoded here; export it as JPEG to show it")]
    Raw,
    #[error("it is not a JPEG, PNG or WebP picture")]
    OtherFormat,
    #[error("it has {bytes} bytes; pictures up to {MAX_FILE_BYTES} bytes are shown")]
    FileTooLarge { bytes: u64 },
    #[error("it has {width} × {height} pixels; pictures up to {MAX_PIXELS} pixels are shown")]
    TooManyPixels { width: u32, height: u32 },
    #[error("decoding it would need too much memory")]
    TooMuchMemory,
    #[error("it is damaged: {why}")]
    Broken { why: String },
}

/// Why no copy of a photo was made.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
#[allow(missing_docs)] // The message of each says what it is.
pub enum PictureError {
    #[error(transparent)]
    File(#[from] HashError),
    #[error("{} cannot be shown: {reason}", shown(path))]
    Undecodable { path: PathBuf, reason: Undecodable },
    /// A box to black out that makes no sense for this picture. No copy is made, because a box that
    /// hides nothing would publish what should be hidden.
    #[error("{}: withheld box {number} {problem}", shown(path))]
    Blackout {
        path: PathBuf,
        /// Which box, counted from 1.
        number: usize,
        /// What is wrong, as the end of a sentence.
        problem: &'static str,
    },
}

/// How a copy is made.
#[derive(Debug, Clone, PartialEq)]
pub struct PictureOptions {
    /// The longer edge has at most this many pixels; smaller pictures are not enlarged.
    pub max_edge: u32,
    /// JPEG quality from 1 to 100.
    pub quality: u8,
    /// What to black out.
    pub blackouts: Vec<Area>,
    /// The part that is wanted: left, top, width and height in parts of the picture's; all of it where there is none.
    pub cut: Option<[f64; 4]>,
}

impl Default for PictureOptions {
    fn default() -> Self {
        Self { max_edge: 1600, quality: 82, blackouts: Vec::new(), cut: None }
    }
}

/// A copy that is fit to publish.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DerivedPicture {
    /// The JPEG file.
    pub jpeg: Vec<u8>,
    /// Its width in pixels.
    pub width: u32,
    /// Its height in pixels.
    pub height: u32,
    /// Width of the upright original in pixels.
    pub original_width: u32,
    /// Height of the upright original in pixels.
    pub original_height: u32,
    /// Hash of the original, of the very bytes that were decoded.
    pub original_digest: Sha256Digest,
    /// Size of the original in bytes.
    pub original_bytes: u64,
    /// What the original says of itself; none of it is in the copy.
    pub facts: PhotoFacts,
}

/// Makes a copy of a photo that is fit to publish.
///
/// # Errors
/// When the photo cannot be read or decoded within the limits, or a withheld box makes no sense.
pub fn derive(path: &Path, options: &PictureOptions) -> Result<DerivedPicture, PictureError> {
    let undecodable = |reason| PictureError::Undecodable { path: path.to_path_buf(), reason };
    let bytes = read_limited(path)?;
    let facts = exif::read_bytes(&bytes);
    let picture = decode_upright(&bytes, facts.orientation).map_err(undecodable)?;
    let (original_width, original_height) = picture.dimensions();
    let picture = withhold(picture, &options.blackouts).map_err(|(number, problem)| {
        let path = path.to_path_buf();
        PictureError::Blackout { path, number, problem }
    })?;
    let picture = match options.cut {
        Some(part) => cut(picture, part),
        None => picture,
    };
    let small = shrink(picture, options.max_edge.max(1)).map_err(undecodable)?;
    let (width, height) = small.dimensions();
    let jpeg = underlid_pixels::jpeg(&small, options.quality).map_err(|e| undecodable(reason(&e)))?;
    Ok(DerivedPicture {
        jpeg,
        width,
        height,
        original_width,
        original_height,
        original_digest: Sha256Digest::of(&bytes),
        original_bytes: bytes.len() as u64,
        facts,
    })
}

/// A part of a picture, at least a pixel wide and high.
fn cut(picture: RgbImage, [left, top, width, height]: [f64; 4]) -> RgbImage {
    let (whole_width, whole_height) = picture.dimensions();
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a part of a u32, not negative"
    )]
    let pixels = |part: f64, whole: u32| (part.clamp(0.0, 1.0) * f64::from(whole)) as u32;
    let (x, y) = (pixels(left, whole_width - 1), pixels(top, whole_height - 1));
    let (width, height) = (pixels(width, whole_width).max(1), pixels(height, whole_height).max(1));
    let (width, height) = (width.min(whole_width - x), height.min(whole_height - y));
    DynamicImage::ImageRgb8(picture).crop_imm(x, y, width, height).into_rgb8()
}

fn read_limited(path: &Path) -> Result<Vec<u8>, PictureError> {
    let too_large = |bytes| PictureError::Undecodable {
        path: path.to_path_buf(),
        reason: Undecodable::FileTooLarge { bytes },
    };
    let (file, metadata) = open::plain(path).map_err(HashError::from)?;
    if metadata.len() > MAX_FILE_BYTES {
        return Err(too_large(metadata.len()));
    }
    let mut bytes = Vec::new();
    file.take(MAX_FILE_BYTES + 1)
        .read_to_end(&mut bytes)
        .map_err(|e| HashError::from(FileError::on("read", path)(e)))?;
    match bytes.len() as u64 {
        n if n > MAX_FILE_BYTES => Err(too_large(n)),
        _ => Ok(bytes),
    }
}

/// Decodes a whole picture and lets it go again.
///
/// # Errors
/// When it cannot be read, or not be decoded to its last pixel within the limits.
pub(crate) fn decode_whole(path: &Path) -> Result<(), PictureError> {
    let bytes = read_limited(path)?;
    let decoded = catch_unwind(AssertUnwindSafe(|| match format_of(&bytes)? {
        ImageFormat::Jpeg => jpeg_in_grey(&bytes, true).map(drop),
        format => decode(&bytes, format, Orientation::NoTransforms).map(drop),
    }));
    let gave_up = Err(Undecodable::Broken { why: "the decoder gave up on it".to_owned() });
    let undecodable = |reason| PictureError::Undecodable { path: path.to_path_buf(), reason };
    decoded.unwrap_or(gave_up).map_err(undecodable)
}

/// A photo in grey, as it lies in the file.
///
/// # Errors
/// When it cannot be read or decoded within the limits.
pub(crate) fn grey(path: &Path) -> Result<GrayImage, PictureError> {
    decode_grey(&read_limited(path)?)
        .map_err(|reason| PictureError::Undecodable { path: path.to_path_buf(), reason })
}

/// A photo in grey and upright, what it says of itself, and its hash.
///
/// # Errors
/// When it cannot be read or decoded within the limits.
#[cfg(feature = "measuring")]
pub(crate) fn grey_upright(path: &Path) -> Result<(GrayImage, PhotoFacts, Sha256Digest), PictureError> {
    let bytes = read_limited(path)?;
    let facts = exif::read_bytes(&bytes);
    let picture = decode_grey(&bytes)
        .map_err(|reason| PictureError::Undecodable { path: path.to_path_buf(), reason })?;
    let mut picture = DynamicImage::ImageLuma8(picture);
    picture.apply_orientation(facts.orientation);
    Ok((picture.into_luma8(), facts, Sha256Digest::of(&bytes)))
}

/// Decodes a picture in grey. Of most JPEG files that is what is stored: a third of the memory and half of the time.
fn decode_grey(bytes: &[u8]) -> Result<GrayImage, Undecodable> {
    if matches!(format_of(bytes)?, ImageFormat::Jpeg) {
        let decoded = catch_unwind(AssertUnwindSafe(|| jpeg_in_grey(bytes, false)));
        if let Ok(Ok(Some(picture))) = decoded {
            return Ok(picture);
        }
    }
    let picture = decode_upright(bytes, Orientation::NoTransforms)?;
    let (width, height) = picture.dimensions();
    // The brightness of ITU-R BT.601, as a JPEG file has it (ITU-T T.871, clause 7), in parts of 256.
    let grey = |Rgb([r, g, b]): &Rgb<u8>| {
        ((77 * u32::from(*r) + 150 * u32::from(*g) + 29 * u32::from(*b)) >> 8) as u8
    };
    Ok(GrayImage::from_raw(width, height, picture.pixels().map(grey).collect()).unwrap_or_default())
}

/// The brightness of a JPEG file; nothing for one whose colours do not hold it. The decoder fills what a file lacks with grey;
/// asked to be strict, it refuses one that ends before its picture does.
fn jpeg_in_grey(bytes: &[u8], strict: bool) -> Result<Option<GrayImage>, Undecodable> {
    use zune_jpeg::JpegDecoder;
    use zune_jpeg::zune_core::bytestream::ZCursor;
    use zune_jpeg::zune_core::colorspace::ColorSpace;
    use zune_jpeg::zune_core::options::DecoderOptions;

    let broken = |why: &dyn std::fmt::Debug| Undecodable::Broken {
        why: shown_text(format!("{why:?}").trim_matches('"')).chars().take(200).collect(),
    };
    let options = DecoderOptions::default()
        .set_strict_mode(strict)
        .set_max_width(usize::from(u16::MAX))
        .set_max_height(usize::from(u16::MAX));
    let mut decoder = JpegDecoder::new_with_options(ZCursor::new(bytes), options);
    decoder.decode_headers().map_err(|error| broken(&error))?;
    let (width, height) = decoder.dimensions().unwrap_or_default();
    let pixels = width as u64 * height as u64;
    if pixels > MAX_PIXELS {
        let [width, height] = [width, height].map(|edge| u32::try_from(edge).unwrap_or(u32::MAX));
        return Err(Undecodable::TooManyPixels { width, height });
    }
    let in_grey = matches!(decoder.input_colorspace(), Some(ColorSpace::YCbCr | ColorSpace::Luma));
    if in_grey {
        decoder.set_options(options.jpeg_set_out_colorspace(ColorSpace::Luma));
    } else if !strict {
        return Ok(None);
    }
    let _large = one_large(pixels);
    let levels = decoder.decode().map_err(|error| broken(&error))?;
    let [width, height] = [width, height].map(|edge| u32::try_from(edge).unwrap_or_default());
    Ok(GrayImage::from_raw(width, height, levels).filter(|_| in_grey))
}

fn one_large(pixels: u64) -> Option<std::sync::MutexGuard<'static, ()>> {
    (pixels > LARGE_PIXELS).then(|| ONE_LARGE_AT_A_TIME.lock().unwrap_or_else(PoisonError::into_inner))
}

/// Decodes a picture to opaque pixels and turns it upright.
pub(crate) fn decode_upright(bytes: &[u8], orientation: Orientation) -> Result<RgbImage, Undecodable> {
    let format = format_of(bytes)?;
    // The decoders are memory-safe Rust, but a bug in one of them must cost one picture, not the
    // whole write-up.
    catch_unwind(AssertUnwindSafe(|| decode(bytes, format, orientation)))
        .unwrap_or_else(|_| Err(Undecodable::Broken { why: "the decoder gave up on it".to_owned() }))
}

fn decode(bytes: &[u8], format: ImageFormat, orientation: Orientation) -> Result<RgbImage, Undecodable> {
    let bytes = &*if format == ImageFormat::Png { without_texts(bytes) } else { bytes.into() };
    let mut limits = image::Limits::default();
    limits.max_alloc = Some(MAX_DECODER_BYTES);
    let mut reader = ImageReader::with_format(Cursor::new(bytes), format);
    reader.limits(limits.clone());
    let mut decoder = reader.into_decoder().map_err(|e| reason(&e))?;
    let (width, height) = decoder.dimensions();
    let pixels = u64::from(width) * u64::from(height);
    if pixels > MAX_PIXELS {
        return Err(Undecodable::TooManyPixels { width, height });
    }
    if decoder.total_bytes() > MAX_DECODER_BYTES {
        return Err(Undecodable::TooMuchMemory);
    }
    let _large = one_large(pixels);
    decoder.set_limits(limits).map_err(|e| reason(&e))?;
    let picture = DynamicImage::from_decoder(decoder).map_err(|e| reason(&e))?;
    let mut picture = DynamicImage::ImageRgb8(flatten(picture));
    picture.apply_orientation(orientation);
    Ok(picture.into_rgb8())
}

/// A PNG file without its colour profile and texts (W3C PNG, third edition, 11.3): they are not shown, and a few kilobytes
/// of them can unpack to gigabytes.
fn without_texts(bytes: &[u8]) -> Cow<'_, [u8]> {
    const LEFT_OUT: [&[u8]; 4] = [b"iCCP", b"iTXt", b"tEXt", b"zTXt"];
    let (head, mut rest) = bytes.split_at_checked(8).unwrap_or((bytes, &[]));
    let mut kept = Cow::Borrowed(bytes);
    let mut out = head.to_vec();
    while let Some((length, after)) = rest.split_first_chunk::<4>() {
        let whole =
            usize::try_from(u32::from_be_bytes(*length)).ok().and_then(|length| length.checked_add(12));
        let (chunk, next) = whole.and_then(|whole| rest.split_at_checked(whole)).unwrap_or((rest, &[]));
        if LEFT_OUT.iter().any(|kind| after.starts_with(kind)) {
            kept = Cow::Owned(Vec::new());
        } else {
            out.extend_from_slice(chunk);
        }
        rest = next;
    }
    if matches!(kept, Cow::Owned(_)) { Cow::Owned(out) } else { kept }
}

fn format_of(bytes: &[u8]) -> Result<ImageFormat, Undecodable> {
    match image::guess_format(bytes) {
        Ok(format @ (ImageFormat::Jpeg | ImageFormat::Png | ImageFormat::WebP)) => Ok(format),
        Ok(ImageFormat::Avif) => Err(Undecodable::Heic),
        Ok(ImageFormat::Tiff) => Err(Undecodable::Raw),
        _ if bytes.is_empty() => Err(Undecodable::Broken { why: "the file is empty".to_owned() }),
        _ => Err(unknown_format(bytes)),
    }
}

/// Names the kinds that cameras and phones commonly write and that are not decoded here.
fn unknown_format(bytes: &[u8]) -> Undecodable {
    let brand = bytes.get(4..12).and_then(|b| b.strip_prefix(b"ftyp")).unwrap_or_default();
    // Every raw format that is not plain TIFF has its own beginning; common practice, no source.
    let raw_starts: [&[u8]; 4] = [b"FUJIFILMCCD-RAW", b"IIRO", b"IIU\0", b"IIRS"];
    match brand {
        b"heic" | b"heix" | b"hevc" | b"heim" | b"heis" | b"mif1" | b"msf1" | b"avif" | b"avis" => {
            Undecodable::Heic
        }
        b"crx " => Undecodable::Raw,
        _ if raw_starts.iter().any(|start| bytes.starts_with(start)) => Undecodable::Raw,
        _ => Undecodable::OtherFormat,
    }
}

fn reason(error: &ImageError) -> Undecodable {
    match error {
        ImageError::Limits(_) => Undecodable::TooMuchMemory,
        other => broken(other),
    }
}

fn broken(error: impl ToString) -> Undecodable {
    Undecodable::Broken { why: shown_text(&error.to_string()).chars().take(200).collect() }
}

/// Lays the picture on white. Dropping the transparency instead would bring back what is under it.
fn flatten(picture: DynamicImage) -> RgbImage {
    if !picture.color().has_alpha() {
        return picture.into_rgb8();
    }
    let rgba = picture.into_rgba8();
    let (width, height) = rgba.dimensions();
    let mut out = RgbImage::new(width, height);
    for (to, from) in out.pixels_mut().zip(rgba.pixels()) {
        let [r, g, b, alpha] = from.0.map(u32::from);
        let over_white = |c: u32| ((c * alpha + 255 * (255 - alpha) + 127) / 255) as u8;
        *to = Rgb([over_white(r), over_white(g), over_white(b)]);
    }
    out
}

fn withhold(mut picture: RgbImage, boxes: &[Area]) -> Result<RgbImage, (usize, &'static str)> {
    let (width, height) = picture.dimensions();
    for (index, withheld) in boxes.iter().enumerate() {
        let refuse = |problem| (index + 1, problem);
        let (x, y) = match *withheld {
            Area::Fraction { left, top, width: w, height: h } => (
                span_of_fraction(left, w, width).map_err(refuse)?,
                span_of_fraction(top, h, height).map_err(refuse)?,
            ),
            Area::Pixels { left, top, width: w, height: h } => (
                span_of_pixels(left, w, width).map_err(refuse)?,
                span_of_pixels(top, h, height).map_err(refuse)?,
            ),
        };
        for row in y {
            for column in x.clone() {
                if let Some(pixel) = picture.get_pixel_mut_checked(column, row) {
                    *pixel = Rgb([0, 0, 0]);
                }
            }
        }
    }
    Ok(picture)
}

fn span_of_fraction(start: f64, length: f64, size: u32) -> Result<std::ops::Range<u32>, &'static str> {
    // Written so that NaN is refused too.
    let inside = start >= 0.0 && length > 0.0 && start + length <= 1.0 + 1e-9;
    if !inside || start >= 1.0 {
        return Err("must lie between 0 and 1 and have a size");
    }
    let size_f = f64::from(size);
    let first = (start * size_f).floor() as u32;
    let end = ((start + length) * size_f).ceil() as u32;
    Ok(first..end.min(size))
}

fn span_of_pixels(start: u32, length: u32, size: u32) -> Result<std::ops::Range<u32>, &'static str> {
    if length == 0 {
        return Err("has no size");
    }
    if start >= size {
        return Err("lies outside the picture");
    }
    Ok(start..start.saturating_add(length).min(size))
}

/// Scales down so that the longer edge has at most `max_edge` pixels.
fn shrink(picture: RgbImage, max_edge: u32) -> Result<RgbImage, Undecodable> {
    let (width, height) = picture.dimensions();
    let longer = width.max(height);
    if longer <= max_edge {
        return Ok(picture);
    }
    let scaled = |edge: u32| {
        let exact = u64::from(edge) * u64::from(max_edge) / u64::from(longer);
        u32::try_from(exact).unwrap_or(max_edge).max(1)
    };
    underlid_pixels::scaled(&picture, scaled(width), scaled(height)).map_err(broken)
}

#[cfg(test)]
mod tests;
