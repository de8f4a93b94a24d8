//! Photos as evidence: only a picture that was decoded to its last pixel counts, and no more of them are decoded than a
//! rule asks for.

use std::collections::{BTreeMap, HashSet};

use super::lookup::Facts;
use super::value::{Answer, Missing, Reason, Side};
use super::worker::Worker;
use crate::evidence::whole::PictureState;
use crate::record::{Part, Record};
use crate::units::{Amount, Dimension};

/// Numbers of photos by name, and what those photos show; nothing for all of them.
pub(crate) const PHOTO_COUNTS: [(&str, &[&str]); 4] = [
    ("evidence.photos", &[]),
    ("evidence.label_photos", &["label", "claims", "marking"]),
    ("evidence.bms_photos", &["bms"]),
    ("evidence.cells_photos", &["cells"]),
];

/// Pictures that were looked at, by file.
pub(crate) type Seen = BTreeMap<String, PictureState>;

/// Until the first photo is recorded, nobody has begun to tie parts to photos.
pub(crate) fn no_photos() -> Missing {
    let what = "no photo (`[[photo]]`) is recorded yet".to_owned();
    Missing::told("photo", what, Reason::NotRecorded)
}

/// The files of the photos that a part itself names.
pub(crate) fn named_photos<P: Part>(record: &Record, part: &P) -> Vec<String> {
    let own = part.own();
    if own.photos_withheld {
        crate::record::reads::note_withheld();
    }
    let listed = |name: &str| {
        let mut files = record.photo.iter().filter_map(|photo| photo.file.text());
        files.find(|file| *file == name || file.rsplit('/').next() == Some(name)).map(str::to_owned)
    };
    own.photos.iter().map(|name| listed(name).unwrap_or_else(|| format!("photos/{name}"))).collect()
}

/// The files of the photos that a count is of.
pub(crate) fn counted_photos(record: &Record, count: &str) -> Vec<String> {
    let all = record.photo.iter();
    let shown = PHOTO_COUNTS.iter().find(|(name, _)| *name == count).map_or(&[][..], |(_, shows)| *shows);
    let mut files: Vec<String> = all
        .filter(|photo| shown.is_empty() || photo.parts().any(|part| shown.contains(&part)))
        .map(|photo| photo.file.text().unwrap_or_default().to_owned())
        .collect();
    match count {
        "evidence.label_photos" => files.extend(named_photos(record, &record.claims)),
        "evidence.bms_photos" => files.extend(named_photos(record, &record.bms)),
        "evidence.cells_photos" => files.extend(named_photos(record, &record.cells)),
        _ => {}
    }
    files
}

/// The number of photos that count.
pub(crate) fn photo_count(facts: &Facts<'_>, files: Vec<String>) -> Answer {
    if files.is_empty() && facts.record.photo.is_empty() {
        return Err(vec![no_photos()]);
    }
    let mut work = Worker::new(facts);
    let (mut number, mut seen, mut open) = (0_u32, HashSet::new(), Vec::new());
    let looked_at = files.iter().any(|file| facts.derived.seen.contains_key(file));
    for file in &files {
        let missing = |what: String| Missing::told("photo.file", what, Reason::NotVisible);
        match facts.derived.seen.get(file) {
            Some(PictureState::Whole) => number += 1,
            None if !looked_at => number += 1,
            // The same photo may be named twice.
            _ if !seen.insert(file) => {}
            Some(PictureState::Damaged(why)) => work.step(|| format!("{file} does not count: {why}")),
            Some(PictureState::NotSeen(why)) => {
                open.push(missing(format!("{file} cannot be looked at: {why}")));
            }
            None => open.push(missing(format!("{file} was not looked at: enough others count"))),
        }
    }
    // None that surely counts, and some that may: nothing is known of the number.
    if number == 0 && !open.is_empty() {
        return Err(open);
    }
    let number = Amount::exact(f64::from(number), Dimension::NONE);
    work.bounded(Side::AtLeast, open, false);
    work.done(number)
}
