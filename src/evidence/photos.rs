//! A card or folder full of photos: in what order they were taken, and which are there twice.
//!
//! Everything here is a proposal for a person to accept. The order follows the camera's clock, then
//! the name; photos without a time come last, because guessing a place for them would be making
//! evidence up. Exact duplicates have the same SHA-256. Near-duplicates look alike by a difference
//! hash, which finds the same picture saved again smaller, and also two shots of one part taken a
//! second apart: only a person can tell whether one of them may go. Originals are only ever read.

use std::cmp::Ordering;
use std::collections::BTreeMap;
use std::io::Read;
use std::path::{Path, PathBuf};

use image::DynamicImage;
use rayon::prelude::*;
use serde::Serialize;
use walkdir::WalkDir;

use super::exif::{self, CaptureTime, PhotoFacts};
use super::folder::{MAX_DEPTH, MAX_FILES};
use super::hash::{HashError, Meter, OnProgress, Sha256Digest, copy_file};
use super::picture::{MAX_FILE_BYTES, Undecodable, decode_upright};
use crate::record::open::{self, FileError};

/// The endings of names that are taken for photos, in lower case.
pub const PHOTO_ENDINGS: [&str; 18] = [
    "jpg", "jpeg", "png", "webp", "heic", "heif", "avif", "tif", "tiff", "dng", "arw", "cr2", "cr3", "nef",
    "orf", "pef", "raf", "rw2",
];

/// The endings of names that are taken for films, in lower case.
const VIDEO_ENDINGS: [&str; 10] = ["mp4", "mov", "m4v", "avi", "mts", "m2ts", "mkv", "webm", "3gp", "insv"];

/// Two photos whose difference hashes differ in at most this many of 64 bits look alike. Of 64
/// independent bits 32 would differ on average; up to 10 is common practice for this hash, no
/// source.
pub const NEAR_DUPLICATE_MAX_BITS: u32 = 10;

/// A picture with less contrast than this between its lightest and darkest ninth, in steps of 255,
/// is blank: its hash would be of noise.
const BLANK_CONTRAST: u8 = 8;

/// 64 bits that say where a picture gets lighter from left to right (a difference hash, "dHash").
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct DifferenceHash(u64);

impl DifferenceHash {
    /// The hash of an upright picture; nothing if it is blank.
    pub(crate) fn of(picture: &DynamicImage) -> Option<Self> {
        // Nine columns give eight differences a row.
        let (columns, rows) = (9, 8);
        if picture.width() == 0 || picture.height() == 0 {
            return None;
        }
        let small = picture.thumbnail_exact(columns, rows).into_luma8();
        let lights = small.as_raw();
        let darkest = lights.iter().min()?;
        let lightest = lights.iter().max()?;
        if lightest - darkest < BLANK_CONTRAST {
            return None;
        }
        let bits =
            lights.chunks_exact(columns as usize).flat_map(|row| row.windows(2)).fold(0_u64, |bits, pair| {
                let rises = matches!(pair, [left, right] if left < right);
                bits << 1 | u64::from(rises)
            });
        Some(Self(bits))
    }

    /// In how many of 64 bits two pictures differ.
    pub fn distance(self, other: Self) -> u32 {
        (self.0 ^ other.0).count_ones()
    }
}

/// One photo, as found.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, schemars::JsonSchema)]
pub struct Photo {
    /// Where it lies.
    pub path: PathBuf,
    /// Its size in bytes.
    pub bytes: u64,
    /// Its hash.
    pub digest: Sha256Digest,
    /// What it says of itself.
    pub facts: PhotoFacts,
    /// Width and height of the upright picture, if it can be decoded.
    pub pixels: Option<(u32, u32)>,
    /// Why it cannot be shown.
    pub undecodable: Option<Undecodable>,
    /// What it looks like, if it can be decoded and is not blank.
    #[serde(skip)]
    pub look: Option<DifferenceHash>,
}

/// What a set of photos turned out to be.
#[derive(Debug, Default)]
pub struct Survey {
    /// The photos, in the proposed order.
    pub photos: Vec<Photo>,
    /// Groups of photos with the same content, as positions in `photos`.
    pub duplicates: Vec<Vec<usize>>,
    /// Groups of photos that look alike, as positions in `photos`, without exact duplicates.
    pub near_duplicates: Vec<Vec<usize>>,
    /// Files that could not be read.
    pub unreadable: Vec<HashError>,
}

