//! Which pictures are decoded before anything is judged: as many as the rules of a book ask for.

use std::path::Path;

use rayon::prelude::*;

use super::facts::{PHOTO_COUNTS, Seen, counted_photos};
use super::rules::Book;
use super::withhold::Withheld;
use crate::evidence::whole::{Look, Looks};
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
    if book.asks_photos() || book.most_asked("element.photos").is_some() {
        wanted.push((counted_photos(record, "evidence.photos"), usize::MAX));
    }
    let look = |(files, enough): (Vec<String>, usize)| {
        let mut seen = Seen::new();
        let mut whole = 0;
        for file in files {
            if whole >= enough {
                break;
            }
            let look = seen.entry(file).or_insert_with_key(|file| looks.at(folder, withheld.original(file)));
            whole += usize::from(*look == Look::Whole);
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
