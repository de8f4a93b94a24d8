//! Who sealed an inspection, and whether it is as it was sealed: collections take in folders and bags of other inspectors.

use std::path::{Path, PathBuf};

use super::tables::PackRow;
use crate::evidence::bag::{self, BAG_DECLARATION};
use crate::evidence::hash::silent;
use crate::evidence::manifest::{MANIFEST_NAME, Manifest};
use crate::evidence::seals::{self, Chain, SEALS_NAME};
use crate::evidence::signature::{self, Signed, VerifyingKey, signature_path};
use crate::evidence::verify::{SealComparison, verify};
use crate::units::words::count;

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
    /// Looks at an inspection. A bag is verified on the way in.
    ///
    /// # Errors
    /// Why a bag is not taken in.
    pub(super) fn of(folder: &Path, keys: &[(String, VerifyingKey)]) -> Result<Self, String> {
        let bag = bag_of(folder);
        let sealed = Manifest::read(&folder.join(MANIFEST_NAME)).ok();
        let comparison: Option<SealComparison> = match &bag {
            Some(bag) => {
                let report = bag::check(bag, &silent).map_err(|error| {
                    format!(
                        "its bag cannot be checked: {}",
                        error.to_string().replace(&*bag.to_string_lossy(), "it")
                    )
                })?;
                if !report.is_valid() {
                    let differ = count(report.payload.differences().count(), "file differs", "files differ");
                    return Err(format!(
                        "its bag (RFC 8493) is not valid: {differ}; `underlid verify` says which"
                    ));
                }
                sealed.map(|sealed| report.against_seal(&sealed))
            }
            None => sealed.and_then(|_| verify(folder, &silent).ok()),
        };
        let Some(comparison) = comparison else { return Ok(Self::default()) };
        let chain = Chain::read(folder).unwrap_or_default();
        let signed_file = match chain.seals.is_empty() {
            true => folder.join(MANIFEST_NAME),
            false => seals::path(folder),
        };
        let (by, bad) = match signature::by_trusted(&signed_file, keys) {
            Signed::Good { by, .. } => (by, false),
            Signed::Bad { .. } => (None, true),
            Signed::CannotTell { .. } => (None, false),
        };
        let holds = comparison.matches() && chain.differences(folder).is_empty() && !bad;
        if bag.is_some() && !holds {
            return Err("the seal in its bag does not hold; `underlid verify` says why".to_owned());
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

/// The bag in whose payload an inspection lies.
fn bag_of(folder: &Path) -> Option<PathBuf> {
    let bag = folder.parent().filter(|_| folder.file_name().is_some_and(|name| name == bag::PAYLOAD))?;
    bag.join(BAG_DECLARATION).symlink_metadata().is_ok().then(|| bag.to_owned())
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
