//! Who sealed it: a public key, given by whoever checks, against the signatures beside a manifest.
//!
//! There are three outcomes. *Good* needs a key that the checker already trusts; a key that lies beside the signature
//! would prove nothing, so none is ever looked for there. *Bad* is a signature that does not fit the manifest or was made
//! with another key than the one given. *Cannot tell* is everything else: no key, or no signature of its kind.

use std::io::Read;
use std::path::{Path, PathBuf};

use base64::Engine;
use base64::engine::general_purpose::{STANDARD, STANDARD_NO_PAD};
use serde::Serialize;
use sha2::{Digest, Sha256};

use super::named::key_id;
pub use super::named::{SIGNATURE_ENDING, SSH_NAMESPACE, SSH_SIGNATURE_ENDING};
#[cfg(feature = "signatures")]
use super::sign::{self, SignError, VerifyingKey, read_limited};
#[cfg(feature = "signatures")]
use super::ssh::{self, SshKey};
use crate::record::open;
#[cfg(feature = "signatures")]
use crate::record::open::FileError;
use crate::units::terminal::shown;

/// A file of keys is a few lines; more than this is something else.
#[cfg(feature = "signatures")]
const KEYS_MAX_BYTES: u64 = 1024 * 1024;

/// Signatures are a few hundred bytes; more than this is something else.
const SIGNATURE_MAX_BYTES: u64 = 16 * 1024;

/// A signature in the minisign format: algorithm, number of the key, Ed25519 signature (minisign's documentation, file
/// formats; from memory).
const MINISIGN_BYTES: usize = 2 + 8 + 64;

/// The two kinds of signature.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, schemars::JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum SignatureKind {
    /// In the minisign format.
    Minisign,
    /// By `ssh-keygen -Y sign`.
    Ssh,
}

impl SignatureKind {
    const ALL: [Self; 2] = [Self::Minisign, Self::Ssh];

    /// Where the signature of a file of this kind lies.
    pub fn beside(self, file: &Path) -> PathBuf {
        let mut path = file.as_os_str().to_owned();
        path.push(match self {
            Self::Minisign => SIGNATURE_ENDING,
            Self::Ssh => SSH_SIGNATURE_ENDING,
        });
        path.into()
    }
}

/// A public key, or several with the names of whom they belong to.
#[cfg(feature = "signatures")]
#[derive(Debug, Clone)]
pub enum PublicKey {
    Minisign(VerifyingKey),
    /// SSH keys, each with its principals where a file of allowed signers names them.
    Ssh(Vec<(Option<String>, SshKey)>),
}

#[cfg(feature = "signatures")]
impl PublicKey {
    /// Reads a public key from a file (minisign, an SSH `.pub` file, or SSH's file of allowed signers), or from the one
    /// line of text of a minisign key.
    ///
    /// # Errors
    /// When it is none of these, or of a kind that is not checked here.
    pub fn read(path_or_line: &str) -> Result<Self, SignError> {
        let path = Path::new(path_or_line);
        if path.symlink_metadata().is_err() && path_or_line.trim().starts_with("RW") {
            return VerifyingKey::parse(path_or_line).map(Self::Minisign);
        }
        let bytes = read_limited(path, KEYS_MAX_BYTES, "a public key")?;
        let text = String::from_utf8_lossy(&bytes);
        let lines = || text.lines().map(str::trim).filter(|line| !line.is_empty() && !line.starts_with('#'));
        let first = lines().next().unwrap_or_default();
        if first.starts_with("untrusted comment:") {
            return VerifyingKey::read(path).map(Self::Minisign);
        }
        if first.starts_with("RW") {
            return VerifyingKey::parse(first).map(Self::Minisign);
        }
        if is_kind_of_key(first.split_whitespace().next().unwrap_or_default()) {
            return SshKey::parse(first).map(|key| Self::Ssh(vec![(None, key)]));
        }
        lines().map(|line| allowed_signer(line, path)).collect::<Result<Vec<_>, _>>().map(Self::Ssh)
    }

    const fn kind(&self) -> SignatureKind {
        match self {
            Self::Minisign(_) => SignatureKind::Minisign,
            Self::Ssh(_) => SignatureKind::Ssh,
        }
    }
}

#[cfg(feature = "signatures")]
fn is_kind_of_key(word: &str) -> bool {
    ["ssh-", "ecdsa-", "sk-"].iter().any(|kind| word.starts_with(kind))
}

