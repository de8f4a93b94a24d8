//! What a photo says of itself: when it was taken, which way up it is, and what it would give away.
//!
//! Read from EXIF (CIPA DC-008) by the `kamadak-exif` library, from at most [`HEAD_MAX_BYTES`] of
//! the file, so that a file's claims about its own lengths cannot fill the memory. Nothing here is
//! proof: EXIF can be edited, and a camera's clock can be wrong. Broken EXIF is no error; the photo
//! is still evidence, only without these facts. Nothing is ever written back.

use std::fmt;
use std::io::{Cursor, Read};
use std::path::Path;

use exif::{Exif, In, Tag, Value};
use image::metadata::Orientation;
use jiff::civil;
use serde::{Serialize, Serializer};

use super::hash::HashError;
use crate::record::open::{self, FileError};
use crate::units::terminal::shown_text;

/// How much of a file is looked at, in bytes. Cameras write EXIF at the beginning.
pub const HEAD_MAX_BYTES: u64 = 64 * 1024 * 1024;

/// A JPEG's EXIF lies in a segment of at most 64 KiB before the picture; a few of them may precede.
const JPEG_HEAD_MAX_BYTES: u64 = 4 * 1024 * 1024;

/// How far a packet of XMP, the other place where programs write a position, is searched for.
const XMP_MAX_BYTES: usize = 1024 * 1024;

/// The most characters kept of a camera's name.
const CAMERA_MAX_CHARS: usize = 80;

/// What the camera's clock showed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CaptureTime {
    pub local: civil::DateTime,
    /// How far that is ahead of UTC, in minutes, if the camera knew.
    pub offset_minutes: Option<i16>,
}

impl CaptureTime {
    /// The time in UTC, if the camera knew its offset.
    pub fn utc(&self) -> Option<civil::DateTime> {
        let minutes = i64::from(self.offset_minutes?);
        let offset = jiff::SignedDuration::from_mins(minutes);
        self.local.checked_sub(offset).ok()
    }
}

impl fmt::Display for CaptureTime {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.local)?;
        if let Some(minutes) = self.offset_minutes {
            let sign = if minutes < 0 { '-' } else { '+' };
            let minutes = minutes.unsigned_abs();
            write!(f, "{sign}{:02}:{:02}", minutes / 60, minutes % 60)?;
        }
        Ok(())
    }
}

