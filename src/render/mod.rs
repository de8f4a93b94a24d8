//! Rendering: what was judged, put before a reader. Nothing here decides anything.

pub mod collection;
#[cfg(feature = "compare")]
pub mod compare;
mod draw;
pub(crate) mod markup;
pub(crate) mod plan;
#[cfg(feature = "video")]
pub(crate) mod video;
pub mod write_up;

use std::path::Path;

use crate::judge::inspection::Inspection;
use crate::judge::withhold::OwnWords;
#[cfg(feature = "measuring")]
pub(crate) use draw::scale_sheet;

/// Makes the write-up of an inspection, with what it carries for collections; `templates` is a folder whose files replace
/// the built-in templates.
///
/// # Errors
/// [`write_up::WriteUpError`] names the template and what is wrong with it.
pub(crate) fn write_up(
    inspection: &Inspection,
    templates: Option<&Path>,
) -> Result<write_up::WriteUp, write_up::WriteUpError> {
    write_up::write_up(inspection, templates, collection::published)
}

/// Templates of a comparison, by the file name under which a user can replace them.
const COMPARE_TEMPLATES: [(&str, &str); 9] = [
    ("compare.md", include_str!("../../templates/compare.md")),
    ("compare.html", include_str!("../../templates/compare.html")),
    ("compare.alone.html", include_str!("../../templates/compare.alone.html")),
    ("compare.cause.html", include_str!("../../templates/compare.cause.html")),
    ("compare.rows.md", include_str!("../../templates/compare.rows.md")),
    ("compare.rows.html", include_str!("../../templates/compare.rows.html")),
    ("own.html", ""),
    ("own.css", ""),
    ("style.css", include_str!("../../templates/style.css")),
];

/// The words of every template, page and card: nothing is withheld by them, because they stand in every output.
pub static OWN_WORDS: OwnWords = OwnWords::new(own_words);

fn own_words() -> String {
    let words = write_up::TEMPLATES.iter().chain(&COMPARE_TEMPLATES).map(|(_, words)| *words);
    #[cfg(feature = "video")]
    let words = words.chain(video::TEMPLATES.map(|(_, words)| words)).chain(video::OWN_WORDS);
    let mut text: String = words.flat_map(|words| [words, "\n"]).collect();
    text.push_str(&collection::own_words());
    text
}
