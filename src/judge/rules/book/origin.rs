//! Which files of rules judged beside the built-in book, what they changed, and which were left aside: every output says
//! so at its top, because a verdict is worth no more than the rules behind it.

use schemars::JsonSchema;
use serde::Serialize;

use super::{Book, load};
use crate::evidence::hash::Sha256Digest;
use crate::record::open::Refused;
use crate::record::problem::Problems;
use crate::units::words::count;

/// Changes and ids that one sentence names; further ones it counts.
const NAMED: usize = 24;

/// A file of rules beside the built-in book.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct RuleFile {
    /// Its name: within the inspection folder, or without its folder where the user named it.
    pub name: String,
    /// SHA-256 of its text; none where it could not be read.
    pub sha256: Option<String>,
    /// True where it lies in the inspection folder.
    pub of_folder: bool,
    /// True where it judged.
    pub applied: bool,
    /// What it changed: rules turned off or graded anew, limits set, rules added.
    pub changed: Vec<String>,
    /// All of it in a sentence.
    pub told: String,
}

impl RuleFile {
    /// A file that lies in the inspection folder and judges.
    pub(crate) fn of_folder(name: String) -> Self {
        Self { of_folder: true, ..Self::of_user(name) }
    }

    pub(crate) const fn of_user(name: String) -> Self {
        Self { name, sha256: None, of_folder: false, applied: true, changed: Vec::new(), told: String::new() }
    }

    fn tell(&mut self) {
        let hash =
            self.sha256.as_ref().map_or_else(|| "not read".to_owned(), |hash| format!("SHA-256 {hash}"));
        let (name, place) = (&self.name, if self.of_folder { " of the inspection folder" } else { "" });
        self.told = if self.applied {
            let changed = match self.changed.get(..NAMED) {
                _ if self.changed.is_empty() => "nothing was changed".to_owned(),
                Some(first) if self.changed.len() > NAMED => {
                    format!("{}; and {} more changes", first.join("; "), self.changed.len() - NAMED)
                }
                _ => self.changed.join("; "),
            };
            format!("Judged with the rules in {name}{place} ({hash}): {changed}.")
        } else {
            format!("The rules in {name} of the inspection folder were left aside ({hash}).")
        };
    }
}

impl Book {
    /// Adds a file of rules. What it changes is told.
    ///
    /// # Errors
    /// [`Problems`] with every place that is wrong: unknown names, wrong dimensions, a rule turned off without a reason.
    pub(crate) fn add_house(&mut self, mut file: RuleFile, path: &str, text: &str) -> Result<(), Problems> {
        let (changes, rules, causes) = (self.changes.len(), self.rules.len(), self.causes.len());
        load::add(self, path, text, &load::entries(path, text)?, true)?;
        self.settle();
        let changes = self.changes.iter().skip(changes);
        file.changed = changes.map(|change| format!("{} ({})", change.what, change.reason)).collect();
        let added: Vec<&str> = self.rules.iter().skip(rules).map(|rule| rule.id.as_str()).collect();
        if !added.is_empty() {
            let named = added.get(..NAMED).unwrap_or(&added).join(", ");
            file.changed.push(format!("{} added: {named}", count(added.len(), "rule", "rules")));
        }
        let added: Vec<&str> = self.causes.iter().skip(causes).map(|cause| cause.id.as_str()).collect();
        if !added.is_empty() {
            let named = added.get(..NAMED).unwrap_or(&added).join(", ");
            file.changed.push(format!("{} added: {named}", count(added.len(), "cause", "causes")));
        }
        file.sha256 = Some(Sha256Digest::of(text.as_bytes()).to_string());
        file.tell();
        self.files.push(file);
        Ok(())
    }

    /// Notes a file of rules that lies in the inspection folder and does not judge.
    pub(crate) fn leave_aside(&mut self, name: String, text: Result<&str, &Refused>) {
        let mut file = RuleFile { applied: false, ..RuleFile::of_folder(name) };
        file.sha256 = text.ok().map(|text| Sha256Digest::of(text.as_bytes()).to_string());
        file.tell();
        self.files.push(file);
    }
}
