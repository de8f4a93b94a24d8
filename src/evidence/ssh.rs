//! Checking a signature that was made with an SSH key, for people who have one already:
//! `ssh-keygen -Y sign -n file -f KEY photos.sha256` writes `photos.sha256.sig` beside the manifest.
//!
//! Only checked, never made: making one needs the secret key, which belongs in the hands of SSH's own
//! programs. Ed25519 and ECDSA P-256 keys are known; RSA and hardware keys are refused by name.
//! A signature for another purpose (an SSH signature names one, here `file`) does not count.

use std::path::Path;

use ssh_key::{Algorithm, EcdsaCurve, HashAlg, PublicKey, SshSig};

use super::manifest::MANIFEST_MAX_BYTES;
use super::named::SSH_NAMESPACE;
use super::sign::{SignError, Verified, read_limited};
use crate::units::terminal::{shown, shown_text};

/// Keys and signatures are a few hundred bytes; more than this is something else.
const KEY_MAX_BYTES: u64 = 16 * 1024;

/// An SSH public key, to check signatures with.
#[derive(Debug, Clone)]
pub struct SshKey(PublicKey);

impl SshKey {
    /// Reads the one line of a `.pub` file.
    ///
    /// # Errors
    /// When it is no public key, or one of a kind that is not checked here.
    pub fn parse(line: &str) -> Result<Self, SignError> {
        Self::from_line(line, "the public key")
    }

    fn from_line(line: &str, origin: &str) -> Result<Self, SignError> {
        let key = PublicKey::from_openssh(line.trim()).map_err(|_| SignError::Malformed {
            origin: origin.to_owned(),
            what: "an SSH public key, one line that begins with its kind, such as ssh-ed25519",
        })?;
        match key.algorithm() {
            Algorithm::Ed25519 | Algorithm::Ecdsa { curve: EcdsaCurve::NistP256 } => Ok(Self(key)),
            other => Err(SignError::KeyKind { origin: origin.to_owned(), kind: shown_text(other.as_str()) }),
        }
    }

    /// The key's SHA-256 fingerprint, as `ssh-keygen -l` prints it.
    pub fn fingerprint(&self) -> String {
        self.0.fingerprint(HashAlg::Sha256).to_string()
    }
}

/// Checks that `signature` was made over `file` with the secret half of `key`.
///
/// # Errors
/// When it was not, in the words of [`SignError`].
pub fn verify(file: &Path, signature: &Path, key: &SshKey) -> Result<Verified, SignError> {
    let what = "an SSH signature";
    let pem = read_limited(signature, KEY_MAX_BYTES, what)?;
    let parsed =
        SshSig::from_pem(pem).map_err(|_| SignError::Malformed { origin: shown(signature), what })?;
    let path = signature.to_path_buf();
    if parsed.public_key() != key.0.key_data() {
        return Err(SignError::OtherKey {
            path,
            found: parsed.public_key().fingerprint(HashAlg::Sha256).to_string(),
            expected: key.fingerprint(),
        });
    }
    if parsed.namespace() != SSH_NAMESPACE {
        return Err(SignError::OtherPurpose { path, purpose: parsed.namespace().to_owned() });
    }
    let content = read_limited(file, MANIFEST_MAX_BYTES, "a manifest")?;
    key.0
        .verify(SSH_NAMESPACE, &content, &parsed)
        .map_err(|_| SignError::DoesNotFit { path, file: file.to_path_buf() })?;
    Ok(Verified { key_id: key.fingerprint(), comment: String::new() })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_no_key_is_refused() {
        for bad in ["", "ssh-ed25519", "ssh-ed25519 AAAA", "nonsense é", "ssh-rsa AAAAB3NzaC1yc2E="] {
            assert!(SshKey::parse(bad).is_err(), "{bad}");
        }
    }

    proptest::proptest! {
        #[test]
        fn no_text_makes_it_panic(body in "[A-Za-z0-9+/=\\n]{0,200}", cut in 0_usize..400) {
            let dir = tempfile::tempdir().unwrap();
            let at = |name: &str| dir.path().join(name);
            // A real key, so that the signature gets as far as being looked at.
            let key = SshKey::parse(
                "ssh-ed25519 AAAAC3NzaC1lZDI1NTE5AAAAILM+rvN+ot98qgEN796jTiQfZfG1KaT0PtFDJ/XFSqti",
            )
            .unwrap();
            let mut text = format!(
                "-----BEGIN SSH SIGNATURE-----\nU1NIU0lH{body}\n-----END SSH SIGNATURE-----\n"
            );
            text.truncate(cut);
            std::fs::write(at("m.sig"), text).unwrap();
            std::fs::write(at("m"), "x").unwrap();
            proptest::prop_assert!(verify(&at("m"), &at("m.sig"), &key).is_err());
        }
    }
}
