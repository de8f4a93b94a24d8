//! Rendering: what was judged, put before a reader. Nothing here decides anything.

pub mod collection;
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

/// The words of every template, page and card: nothing is withheld by them, because they stand in every output.
pub static OWN_WORDS: OwnWords = OwnWords::new(own_words);

fn own_words() -> String {
    let words = write_up::TEMPLATES.iter().chain(&compare::TEMPLATES).map(|(_, words)| *words);
    #[cfg(feature = "video")]
    let words = words.chain(video::TEMPLATES.map(|(_, words)| words)).chain(video::OWN_WORDS);
    let mut text: String = words.flat_map(|words| [words, "\n"]).collect();
    text.push_str(&collection::own_words());
    text
}
