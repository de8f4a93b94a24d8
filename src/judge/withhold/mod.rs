//! What a record withholds from outputs for others, and the guard that lets none of it out.
//!
//! `[withhold]` names fields, literal texts and places on photos. [`crate::judge::inspection::Inspection::open_to_publish`] gives
//! outputs an inspection in which they are gone:
//!
//! - A **field** is taken out *before* anything is derived or judged, so that no number of the output is made from it.
//!   A fact whose derivation reads it is missing because it is withheld, also where it could be worked out without it,
//!   and a rule that needs the fact is not decided. What is published is then at worst less than what was found, never
//!   something else.
//! - A **text**, and the value of a named field where it is text or a date, is replaced by `[withheld]` wherever else it
//!   stands in the record (notes, captions, ids, file names), in what a log says of itself, and in house rules; also
//!   before anything is derived. See [`fold`](self) for spellings.
//! - A **photo** is blacked out in every copy; one whose areas cannot be placed is not shown at all.
//!
//! [`Withheld::guard`] is the last step of every output: it looks for all of it once more, also behind HTML, URL and
//! JSON escapes, and refuses to let the output be written. What is packed so that it cannot be searched (pictures of
//! cards, Parquet) is searched as text before it is packed.
//!
//! Refused: texts of fewer than [`SHORTEST_TEXT`] letters and texts that stand in the program's own words (templates of
//! every output, pages of a collection, rule book, schema), which would black out half of every output and hide
//! nothing. The value of a named field is searched elsewhere from
//! [`SHORTEST_VALUE`] letters on; numbers and words of the schema are not, because the same `150 A` is claim, rating
//! and reading at once. The original record is never changed, and its hash is that of the record as it is.

mod field;
mod fold;
mod forms;
mod guard;
mod near;
mod plan;
mod shown;
mod take_out;
mod texts;

use std::collections::{BTreeMap, BTreeSet, HashSet};
use std::sync::OnceLock;

use serde::Serialize;

use crate::judge::facts::Reason;
use crate::judge::rules::{BUILT_IN, Finding};
use crate::record::area::Area;
use crate::record::field::WITHHELD;
use crate::record::{Kind, Part, Record, Shape};
use fold::{Finder, Folded, Place, Wanted};

pub use guard::Leak;
pub use near::Near;
pub(crate) use plan::{Plan, plan};
pub(crate) use shown::shown;

/// A literal text has at least this many letters and digits.
pub const SHORTEST_TEXT: usize = 3;
/// The value of a withheld field is searched elsewhere if it has at least this many letters and digits.
pub const SHORTEST_VALUE: usize = 4;

/// What an inspection withholds. The withheld of a record without `[withhold]` withholds nothing and costs nothing.
#[derive(Debug, Clone, Default)]
pub struct Withheld {
    texts: Finder,
    /// Which each of them is, without saying what it is.
    which: Vec<String>,
    /// File names of photos and logs as published, and as they are.
    originals: BTreeMap<String, String>,
    /// Areas by the photo's true file name.
    areas: BTreeMap<String, Vec<Area>>,
    to_look_at: Vec<String>,
    summary: WithheldSummary,
}

/// What was withheld, without its content: for the write-up and its readers.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct WithheldSummary {
    /// Keys of the record whose values are withheld.
    pub fields: Vec<String>,
    /// How many literal texts.
    pub texts: usize,
    /// Photos with areas that are blacked out, by published file name, and how many.
    pub areas: Vec<(String, usize)>,
    /// Photos that are shown under another file name.
    pub renamed_photos: usize,
    /// Findings that are not decided only because they rest on something withheld.
    pub findings: usize,
}

impl Withheld {
    /// True when nothing is withheld.
    pub fn is_empty(&self) -> bool {
        self.summary == WithheldSummary::default()
    }

    /// What was withheld, without its content.
    pub const fn summary(&self) -> &WithheldSummary {
        &self.summary
    }

    /// A text with everything withheld replaced.
    pub fn apply(&self, text: &str) -> String {
        let folded = Folded::of(text);
        let mut out = String::with_capacity(text.len());
        let (mut copied, mut at) = (0, 0);
        while let Some(Place { chars, bytes, .. }) = self.texts.find(&folded, at) {
            out.push_str(text.get(copied..bytes.start).unwrap_or_default());
            out.push_str(WITHHELD);
            (copied, at) = (bytes.end, chars.end);
        }
        out.push_str(text.get(copied..).unwrap_or_default());
        out
    }

