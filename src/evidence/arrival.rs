//! Whether each photo of a record still is the file that arrived.
//!
//! A photo is hashed when it is taken in, and the digest stands beside its name in the record. That is earlier than any
//! seal: it also shows what was changed between the bench and the desk. Nothing is said of a photo whose digest was
//! never recorded. A digest proves only that the file is the same as when the digest was written: whoever can change
//! the file may be able to change the record.

use std::path::Path;

use rayon::prelude::*;
use serde::Serialize;

use super::hash::{Sha256Digest, hash_file};
use super::name::safe_relative;
use crate::record::Record;
use crate::units::terminal::shown_text;

/// How a file stands against the digest that was written when it arrived.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, schemars::JsonSchema)]
#[serde(tag = "state", rename_all = "kebab-case")]
pub enum Since {
    /// It has the same digest.
    Unchanged,
    /// It has another one.
    Changed {
        /// The digest of the file as it is.
        now: Sha256Digest,
    },
    /// There is no such file.
    Missing,
    /// It cannot be read, or its name leads out of the folder.
    NotRead {
        /// Why.
        why: String,
    },
}

/// A photo whose digest was recorded on arrival.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, schemars::JsonSchema)]
pub struct Arrival {
    /// Its name, as written in the record.
    pub file: String,
    /// The digest in the record.
    pub sha256: Sha256Digest,
    /// What has become of it.
    #[serde(flatten)]
    pub since: Since,
}

impl Arrival {
    /// True when the file is what arrived.
    pub fn holds(&self) -> bool {
        self.since == Since::Unchanged
    }

    /// What there is to say, in one line fit for a terminal.
    pub fn words(&self) -> String {
        let file = shown_text(&self.file);
        match &self.since {
            Since::Unchanged => format!("{file}: as it arrived"),
            Since::Changed { now } => {
                format!("{file}: changed since it arrived; SHA-256 was {}, is {now}", self.sha256)
            }
            Since::Missing => format!("{file}: missing; it arrived with SHA-256 {}", self.sha256),
            Since::NotRead { why } => {
                format!("{file}: cannot be compared with what arrived: {}", shown_text(why))
            }
        }
    }
}

/// Compares every photo whose digest stands in the record with its file, in the record's order.
pub fn arrivals(folder: &Path, record: &Record) -> Vec<Arrival> {
    let noted: Vec<(&str, Sha256Digest)> = record
        .photo
        .iter()
        // The reader lets nothing but a digest through; a photo without a name is refused there too.
        .filter_map(|photo| Some((photo.file.text()?, photo.sha256.text()?.parse().ok()?)))
        .collect();
    noted
        .into_par_iter()
        .map(|(file, sha256)| Arrival { file: file.to_owned(), sha256, since: since(folder, file, sha256) })
        .collect()
}

fn since(folder: &Path, file: &str, recorded: Sha256Digest) -> Since {
    let path = match safe_relative(folder, file) {
        Ok(path) => path,
        Err(error) => return Since::NotRead { why: error.to_string() },
    };
    match hash_file(&path) {
        Ok(now) if now == recorded => Since::Unchanged,
        Ok(now) => Since::Changed { now },
        Err(error) if error.is_gone() => Since::Missing,
        Err(error) => Since::NotRead { why: error.to_string() },
    }
}

#[cfg(test)]
mod tests {

    #[test]
    fn a_digest_that_is_none_is_refused_with_a_right_one() {
        let text = "schema = 2\n[[photo]]\nfile = \"photos/a.jpg\"\nsha256 = \"abc\"\n";
        let problems = crate::record::read("t", text).unwrap_err();
        let [problem] = problems.list() else { panic!("{problems:?}") };
        assert_eq!(problem.message, "`abc` does not fit `sha256`");
        assert_eq!(problem.expected, "expected a SHA-256 digest, 64 hexadecimal digits");
        assert!(problem.example.starts_with("sha256 = \"2c26b4"), "{}", problem.example);
        assert_eq!(&text[problem.span.clone()], "\"abc\"");
    }
}