impl Serialize for CaptureTime {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

/// What EXIF (and, for a position or serial number, XMP) says of one photo.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, schemars::JsonSchema)]
pub struct PhotoFacts {
    /// When it was taken, by the camera's own clock.
    #[schemars(with = "Option<String>")]
    pub taken: Option<CaptureTime>,
    /// What has to be done to the stored picture to see it upright.
    #[serde(skip)]
    pub orientation: Orientation,
    /// The camera's model as it names itself, at most 80 characters.
    pub camera: Option<String>,
    /// Focal length as on film of 36 mm, millimetres, with the size in pixels that it belongs to.
    #[serde(skip)]
    pub focal: Option<(u16, [u32; 2])>,
    /// Whether it says where it was taken.
    pub has_location: bool,
    /// Whether it gives a serial number of the camera or lens, or an owner's name.
    pub has_serial_or_owner: bool,
    /// Whether it holds a maker's private block, which often repeats serial numbers.
    pub has_maker_note: bool,
}

impl Default for PhotoFacts {
    fn default() -> Self {
        Self {
            taken: None,
            orientation: Orientation::NoTransforms,
            camera: None,
            focal: None,
            has_location: false,
            has_serial_or_owner: false,
            has_maker_note: false,
        }
    }
}

impl PhotoFacts {
    /// Focal length as on film of 36 mm, millimetres; nothing for a picture of another size than the camera's, which may be a
    /// part of it.
    #[cfg(feature = "measuring")]
    pub(crate) fn focal_on_film(&self, mut size: [u32; 2]) -> Option<u16> {
        let (focal, mut of) = self.focal?;
        size.sort_unstable();
        of.sort_unstable();
        (size == of && focal > 0).then_some(focal)
    }
}

/// Reads what a photo says of itself; a photo without readable EXIF says nothing.
///
/// # Errors
/// When the file cannot be read or is no plain file.
pub fn read(path: &Path) -> Result<PhotoFacts, HashError> {
    let (file, _) = open::plain(path)?;
    let mut head = Vec::new();
    let mut rest = file.take(HEAD_MAX_BYTES);
    rest.by_ref().take(4096).read_to_end(&mut head).map_err(FileError::on("read", path))?;
    if is_jpeg(&head) {
        rest.set_limit(JPEG_HEAD_MAX_BYTES);
    }
    rest.read_to_end(&mut head).map_err(FileError::on("read", path))?;
    Ok(read_bytes(&head))
}

/// As [`read`], from the beginning of a file that is already in memory.
pub fn read_bytes(bytes: &[u8]) -> PhotoFacts {
    let limit = if is_jpeg(bytes) { JPEG_HEAD_MAX_BYTES } else { HEAD_MAX_BYTES };
    let limit = usize::try_from(limit).unwrap_or(usize::MAX);
    let head = bytes.get(..limit).unwrap_or(bytes);
    let xmp = head.get(..XMP_MAX_BYTES).unwrap_or(head);
    let mut facts = PhotoFacts {
        has_location: contains(xmp, b":GPSLatitude"),
        has_serial_or_owner: contains(xmp, b":SerialNumber")
            || contains(xmp, b":BodySerialNumber")
            || contains(xmp, b":OwnerName"),
        ..PhotoFacts::default()
    };
    let exif = exif::Reader::new()
        .continue_on_error(true)
        .read_from_container(&mut Cursor::new(head))
        .or_else(|e| e.distill_partial_result(|_| {}));
    if let Ok(exif) = exif {
        add_exif(&mut facts, &exif);
    }
    facts
}

fn is_jpeg(head: &[u8]) -> bool {
    head.starts_with(&[0xff, 0xd8, 0xff])
}

fn contains(haystack: &[u8], needle: &[u8]) -> bool {
    haystack.windows(needle.len()).any(|w| w == needle)
}

fn add_exif(facts: &mut PhotoFacts, exif: &Exif) {
    let has = |tag| exif.get_field(tag, In::PRIMARY).is_some();
    facts.taken = taken(exif);
    facts.orientation = exif
        .get_field(Tag::Orientation, In::PRIMARY)
        .and_then(|f| f.value.get_uint(0))
        .and_then(|v| u8::try_from(v).ok())
        .and_then(Orientation::from_exif)
        .unwrap_or(Orientation::NoTransforms);
    facts.camera = text(exif, Tag::Model).and_then(|model| {
        let model = String::from_utf8_lossy(model);
        let model: String = model.trim().chars().take(CAMERA_MAX_CHARS).collect();
        (!model.is_empty()).then(|| shown_text(&model))
    });
    let number = |tag| exif.get_field(tag, In::PRIMARY)?.value.get_uint(0);
    facts.focal = number(Tag::FocalLengthIn35mmFilm).and_then(|focal| {
        let size = [number(Tag::PixelXDimension)?, number(Tag::PixelYDimension)?];
        Some((u16::try_from(focal).ok()?, size))
    });
    facts.has_location |= [Tag::GPSLatitude, Tag::GPSLongitude, Tag::GPSDestLatitude].into_iter().any(has);
    facts.has_serial_or_owner |=
        [Tag::BodySerialNumber, Tag::LensSerialNumber, Tag::CameraOwnerName].into_iter().any(has);
    facts.has_maker_note = has(Tag::MakerNote);
}

fn text(exif: &Exif, tag: Tag) -> Option<&[u8]> {
    match &exif.get_field(tag, In::PRIMARY)?.value {
        Value::Ascii(lines) => lines.first().map(Vec::as_slice),
        _ => None,
    }
}

/// `DateTimeOriginal` is when the shutter opened; `DateTimeDigitized` serves for scans. `DateTime`
/// is when a program last saved the file, so it is not used.
fn taken(exif: &Exif) -> Option<CaptureTime> {
    [
        (Tag::DateTimeOriginal, Tag::SubSecTimeOriginal, Tag::OffsetTimeOriginal),
        (Tag::DateTimeDigitized, Tag::SubSecTimeDigitized, Tag::OffsetTimeDigitized),
    ]
    .into_iter()
    .find_map(|(time, fraction, offset)| {
        let mut read = exif::DateTime::from_ascii(text(exif, time)?).ok()?;
        // Both are extras: if they are nonsense the time itself still counts.
        let _ = text(exif, fraction).map(|t| read.parse_subsec(t));
        let _ = text(exif, offset).map(|t| read.parse_offset(t));
        let part = |n: u8| i8::try_from(n).ok();
        // Unset clocks write 0000:00:00, which is no date and so is refused here.
        let local = civil::DateTime::new(
            i16::try_from(read.year).ok()?,
            part(read.month)?,
            part(read.day)?,
            part(read.hour)?,
            part(read.minute)?,
            part(read.second)?,
            read.nanosecond.and_then(|n| i32::try_from(n).ok()).unwrap_or(0),
        )
        .ok()?;
        Some(CaptureTime { local, offset_minutes: read.offset })
    })
}

#[cfg(test)]
pub(crate) mod tests {
    use exif::experimental::Writer;
    use exif::{Field, Rational};

    use super::*;