    /// The file of a photo or log on disk, from the name under which it is published; a relative name under the folder.
    pub fn original<'a>(&'a self, published: &'a str) -> &'a str {
        self.originals.get(published).map_or(published, String::as_str)
    }

    /// The name under which a file of the inspection folder may be named in an output.
    pub fn published(&self, original: &str) -> String {
        match self.originals.iter().find(|(_, known)| *known == original) {
            Some((published, _)) => published.clone(),
            None => self.apply(original),
        }
    }

    /// Photos that are said to show a withheld field and have no area blacked out, by published name: somebody must
    /// look at them, because nothing here can read a picture.
    pub fn photos_to_look_at(&self) -> &[String] {
        &self.to_look_at
    }

    /// Texts of the record that are nearly what is withheld, and stay: somebody must look at them. `published` is the record
    /// after everything withheld was taken out.
    pub fn near_misses(&self, published: &Record) -> Vec<Near> {
        near::near_misses(&self.texts, &self.which, published)
    }

    /// The areas to black out on a photo, from the name under which it is published. Give them to
    /// [`crate::evidence::picture::derive`] with every copy of the photo.
    pub fn areas(&self, published: &str) -> Vec<Area> {
        self.areas.get(self.original(published)).cloned().unwrap_or_default()
    }

    /// Looks through a finished output for anything withheld, in its plain form and behind HTML, URL and JSON escapes.
    ///
    /// Every output for others calls this with each of its text files before writing any of them; `file` is the name
    /// it will have and is looked through as well.
    ///
    /// # Errors
    /// [`Leak`] names the place. Nothing may then be written.
    pub fn guard(&self, file: &str, text: &str) -> Result<(), Leak> {
        guard::guard(self, file, text)
    }

    fn withhold(&mut self, text: &str, which: String) {
        for form in Wanted::forms(text) {
            if self.texts.add(form).is_some() {
                self.which.push(which.clone());
            }
        }
    }

    /// Counts the findings that are not decided because of what is withheld.
    pub(crate) fn count_findings(&mut self, findings: &[Finding]) {
        let rests =
            |finding: &&Finding| finding.missing.iter().any(|missing| missing.reason == Reason::Withheld);
        self.summary.findings = findings.iter().filter(rests).count();
    }

    /// True when a text holds something withheld.
    pub(in crate::judge) fn concerns(&self, text: &str) -> bool {
        !self.texts.is_empty() && self.texts.find(&Folded::of(text), 0).is_some()
    }
}

/// The words that the program itself puts into outputs; whoever renders them hands them in.
#[derive(Debug)]
pub struct OwnWords {
    rendered: fn() -> String,
    folded: OnceLock<Folded>,
}

impl OwnWords {
    /// `rendered` gives the words of all templates; it is asked once, and only where something is withheld.
    pub const fn new(rendered: fn() -> String) -> Self {
        Self { rendered, folded: OnceLock::new() }
    }

    fn folded(&self) -> &Folded {
        self.folded.get_or_init(|| {
            let mut text = [
                BUILT_IN[0].1,
                BUILT_IN[1].1,
                BUILT_IN[2].1,
                crate::units::words::CAUTION,
                WITHHELD,
                &(self.rendered)(),
            ]
            .join("\n");
            schema_words(Record::SHAPE, &mut text);
            Folded::of(&text)
        })
    }

    /// Those of some texts that stand in the program's own words, so that they can neither be hidden nor give anybody
    /// away.
    fn hold(&self, texts: &[String]) -> BTreeSet<String> {
        if texts.is_empty() {
            return BTreeSet::new();
        }
        let mut finder = Finder::default();
        let mut said: Vec<Wanted> = Vec::new();
        for text in texts {
            let wanted = Wanted::of(text);
            if finder.add(wanted.clone()).is_some() {
                said.push(wanted);
            }
        }
        let standing = finder.standing_in(self.folded());
        let said: HashSet<&Wanted> = standing.iter().filter_map(|number| said.get(*number)).collect();
        texts.iter().filter(|text| said.contains(&Wanted::of(text))).cloned().collect()
    }
}

fn schema_words(shape: Shape, text: &mut String) {
    for field in shape.fields {
        text.push_str(&format!("\n{} {}", field.name, field.about));
        if let Kind::Word(words) = field.kind {
            for word in words {
                text.push_str(&format!("\n{} {}", word.word, word.about));
            }
        }
    }
    for child in shape.children {
        text.push_str(&format!("\n{} {}", child.name, child.about));
        schema_words((child.shape)(), text);
    }
}