/// What lies on a card or in folders, before anything is read.
#[derive(Debug, Default)]
pub struct Card {
    /// The photos, by the ending of their names, sorted by path.
    pub photos: Vec<PathBuf>,
    /// Films; they are not taken.
    pub videos: Vec<PathBuf>,
    /// Files of other kinds, and hidden ones.
    pub others: usize,
    pub links: usize,
    /// What could not be looked at, and why.
    pub refused: Vec<String>,
}

/// Looks through folders and cards. Links are not followed, hidden files and folders are passed over, and what cannot
/// be read is named and does not keep the rest from being found. A file that is named itself counts whatever its ending.
pub fn find(from: &[PathBuf]) -> Card {
    let mut card = Card::default();
    let mut seen = 0_usize;
    for root in from {
        let walk = WalkDir::new(root).follow_links(false).max_depth(MAX_DEPTH).sort_by_file_name();
        let mut walk = walk.into_iter();
        while let Some(entry) = walk.next() {
            seen += 1;
            if seen > MAX_FILES {
                card.refused
                    .push(format!("there are more than {MAX_FILES} files; the rest was not looked at"));
                return card;
            }
            let entry = match entry {
                Ok(entry) => entry,
                Err(error) => {
                    let path = error.path().unwrap_or(root).to_path_buf();
                    let source = error
                        .into_io_error()
                        .unwrap_or_else(|| std::io::Error::other("the folder contains itself"));
                    card.refused.push(FileError::on("read", &path)(source).to_string());
                    continue;
                }
            };
            let (named, kind) = (entry.depth() == 0, entry.file_type());
            if !named && entry.file_name().as_encoded_bytes().starts_with(b".") {
                if kind.is_dir() {
                    walk.skip_current_dir();
                }
                card.others += 1;
            } else if kind.is_symlink() {
                card.links += 1;
            } else if kind.is_file() && (named || is_photo_name(entry.path())) {
                card.photos.push(entry.into_path());
            } else if kind.is_file() && has_ending(entry.path(), &VIDEO_ENDINGS) {
                card.videos.push(entry.into_path());
            } else if !kind.is_dir() {
                card.others += 1;
            }
        }
    }
    card
}

/// Whether a name ends like a photo's.
pub fn is_photo_name(path: &Path) -> bool {
    has_ending(path, &PHOTO_ENDINGS)
}

fn has_ending(path: &Path, endings: &[&str]) -> bool {
    let ending = path.extension().and_then(|e| e.to_str());
    ending.is_some_and(|ending| endings.contains(&ending.to_ascii_lowercase().as_str()))
}

/// Reads photos in parallel, puts them in order and finds those that are there twice.
pub fn survey(paths: &[PathBuf], on: OnProgress<'_>) -> Survey {
    let total = paths.iter().filter_map(|p| p.symlink_metadata().ok()).map(|m| m.len()).sum();
    let meter = Meter::new(total, on);
    let read: Vec<_> = paths.par_iter().map(|p| read_photo(p, &meter)).collect();
    let mut survey = Survey::default();
    for photo in read {
        match photo {
            Ok(photo) => survey.photos.push(photo),
            Err(error) => survey.unreadable.push(error),
        }
    }
    put_in_order(&mut survey.photos);
    survey.duplicates = duplicates(&survey.photos);
    survey.near_duplicates = near_duplicates(&survey.photos);
    survey
}

fn read_photo(path: &Path, meter: &Meter<'_>) -> Result<Photo, HashError> {
    let (file, metadata) = open::plain(path)?;
    let bytes = metadata.len();
    if bytes > MAX_FILE_BYTES {
        return Ok(Photo {
            path: path.to_path_buf(),
            bytes,
            digest: copy_file(path, &mut std::io::sink(), |n| meter.add(n))?,
            facts: exif::read(path)?,
            pixels: None,
            undecodable: Some(Undecodable::FileTooLarge { bytes }),
            look: None,
        });
    }
    // Small enough to be read once for everything.
    let mut content = Vec::new();
    file.take(MAX_FILE_BYTES).read_to_end(&mut content).map_err(FileError::on("read", path))?;
    let facts = exif::read_bytes(&content);
    let (pixels, undecodable, look) = match decode_upright(&content, facts.orientation) {
        Ok(picture) => (Some(picture.dimensions()), None, DifferenceHash::of(&picture.into())),
        Err(why) => (None, Some(why), None),
    };
    meter.add(content.len() as u64);
    Ok(Photo {
        path: path.to_path_buf(),
        bytes: content.len() as u64,
        digest: Sha256Digest::of(&content),
        facts,
        pixels,
        undecodable,
        look,
    })
}