/// A line of SSH's file of allowed signers (ssh-keygen(1), ALLOWED SIGNERS): principals, options, key.
#[cfg(feature = "signatures")]
fn allowed_signer(line: &str, path: &Path) -> Result<(Option<String>, SshKey), SignError> {
    let malformed = || SignError::Malformed {
        origin: shown(path),
        what: "a public key: expected one in the minisign format, an SSH .pub file, or lines of SSH's allowed signers with no option but namespaces=\"file\"",
    };
    let (principals, rest) = line.split_once(char::is_whitespace).ok_or_else(malformed)?;
    let mut rest = rest.trim_start();
    // Options can end a key's validity or make it a certificate's; leaving one unread could accept too much.
    if !is_kind_of_key(rest.split_whitespace().next().unwrap_or_default()) {
        let (option, key) = rest.split_once(char::is_whitespace).ok_or_else(malformed)?;
        if option.to_ascii_lowercase() != format!("namespaces=\"{SSH_NAMESPACE}\"") {
            return Err(malformed());
        }
        rest = key.trim_start();
    }
    let key = SshKey::parse(rest).map_err(|error| match error {
        SignError::KeyKind { kind, .. } => SignError::KeyKind { origin: shown(path), kind },
        _ => malformed(),
    })?;
    Ok((Some(crate::units::terminal::shown_text(principals)), key))
}

/// A signature that lies beside a manifest; what it says of itself is not checked.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, schemars::JsonSchema)]
pub struct Present {
    /// Its file name.
    pub file: String,
    /// Its kind.
    pub kind: SignatureKind,
    /// The key that it says it was made with: number or fingerprint.
    pub key: String,
}

/// The signatures beside a manifest.
pub fn present(manifest: &Path) -> Vec<Present> {
    SignatureKind::ALL
        .into_iter()
        .filter_map(|kind| {
            let path = kind.beside(manifest);
            let file = shown(Path::new(path.file_name()?));
            Some(Present { file, kind, key: named_key(kind, &path)? })
        })
        .collect()
}

/// The key that a signature says it was made with: number or fingerprint. Nothing is checked.
fn named_key(kind: SignatureKind, path: &Path) -> Option<String> {
    let (file, _) = open::plain(path).ok()?;
    let mut text = String::new();
    file.take(SIGNATURE_MAX_BYTES).read_to_string(&mut text).ok()?;
    match kind {
        SignatureKind::Minisign => {
            let bytes = STANDARD.decode(text.lines().nth(1)?.trim()).ok()?;
            (bytes.len() == MINISIGN_BYTES).then(|| key_id(&bytes[2..10]))
        }
        // PROTOCOL.sshsig of OpenSSH: magic, version, then the public key behind its length.
        SignatureKind::Ssh => {
            let armour = text.trim().strip_prefix("-----BEGIN SSH SIGNATURE-----")?;
            let armour: String =
                armour.strip_suffix("-----END SSH SIGNATURE-----")?.split_whitespace().collect();
            let bytes = STANDARD.decode(armour).ok()?;
            let (length, rest) = bytes.strip_prefix(b"SSHSIG\x00\x00\x00\x01")?.split_first_chunk()?;
            let key = rest.get(..usize::try_from(u32::from_be_bytes(*length)).ok()?)?;
            Some(format!("SHA256:{}", STANDARD_NO_PAD.encode(Sha256::digest(key))))
        }
    }
}

