//! Who sealed an inspection, and whether it is as it was sealed: collections take in folders and bags of other inspectors.

use std::path::Path;

use super::tables::PackRow;
use crate::evidence::hash::silent;
use crate::evidence::manifest::{MANIFEST_NAME, Manifest};
use crate::evidence::seals::{self, Chain, SEALS_NAME};
use crate::evidence::signature::{self, Signed, VerifyingKey, signature_path};
use crate::evidence::verify::verify;

/// How an inspection stands against its seal.
#[derive(Debug, Default)]
pub(super) struct Standing {
    /// Whether the seal holds; none where it is not sealed.
    holds: Option<bool>,
    /// The trusted key that signed it.
    by: Option<String>,
    /// The number of the key that the signature names.
    key: Option<String>,
}

impl Standing {
    /// Looks at an inspection; of what a bag holds its seal must hold.
    ///
    /// # Errors
    /// Why it is not taken in.
    pub(super) fn of(folder: &Path, in_bag: bool, keys: &[(String, VerifyingKey)]) -> Result<Self, String> {
        let sealed = Manifest::read(&folder.join(MANIFEST_NAME)).is_ok();
        if !sealed && !seals::is_edition(folder) {
            return Ok(Self::default());
        }
        // A chain that cannot be opened is no chain that holds.
        let chain = Chain::read(folder);
        let opened = chain.is_ok();
        let chain = chain.unwrap_or_default();
        let signed_file = match chain.seals.is_empty() {
            true => folder.join(MANIFEST_NAME),
            false => seals::path(folder),
        };
        let (by, bad) = match signature::by_trusted(&signed_file, keys) {
            Signed::Good { by, .. } => (by, false),
            Signed::Bad { .. } => (None, true),
            Signed::CannotTell { .. } => (None, false),
        };
        let unchanged = !sealed || verify(folder, &silent).is_ok_and(|comparison| comparison.matches());
        let holds = opened && unchanged && chain.differences(folder).is_empty() && !bad;
        if in_bag && !holds {
            return Err("the seal in the bag does not hold; `underlid verify` says why".to_owned());
        }
        let key = signature::present(&signed_file).map(|present| present.key);
        Ok(Self { holds: Some(holds), by: by.filter(|_| holds), key })
    }

    /// Writes it into the row of the inspection.
    pub(super) fn tell(self, row: &mut PackRow) {
        row.seal = self.holds.map(|holds| if holds { "holds" } else { "broken" }.to_owned());
        row.sealed_by = self.by;
        row.sealed_key = self.key;
    }
}

/// The files that the seal rests on: where one of them changes, it is looked at again.
pub(super) fn files(folder: &Path) -> Vec<String> {
    let Ok(sealed) = Manifest::read(&folder.join(MANIFEST_NAME)) else { return Vec::new() };
    let published = Chain::read(folder).ok().and_then(|chain| Some(chain.last()?.published.clone()));
    let signature = signature_path(Path::new(SEALS_NAME)).to_string_lossy().into_owned();
    sealed
        .iter()
        .map(|(name, _)| name.to_text())
        .chain(published.unwrap_or_default().into_keys())
        .chain([MANIFEST_NAME.to_owned(), SEALS_NAME.to_owned(), signature])
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::evidence::hash::Sha256Digest;

    #[test]
    fn a_chain_that_cannot_be_opened_does_not_hold() {
        let folder = tempfile::tempdir().unwrap();
        let record = "schema = 2\n";
        std::fs::write(folder.path().join("inspection.toml"), record).unwrap();
        let line = format!("{}  inspection.toml\n", Sha256Digest::of(record.as_bytes()));
        std::fs::write(folder.path().join(MANIFEST_NAME), line).unwrap();
        let holds = |in_bag| Standing::of(folder.path(), in_bag, &[]).map(|standing| standing.holds);
        assert_eq!(holds(true), Ok(Some(true)));
        std::fs::create_dir(folder.path().join(SEALS_NAME)).unwrap();
        assert_eq!(holds(false), Ok(Some(false)));
        assert!(holds(true).is_err());
    }
}