/// Sorts by capture time, then by name with numbers counted as numbers; without a time comes last.
///
/// Times are compared in UTC only if every photo with a time knows its offset from UTC; otherwise
/// by what the clock showed, because the two cannot be mixed.
pub fn put_in_order(photos: &mut [Photo]) {
    let times = || photos.iter().filter_map(|p| p.facts.taken);
    let in_utc = times().all(|t| t.utc().is_some());
    let when = |t: CaptureTime| {
        if in_utc { t.utc().unwrap_or(t.local) } else { t.local }
    };
    photos.sort_by(|a, b| {
        let by_time = match (a.facts.taken, b.facts.taken) {
            (Some(a), Some(b)) => when(a).cmp(&when(b)),
            (Some(_), None) => Ordering::Less,
            (None, Some(_)) => Ordering::Greater,
            (None, None) => Ordering::Equal,
        };
        by_time.then_with(|| natural_order(&a.path, &b.path))
    });
}

/// Compares names so that 2 comes before 10.
fn natural_order(a: &Path, b: &Path) -> Ordering {
    let (a, b) = (a.as_os_str(), b.as_os_str());
    let (mut x, mut y) = (a.as_encoded_bytes(), b.as_encoded_bytes());
    loop {
        match (x, y) {
            ([], []) => return a.cmp(b),
            ([], _) => return Ordering::Less,
            (_, []) => return Ordering::Greater,
            ([p, ..], [q, ..]) if p.is_ascii_digit() && q.is_ascii_digit() => {
                let (number_x, rest_x) = leading_number(x);
                let (number_y, rest_y) = leading_number(y);
                // Without leading zeros the longer number is the larger; no number is too long.
                let order = number_x.len().cmp(&number_y.len()).then_with(|| number_x.cmp(number_y));
                if order.is_ne() {
                    return order;
                }
                (x, y) = (rest_x, rest_y);
            }
            ([p, rest_x @ ..], [q, rest_y @ ..]) => {
                let order = p.to_ascii_lowercase().cmp(&q.to_ascii_lowercase());
                if order.is_ne() {
                    return order;
                }
                (x, y) = (rest_x, rest_y);
            }
        }
    }
}

/// The digits a name starts with, without leading zeros, and what follows them.
fn leading_number(text: &[u8]) -> (&[u8], &[u8]) {
    let end = text.iter().position(|b| !b.is_ascii_digit()).unwrap_or(text.len());
    let (digits, rest) = text.split_at(end);
    let zeros = digits.iter().take_while(|&&d| d == b'0').count();
    (digits.get(zeros..).unwrap_or_default(), rest)
}

fn duplicates(photos: &[Photo]) -> Vec<Vec<usize>> {
    let mut by_digest: BTreeMap<Sha256Digest, Vec<usize>> = BTreeMap::new();
    for (position, photo) in photos.iter().enumerate() {
        by_digest.entry(photo.digest).or_default().push(position);
    }
    let mut groups: Vec<_> = by_digest.into_values().filter(|g| g.len() > 1).collect();
    groups.sort();
    groups
}

/// Each group is everything that looks like its first photo, so that a chain of small changes does
/// not tie together photos that have nothing in common.
fn near_duplicates(photos: &[Photo]) -> Vec<Vec<usize>> {
    // One of each set of exact duplicates stands for all.
    let mut first: BTreeMap<Sha256Digest, (usize, DifferenceHash)> = BTreeMap::new();
    for (position, photo) in photos.iter().enumerate() {
        if let Some(look) = photo.look {
            first.entry(photo.digest).or_insert((position, look));
        }
    }
    let mut left: Vec<_> = first.into_values().collect();
    left.sort_by_key(|(position, _)| *position);
    let mut groups = Vec::new();
    while let Some((_, look)) = left.first().copied() {
        let (alike, others): (Vec<_>, Vec<_>) =
            left.into_iter().partition(|(_, other)| look.distance(*other) <= NEAR_DUPLICATE_MAX_BITS);
        if alike.len() > 1 {
            groups.push(alike.into_iter().map(|(position, _)| position).collect());
        }
        left = others;
    }
    groups
}

