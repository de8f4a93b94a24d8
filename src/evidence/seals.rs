//! The chain of seals, `seals.toml`: what was sealed, when, with which rules, and what was published then.
//!
//! The manifest (`photos.sha256`) holds the hashes of the evidence and nothing else, so that `sha256sum -c` reads it. This
//! file holds, for each seal in order, the hash of that manifest, of the rules, of every published file, and of all that
//! stands in the file before it: a seal cannot be taken out or changed without those after it saying so. It is what is
//! signed, so that one signature covers the evidence and the words that were published about it.
//!
//! The time of a seal is what the clock of whoever sealed said, and nothing more.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::fields::{FIELDS_NAME, Tree, read_edition};
use super::hash::{Sha256Digest, hash_file};
use super::manifest::MANIFEST_NAME;
use super::name::{RECORD_NAME, safe_relative};
use crate::record::open::{self, Refused};
use crate::record::save;

/// The chain's name in an inspection folder.
pub const SEALS_NAME: &str = "seals.toml";

const HEAD: &str = "\
# The seals of this inspection, written by `underlid seal`. Each names the SHA-256 of the list of hashes, of the rules, of
# what was published, and of everything that stands in this file before it. `underlid verify` checks it; change nothing here.
";
const START: &str = "[[seal]]";

/// One seal.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, schemars::JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Seal {
    /// Counted from 1.
    pub number: usize,
    /// When, by the clock of whoever sealed (RFC 3339).
    pub at: String,
    /// The program and its version.
    pub program: String,
    /// SHA-256 of the manifest.
    pub evidence: Sha256Digest,
    /// SHA-256 of the rules in force, built-in and house.
    pub rules: Sha256Digest,
    /// What the house changed in the rules.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub house: Vec<String>,
    /// What had changed since the seal before.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub changed: Vec<String>,
    /// SHA-256 of all that stands in the file before this seal; none in the first.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub before: Option<Sha256Digest>,
    /// The hash tree of the record's fields; none where the record did not read.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fields: Option<Tree>,
    /// SHA-256 of what was published, by file.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub published: BTreeMap<String, Sha256Digest>,
}

/// A chain of seals as it was read.
#[derive(Debug, Clone, Default)]
pub struct Chain {
    text: String,
    pub seals: Vec<Seal>,
    /// Where the chain does not hold, in words.
    pub breaks: Vec<String>,
}

#[derive(Deserialize)]
struct File {
    #[serde(default)]
    seal: Vec<Seal>,
}

#[derive(Serialize)]
struct One<'a> {
    seal: [&'a Seal; 1],
}

impl Chain {
    /// Reads the chain of a folder; an empty one where there is none.
    pub fn read(folder: &Path) -> Result<Self, Refused> {
        match open::text(&folder.join(SEALS_NAME)) {
            Ok(text) => Ok(Self::of(text)),
            Err(refused) if refused.is_gone() => Ok(Self::default()),
            Err(refused) => Err(refused),
        }
    }

    fn of(text: String) -> Self {
        let mut chain = Self { text, ..Self::default() };
        match toml::from_str::<File>(&chain.text) {
            Ok(file) => chain.seals = file.seal,
            Err(error) => {
                chain.breaks.push(format!("{SEALS_NAME} cannot be read: {}", error.message()));
                return chain;
            }
        }
        let starts = chain.starts();
        let mut breaks = Vec::new();
        for (index, seal) in chain.seals.iter().enumerate() {
            let number = index + 1;
            let before = starts.get(index).and_then(|at| chain.text.get(..*at));
            let before = before.map(|text| Sha256Digest::of(text.as_bytes())).filter(|_| index > 0);
            if seal.number != number {
                breaks.push(format!("the seal in place {number} has the number {}", seal.number));
            }
            if seal.before != before {
                breaks.push(format!(
                    "what stands before seal {number} is not what stood there when it was made"
                ));
            }
        }
        for pair in chain.seals.windows(2) {
            if pair[1].at < pair[0].at {
                breaks.push(format!("seal {} says an earlier time than the one before it", pair[1].number));
            }
        }
        chain.breaks = breaks;
        chain
    }

    /// Where the seals begin in the file.
    fn starts(&self) -> Vec<usize> {
        let all = self.text.match_indices(START).map(|(at, _)| at);
        all.filter(|at| *at == 0 || self.text.as_bytes().get(at - 1) == Some(&b'\n')).collect()
    }

    /// The number of each seal, with the hash that the file had when it was the last one.
    pub fn states(&self) -> Vec<(usize, Sha256Digest)> {
        let starts = self.starts();
        let before_next = starts.iter().skip(1).filter_map(|at| self.text.get(..at.saturating_sub(1)));
        let texts = before_next.chain((!starts.is_empty()).then_some(self.text.as_str()));
        texts.enumerate().map(|(index, text)| (index + 1, Sha256Digest::of(text.as_bytes()))).collect()
    }

    pub fn last(&self) -> Option<&Seal> {
        self.seals.last()
    }

