//! Who sealed it: a public key, given by whoever checks, against the signature beside the chain of seals.
//!
//! There are three outcomes. *Good* needs a key that the checker already trusts; a key that lies beside the signature
//! would prove nothing, so none is ever looked for there. *Bad* is a signature that does not fit what is sealed or was made
//! with another key than the one given. *Cannot tell* is everything else: no key, or no signature.

use std::io::Read;
use std::path::Path;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use serde::Serialize;

use super::named::key_id;
pub use super::named::{SIGNATURE_ENDING, signature_path};
#[cfg(feature = "signatures")]
pub use super::sign::VerifyingKey;
#[cfg(feature = "signatures")]
use super::sign::{self, SignError};
use crate::record::open;
#[cfg(feature = "signatures")]
use crate::record::open::FileError;
use crate::units::terminal::shown;
#[cfg(not(feature = "signatures"))]
pub use std::convert::Infallible as VerifyingKey;

/// Signatures are a few hundred bytes; more than this is something else.
const SIGNATURE_MAX_BYTES: u64 = 16 * 1024;

/// A signature in the minisign format: algorithm, number of the key, Ed25519 signature (minisign's documentation, file
/// formats; from memory).
const MINISIGN_BYTES: usize = 2 + 8 + 64;

/// A signature that lies beside a file; what it says of itself is not checked.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, schemars::JsonSchema)]
pub struct Present {
    /// Its file name.
    pub file: String,
    /// The number of the key that it says it was made with.
    pub key: String,
}

/// The signature beside a file.
pub fn present(signed: &Path) -> Option<Present> {
    let path = signature_path(signed);
    let (file, _) = open::plain(&path).ok()?;
    let mut text = String::new();
    file.take(SIGNATURE_MAX_BYTES).read_to_string(&mut text).ok()?;
    let bytes = STANDARD.decode(text.lines().nth(1)?.trim()).ok()?;
    let key = (bytes.len() == MINISIGN_BYTES).then(|| key_id(&bytes[2..10]))?;
    Some(Present { file: shown(Path::new(path.file_name()?)), key })
}

/// What can be said of who sealed it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, schemars::JsonSchema)]
#[serde(tag = "outcome", rename_all = "kebab-case")]
pub enum Signed {
    /// Signed with the key that was given.
    Good {
        /// The number of the key.
        key: String,
        /// The file of the key that the settings trust.
        by: Option<String>,
        /// The comment that was signed with it.
        comment: String,
    },
    /// Not signed with the key that was given, or changed since.
    Bad {
        /// Why, in words.
        why: String,
    },
    /// Nothing can be said.
    CannotTell {
        /// Why, in words.
        why: String,
    },
}

/// What can be said without a key: what the signature beside a file says of itself.
pub fn unchecked(signed: &Path) -> Signed {
    let why = match present(signed) {
        Some(Present { file, key }) => {
            format!("{file} names the key {key}; give the signer's public key with --key to check it")
        }
        None if signature_path(signed).symlink_metadata().is_ok() => {
            "the signature beside it cannot be read".to_owned()
        }
        None => "it is not signed".to_owned(),
    };
    Signed::CannotTell { why }
}

/// Checks the signature beside a file.
///
/// # Errors
/// When the system refuses to look for it.
#[cfg(feature = "signatures")]
pub fn check(signed: &Path, key: &VerifyingKey) -> Result<Signed, FileError> {
    let path = signature_path(signed);
    match path.symlink_metadata() {
        Ok(_) => {}
        Err(error) if super::name::gone(&error) => {
            let why = format!("there is no {} to check with this key", shown(&path));
            return Ok(Signed::CannotTell { why });
        }
        Err(error) => return Err(FileError::on("look for", &path)(error)),
    }
    Ok(match sign::verify(signed, &path, key) {
        Ok(verified) => Signed::Good { key: verified.key_id, by: None, comment: verified.comment },
        Err(error) => Signed::Bad { why: error.to_string() },
    })
}

/// Checks the signature beside a file with the keys that the user's own settings trust: a good one by any of them, a bad
/// one that claims to be by one of them, else nobody can tell.
pub fn by_trusted(signed: &Path, keys: &[(String, VerifyingKey)]) -> Signed {
    if keys.is_empty() {
        return unchecked(signed);
    }
    #[cfg(not(feature = "signatures"))]
    return unchecked(signed);
    #[cfg(feature = "signatures")]
    by_one_of(signed, keys)
}

#[cfg(feature = "signatures")]
fn by_one_of(signed: &Path, keys: &[(String, VerifyingKey)]) -> Signed {
    let path = signature_path(signed);
    let mut said =
        Signed::CannotTell { why: "no key that your settings trust made a signature here".to_owned() };
    for (name, key) in keys.iter().filter(|_| path.symlink_metadata().is_ok()) {
        match sign::verify(signed, &path, key) {
            Ok(verified) => {
                return Signed::Good {
                    key: verified.key_id,
                    by: Some(name.clone()),
                    comment: verified.comment,
                };
            }
            Err(SignError::OtherKey { .. }) => {}
            Err(error) => said = Signed::Bad { why: format!("{name}: {error}") },
        }
    }
    said
}