#[cfg(test)]
mod tests {
    use image::{Rgb, RgbImage};
    use sha2::{Digest, Sha256};

    use super::*;

    /// A picture of nine by eight patches whose lights depend on `seed` in no simple way.
    fn scene(seed: u8, width: u32, height: u32) -> RgbImage {
        let patches: Vec<u8> = (0..8).flat_map(|row| Sha256::digest([seed, row])[..9].to_vec()).collect();
        RgbImage::from_fn(width, height, |x, y| {
            let light = patches[(y * 8 / height * 9 + x * 9 / width) as usize];
            Rgb([light, light / 2, light / 3])
        })
    }

    fn names(photos: &[Photo]) -> Vec<&str> {
        let name = |p: &'_ Photo| p.path.file_name().unwrap().to_str().unwrap().to_owned();
        photos.iter().map(|p| &*Box::leak(name(p).into_boxed_str())).collect()
    }

    fn photo(name: &str, taken: Option<(&str, Option<i16>)>) -> Photo {
        Photo {
            path: name.into(),
            bytes: 0,
            digest: Sha256Digest::of(name.as_bytes()),
            facts: PhotoFacts {
                taken: taken.map(|(local, offset_minutes)| CaptureTime {
                    local: local.parse().unwrap(),
                    offset_minutes,
                }),
                ..PhotoFacts::default()
            },
            pixels: None,
            undecodable: None,
            look: None,
        }
    }

    #[test]
    fn order_is_by_time_then_name_then_the_undated() {
        let noon = "2031-05-04T12:00:00";
        let mut photos = [
            photo("img_10.jpg", None),
            photo("IMG_9.jpg", None),
            photo("z.jpg", Some(("2031-05-04T11:59:59", None))),
            photo("b10.jpg", Some((noon, None))),
            photo("b9.jpg", Some((noon, Some(0)))),
            photo("b009.jpg", Some((noon, None))),
        ];
        put_in_order(&mut photos);
        assert_eq!(names(&photos), ["z.jpg", "b009.jpg", "b9.jpg", "b10.jpg", "IMG_9.jpg", "img_10.jpg"]);
        // With every offset known, 12:00 at UTC+2 is before 11:00 at UTC.
        let mut photos = [
            photo("phone.jpg", Some(("2031-05-04T11:00:00", Some(0)))),
            photo("camera.jpg", Some((noon, Some(120)))),
        ];
        put_in_order(&mut photos);
        assert_eq!(names(&photos), ["camera.jpg", "phone.jpg"]);
    }

    #[test]
    fn looks_survive_saving_again_and_tell_scenes_apart() {
        let look = |p: &RgbImage| DifferenceHash::of(&p.clone().into()).unwrap();
        let one = scene(1, 900, 640);
        let brighter = RgbImage::from_fn(900, 640, |x, y| Rgb(one.get_pixel(x, y).0.map(|c| c / 2 + 60)));
        let small = image::imageops::thumbnail(&one, 200, 142);
        for alike in [&brighter, &small] {
            assert!(look(&one).distance(look(alike)) <= NEAR_DUPLICATE_MAX_BITS);
        }
        for seed in 2..12 {
            let other = scene(seed, 900, 640);
            assert!(look(&one).distance(look(&other)) > NEAR_DUPLICATE_MAX_BITS);
        }
        assert_eq!(DifferenceHash::of(&RgbImage::new(100, 100).into()), None);
        assert_eq!(DifferenceHash::of(&RgbImage::new(0, 100).into()), None);
        assert!(DifferenceHash::of(&scene(1, 1, 1).into()).is_none());
    }

    proptest::proptest! {
        /// `sort_by` may panic on an order that is none.
        #[test]
        fn natural_order_is_an_order(
            mut names in proptest::collection::vec("[aAb012]{0,5}", 0..30)
        ) {
            names.sort_by(|a, b| natural_order(Path::new(a), Path::new(b)));
            for pair in names.windows(2) {
                let order = natural_order(Path::new(&pair[0]), Path::new(&pair[1]));
                proptest::prop_assert!(order.is_le());
                proptest::prop_assert_eq!(order.is_eq(), pair[0] == pair[1]);
            }
        }
    }
}