    /// A TIFF block of EXIF with the given fields.
    pub(crate) fn block(fields: &[(Tag, Value)]) -> Vec<u8> {
        let fields: Vec<_> = fields
            .iter()
            .map(|(tag, value)| Field { tag: *tag, ifd_num: In::PRIMARY, value: value.clone() })
            .collect();
        let mut writer = Writer::new();
        fields.iter().for_each(|f| writer.push_field(f));
        let mut out = Cursor::new(Vec::new());
        writer.write(&mut out, false).unwrap();
        out.into_inner()
    }

    /// Puts `payload` into an APP1 segment right behind a JPEG's start marker.
    pub(crate) fn with_app1(jpeg: &[u8], payload: &[u8]) -> Vec<u8> {
        let mut out = jpeg[..2].to_vec();
        out.extend([0xff, 0xe1]);
        out.extend(u16::try_from(payload.len() + 2).unwrap().to_be_bytes());
        out.extend(payload);
        out.extend(&jpeg[2..]);
        out
    }

    pub(crate) fn ascii(text: &str) -> Value {
        Value::Ascii(vec![text.as_bytes().to_vec()])
    }

    pub(crate) fn latitude() -> Value {
        let degrees = [51, 28, 40].map(|num| Rational { num, denom: 1 });
        Value::Rational(degrees.to_vec())
    }

    fn facts(fields: &[(Tag, Value)]) -> PhotoFacts {
        let mut payload = b"Exif\0\0".to_vec();
        payload.extend(block(fields));
        read_bytes(&with_app1(&[0xff, 0xd8, 0xff, 0xd9], &payload))
    }

    #[test]
    fn reads_time_orientation_and_what_gives_away() {
        let full = facts(&[
            (Tag::Orientation, Value::Short(vec![6])),
            (Tag::Model, ascii("Invented \u{1b}[31mCamera")),
            (Tag::DateTimeOriginal, ascii("2031:05:04 10:22:05")),
            (Tag::SubSecTimeOriginal, ascii("25")),
            (Tag::OffsetTimeOriginal, ascii("-03:30")),
            (Tag::BodySerialNumber, ascii("SN1")),
            (Tag::GPSLatitude, latitude()),
            (Tag::MakerNote, Value::Undefined(vec![1; 9], 0)),
        ]);
        assert_eq!(full.orientation, Orientation::Rotate90);
        assert_eq!(full.camera.as_deref(), Some("Invented \\u001b[31mCamera"));
        let taken = full.taken.unwrap();
        assert_eq!(taken.to_string(), "2031-05-04T10:22:05.25-03:30");
        assert_eq!(taken.utc().unwrap().to_string(), "2031-05-04T13:52:05.25");
        assert!(full.has_location && full.has_serial_or_owner && full.has_maker_note);
        assert_eq!(facts(&[(Tag::Make, ascii("Invented"))]), PhotoFacts::default());
    }

    #[test]
    fn an_unset_or_broken_clock_gives_no_time() {
        for time in [
            "0000:00:00 00:00:00",
            "    :  :     :  :  ",
            "2031:13:01 00:00:00",
            "2031:02:30 00:00:00",
            "2031:02:03 99:00:00",
            "yesterday",
            "",
        ] {
            let found = facts(&[(Tag::DateTimeOriginal, ascii(time))]);
            assert_eq!(found.taken, None, "{time}");
        }
        let saved_only = facts(&[(Tag::DateTime, ascii("2031:05:04 10:22:05"))]);
        assert_eq!(saved_only.taken, None);
    }

    #[test]
    fn a_position_in_xmp_counts_too() {
        let xmp = b"http://ns.adobe.com/xap/1.0/\0<x exif:GPSLatitude=\"51,28.6N\"/>";
        let found = read_bytes(&with_app1(&[0xff, 0xd8, 0xff, 0xd9], xmp));
        assert!(found.has_location);
    }

    proptest::proptest! {
        #[test]
        fn no_bytes_make_it_panic(
            mut bytes in proptest::collection::vec(0_u8.., 0..400),
            start in 0_usize..6,
        ) {
            let starts: [&[u8]; 6] = [
                b"",
                b"\xff\xd8\xff\xe1\x01\x00Exif\0\0II*\0\x08\0\0\0\x09\0",
                b"MM\0*\0\0\0\x08\0\x09",
                b"\x89PNG\r\n\x1a\n\0\0\x01\0eXIfMM\0*\0\0\0\x08\0\x09",
                b"\0\0\0\x18ftypheic\0\0\0\0mif1heic\0\0\x01\0meta\0\0\0\0",
                b"RIFF\0\x01\0\0WEBPEXIF\0\x01\0\0II*\0\x08\0\0\0\x09\0",
            ];
            bytes.splice(0..0, starts[start].iter().copied());
            let _ = read_bytes(&bytes);
        }
    }
}
