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
    let look = |(files, enough): (Vec<String>, usize)| {
        let mut seen = Seen::new();
        let mut whole = 0;
        for file in files {
            if whole >= enough {
                break;
            }
            let look = seen.entry(file).or_insert_with_key(|file| looks.at(folder, withheld.original(file)));
            whole += usize::from(*look == PictureState::Whole);
        }
        seen
    };
    // Where all are wanted they are decoded side by side.
    let wanted = wanted.into_iter().flat_map(|(files, enough)| match enough {
        usize::MAX => files.into_iter().map(|file| (vec![file], 1)).collect(),
        _ => vec![(files, enough)],
    });
    wanted.collect::<Vec<_>>().into_par_iter().map(look).reduce(Seen::new, |mut all, more| {
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
