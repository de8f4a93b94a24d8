//! Which pictures are decoded before anything is judged: as many as the rules of a book ask for.

use std::path::Path;

use rayon::prelude::*;

use super::facts::{PHOTO_COUNTS, Seen, Subject, counted_photos, named_photos};
use super::rules::{Book, subjects};
use super::withhold::Withheld;
use crate::evidence::whole::{Looks, PictureState};
use crate::record::Record;

/// Looks at as many photos as the rules of a book ask for.
pub(crate) fn photos_seen(
    folder: &Path,
    record: &Record,
    book: &Book,
    withheld: &Withheld,
    looks: &Looks,
) -> Seen {
    let mut wanted: Vec<(Vec<String>, usize)> = Vec::new();
    for (name, _) in PHOTO_COUNTS {
        if let Some(enough) = book.most_asked(name) {
            wanted.push((counted_photos(record, name), enough));
        }
    }
    for (rule, enough) in book.asking("element.photos") {
        for subject in subjects(&rule.scope, record) {
            if let Subject::Element(index) = subject {
                wanted.push((photos_of_element(record, index), enough));
            }
        }
    }
    if book.asks_photos() {
        wanted.push((counted_photos(record, "evidence.photos"), usize::MAX));
    }
    wanted.sort();
    wanted.dedup();
    let at = |file: &String| (file.clone(), looks.at(folder, withheld.original(file)));
    // As many as are enough are looked at side by side; more of them, one after the other, where some are not whole.
    let look = |(files, enough): &(Vec<String>, usize)| {
        let (first, more) = files.split_at(files.len().min(*enough));
        let mut seen: Seen = first.par_iter().map(at).collect();
        let whole = |seen: &Seen| seen.values().filter(|state| **state == PictureState::Whole).count();
        for file in more {
            if whole(&seen) >= *enough {
                break;
            }
            seen.extend([at(file)]);
        }
        seen
    };
    wanted.par_iter().map(look).reduce(Seen::new, |mut all, more| {
        all.extend(more);
        all
    })
}

/// The files of the photos that show an element.
fn photos_of_element(record: &Record, index: usize) -> Vec<String> {
    let Some(element) = record.path.element.get(index) else { return Vec::new() };
    let photos = record
        .photo
        .iter()
        .filter(|photo| element.id.text().is_some_and(|id| photo.parts().any(|part| part == id)));
    let shown = photos.filter_map(|photo| photo.file.text().map(str::to_owned));
    shown.chain(named_photos(record, element)).collect()
}