    /// Adds a seal and writes the file as a whole; number and the hash of what stands before are set here. One that says
    /// the same as the last is not added: then `false`.
    pub fn append(&mut self, folder: &Path, mut seal: Seal) -> std::io::Result<bool> {
        if let Some(last) = self.last()
            && (last.evidence, last.rules, &last.published, &last.program, last.fields)
                == (seal.evidence, seal.rules, &seal.published, &seal.program, seal.fields)
        {
            return Ok(false);
        }
        if self.text.is_empty() {
            HEAD.clone_into(&mut self.text);
        }
        seal.number = self.seals.len() + 1;
        seal.before = (seal.number > 1).then(|| Sha256Digest::of(format!("{}\n", self.text).as_bytes()));
        let entry = toml::to_string(&One { seal: [&seal] }).map_err(std::io::Error::other)?;
        self.text.push('\n');
        self.text.push_str(&entry);
        save::replace(&path(folder), &self.text)?;
        self.seals.push(seal);
        Ok(true)
    }

    /// What of the folder is not as the last seal says: the manifest, or in a withheld edition the record's fields, and what
    /// was published.
    pub fn differences(&self, folder: &Path) -> Vec<String> {
        let Some(last) = self.last() else { return Vec::new() };
        let mut differences = self.breaks.clone();
        let now = |name: &str| safe_relative(folder, name).ok().and_then(|path| hash_file(&path).ok());
        if is_edition(folder) {
            match read_edition(folder) {
                Ok((tree, _)) if Some(tree) == last.fields => {}
                Ok(_) => differences.push(format!(
                    "{FIELDS_NAME}: is not of the sealed record: a field was changed, moved, left out or added"
                )),
                Err(why) => differences.push(why),
            }
        } else if now(MANIFEST_NAME) != Some(last.evidence) {
            differences.push(format!("{MANIFEST_NAME}: is not the one that was sealed last"));
        }
        for (name, sealed) in &last.published {
            match now(name) {
                Some(found) if found == *sealed => {}
                Some(_) => differences.push(format!("{name}: is not what was published")),
                None => differences.push(format!("{name}: was published and is missing")),
            }
        }
        differences
    }
}

/// Whether a folder holds no evidence but what a withheld edition shows of it.
pub fn is_edition(folder: &Path) -> bool {
    let there = |name: &str| folder.join(name).symlink_metadata().is_ok();
    there(FIELDS_NAME) && !there(MANIFEST_NAME) && !there(RECORD_NAME)
}

/// Where the chain of a folder lies.
pub fn path(folder: &Path) -> PathBuf {
    folder.join(SEALS_NAME)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seal(evidence: &str, at: &str) -> Seal {
        Seal {
            number: 0,
            at: at.to_owned(),
            program: "underlid 0".to_owned(),
            evidence: Sha256Digest::of(evidence.as_bytes()),
            rules: Sha256Digest::of(b"rules"),
            house: Vec::new(),
            changed: vec!["photos/1.jpg: changed".to_owned()],
            before: None,
            fields: None,
            published: BTreeMap::from([("report/report.md".to_owned(), Sha256Digest::of(b"words"))]),
        }
    }

    #[test]
    fn no_seal_can_be_changed_or_taken_out() {
        let folder = tempfile::tempdir().unwrap();
        let mut chain = Chain::read(folder.path()).unwrap();
        for (evidence, at) in
            [("a", "2026-01-01T10:00:00Z"), ("b", "2026-01-02T10:00:00Z"), ("c", "2026-01-03T10:00:00Z")]
        {
            assert!(chain.append(folder.path(), seal(evidence, at)).unwrap());
            assert!(
                !chain.append(folder.path(), seal(evidence, "2027")).unwrap(),
                "the same again is no new seal"
            );
        }
        let text = std::fs::read_to_string(path(folder.path())).unwrap();
        assert_eq!(Chain::of(text.clone()).breaks, Vec::<String>::new(), "{text}");
        let middle = text.find("number = 2").map(|at| text[..at].rfind(START).unwrap()).unwrap();
        let end = text.find("number = 3").map(|at| text[..at].rfind(START).unwrap()).unwrap();
        let without = format!("{}{}", &text[..middle], &text[end..]);
        for (changed, expected) in [
            (text.replace("photos/1.jpg", "photos/2.jpg"), "before seal 2"),
            (without, "has the number 3"),
            (text.replace("2026-01-01", "2026-02-01"), "earlier time"),
            (text.replace("number", "numbr"), "cannot be read"),
        ] {
            let breaks = Chain::of(changed).breaks;
            assert!(breaks.iter().any(|words| words.contains(expected)), "{expected}: {breaks:?}");
        }
        std::fs::write(folder.path().join(MANIFEST_NAME), "c").unwrap();
        std::fs::create_dir(folder.path().join("report")).unwrap();
        let report = folder.path().join("report/report.md");
        for (words, expected) in
            [("words", None), ("other words", Some("report/report.md: is not what was published"))]
        {
            std::fs::write(&report, words).unwrap();
            assert_eq!(
                Chain::read(folder.path()).unwrap().differences(folder.path()).first().map(String::as_str),
                expected
            );
        }
    }
}