/// What can be said of who sealed it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, schemars::JsonSchema)]
#[serde(tag = "outcome", rename_all = "kebab-case")]
pub enum Signed {
    /// Signed with the key that was given.
    Good {
        /// The key: number or fingerprint.
        key: String,
        /// Whom a file of allowed signers says it belongs to.
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

/// What can be said without a key: which signatures lie beside a manifest.
pub fn unchecked(manifest: &Path) -> Signed {
    let why = match present(manifest).as_slice() {
        [] if SignatureKind::ALL.iter().any(|kind| kind.beside(manifest).symlink_metadata().is_ok()) => {
            "the signature beside it cannot be read".to_owned()
        }
        [] => "it is not signed".to_owned(),
        some => {
            let listed: Vec<String> =
                some.iter().map(|one| format!("{} names the key {}", one.file, one.key)).collect();
            format!("{}; give the signer's public key with --key to check it", listed.join(", "))
        }
    };
    Signed::CannotTell { why }
}

/// Checks the signature beside a manifest.
///
/// # Errors
/// When the system refuses to look for it.
#[cfg(feature = "signatures")]
pub fn check(manifest: &Path, key: &PublicKey) -> Result<Signed, FileError> {
    let path = key.kind().beside(manifest);
    match path.symlink_metadata() {
        Ok(_) => {}
        Err(error) if super::name::gone(&error) => {
            let why = format!("there is no {} to check with this key", shown(&path));
            return Ok(Signed::CannotTell { why });
        }
        Err(error) => return Err(FileError::on("look for", &path)(error)),
    }
    Ok(against(manifest, &path, key).unwrap_or_else(|error| Signed::Bad { why: error.to_string() }))
}

/// Checks the signatures beside a file with the keys that the user's own settings trust: a good one by any of them, a bad
/// one that claims to be by one of them, else nobody can tell.
///
/// # Errors
/// When the system refuses to look for them.
#[cfg(feature = "signatures")]
pub fn by_trusted(manifest: &Path, keys: &[(String, PublicKey)]) -> Result<Signed, FileError> {
    let mut said =
        Signed::CannotTell { why: "no key that your settings trust made a signature here".to_owned() };
    for (name, key) in keys {
        let path = key.kind().beside(manifest);
        if path.symlink_metadata().is_err() {
            continue;
        }
        match against(manifest, &path, key) {
            Ok(Signed::Good { key, by, comment }) => {
                return Ok(Signed::Good { key, by: by.or_else(|| Some(name.clone())), comment });
            }
            Err(SignError::OtherKey { .. }) | Ok(_) => {}
            Err(error) => said = Signed::Bad { why: format!("{name}: {error}") },
        }
    }
    Ok(said)
}

/// What a key says of the signature at a path.
#[cfg(feature = "signatures")]
fn against(manifest: &Path, path: &Path, key: &PublicKey) -> Result<Signed, SignError> {
    let good = |verified: sign::Verified, by: Option<String>| Signed::Good {
        key: verified.key_id,
        by,
        comment: verified.comment,
    };
    match key {
        PublicKey::Minisign(key) => sign::verify(manifest, path, key).map(|verified| good(verified, None)),
        PublicKey::Ssh(keys) => {
            let mut first = None;
            for (by, key) in keys {
                match ssh::verify(manifest, path, key) {
                    Ok(verified) => return Ok(good(verified, by.clone())),
                    // Of several keys the one that made the signature says what is wrong with it.
                    Err(SignError::OtherKey { .. }) if first.is_some() => {}
                    Err(error) => first = Some(error),
                }
            }
            let none = || SignError::Malformed {
                origin: "the list of keys".to_owned(),
                what: "a list with a key in it",
            };
            Err(first.unwrap_or_else(none))
        }
    }
}

#[cfg(all(test, feature = "signatures"))]
mod tests {
    use std::fs;

    use super::*;

    const SSH: &str = "ssh-ed25519 AAAAC3NzaC1lZDI1NTE5AAAAILM+rvN+ot98qgEN796jTiQfZfG1KaT0PtFDJ/XFSqti";
    const MINISIGN: &str = "RWQf6LRCGA9i53mlYecO4IzT51TGPpvWucNSCh1CBM0QTaLn73Y7GFO3";

    #[test]
    fn keys_are_told_apart_and_options_that_limit_a_key_are_refused() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("key");
        let read = |text: &str| {
            fs::write(&path, text).unwrap();
            PublicKey::read(path.to_str().unwrap())
        };
        assert!(matches!(PublicKey::read(MINISIGN), Ok(PublicKey::Minisign(_))));
        assert!(matches!(read(&format!("untrusted comment: x\n{MINISIGN}\n")), Ok(PublicKey::Minisign(_))));
        assert!(matches!(read(MINISIGN), Ok(PublicKey::Minisign(_))));
        for (text, name) in [
            (format!("{SSH} somebody\n"), None),
            (format!("# bench\n\nbench@example.org {SSH}\n"), Some("bench@example.org")),
            (format!("bench namespaces=\"file\" {SSH} x\n"), Some("bench")),
        ] {
            match read(&text) {
                Ok(PublicKey::Ssh(keys)) => assert_eq!(keys[0].0.as_deref(), name, "{text}"),
                other => panic!("{text}: {other:?}"),
            }
        }
        for bad in [
            String::new() + "x",
            format!("bench valid-before=\"20200101\" {SSH}"),
            format!("bench namespaces=\"git\" {SSH}"),
            format!("bench cert-authority {SSH}"),
            "bench ssh-rsa AAAA".to_owned(),
        ] {
            assert!(read(&bad).is_err(), "{bad}");
        }
    }
}
