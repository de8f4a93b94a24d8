//! Who sealed it: a detached signature over the manifest, in the minisign format.
//!
//! One signature over the manifest covers every file, because the manifest holds every hash. The
//! format is made and read by the `minisign` crate, so that a viewer needs only a public key of one
//! line and any program that knows minisign signatures. A signature says who held the key, not that
//! what was sealed is true, and its time is only what the signer's clock said.
//!
//! Refused: overwriting a key file, signing without the password of a protected key, and signatures
//! in the old form that signs the file unhashed. A new secret key is readable by its owner alone.

use std::io::{Cursor, Read};
use std::path::{Path, PathBuf};

use base64::Engine;
use minisign::{KeyPair, PublicKey, SecretKey, SecretKeyBox, SignatureBox};
use serde::Serialize;

use super::atomic;
use super::hash::HashError;
use super::named::{key_id, signature_path};
use crate::record::open::{self, FileError};
use crate::units::terminal::{shown, shown_text};

/// Keys and signatures are a few hundred bytes; more than this is something else.
const KEY_MAX_BYTES: u64 = 16 * 1024;

/// The largest file that is signed or checked, in bytes. Manifests are far smaller.
const SIGNED_MAX_BYTES: u64 = super::manifest::MANIFEST_MAX_BYTES;

/// A secret key: algorithms, salt and limits of its protection, number, key, checksum (minisign's documentation, file
/// formats; from memory).
const SECRET_KEY_BYTES: usize = 158;
/// The checksum at its end.
const CHECKSUM_BYTES: usize = 32;

/// The longest comment put under a signature, in bytes.
const COMMENT_MAX_BYTES: usize = 1024;

/// Why something was not signed or not found to be signed.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
#[allow(missing_docs)] // The message of each says what it is.
pub enum SignError {
    #[error(transparent)]
    File(#[from] FileError),
    #[error(transparent)]
    Hash(#[from] HashError),
    #[error("{}: is too large to be {what}", shown(path))]
    TooLarge {
        path: PathBuf,
        /// What was expected, with its article.
        what: &'static str,
    },
    #[error("{}: the secret key is protected by a password; none was given", shown(path))]
    PasswordNeeded { path: PathBuf },
    #[error("{}: the password does not open the secret key, or the key is damaged", shown(path))]
    WrongPassword { path: PathBuf },
    #[error("{origin}: is not {what}")]
    Malformed {
        /// The file, made fit to be shown, or "the public key" for one given as text.
        origin: String,
        /// What was expected, with its article.
        what: &'static str,
    },
    #[error("the comment for a signature is one line of at most {COMMENT_MAX_BYTES} bytes")]
    Comment,
    #[error("{}: was made with the key {found}, not with the key {expected} that was given", shown(path))]
    OtherKey {
        path: PathBuf,
        /// The key that made it, as 16 hexadecimal digits.
        found: String,
        expected: String,
    },
    #[error("{}: is a signature in the old, unhashed form, which is not accepted", shown(path))]
    OldForm { path: PathBuf },
    #[error(
        "{}: does not fit {}; the file, the comment or the signature was changed",
        shown(path),
        shown(file)
    )]
    DoesNotFit { path: PathBuf, file: PathBuf },
    #[error("the signature library refused: {0}")]
    Library(String),
}

/// A public key, to check signatures with.
#[derive(Debug, Clone)]
pub struct VerifyingKey(PublicKey);

impl VerifyingKey {
    /// Reads a public key from a file in the minisign format, from one that holds only its line, or from the line itself.
    ///
    /// # Errors
    /// When it cannot be read or is no public key.
    pub fn read(path_or_line: &str) -> Result<Self, SignError> {
        let path = Path::new(path_or_line);
        if path.symlink_metadata().is_err() && path_or_line.trim().starts_with("RW") {
            return Self::parse(path_or_line);
        }
        let what = "a public key in the minisign format";
        let text = read_text(path, what)?;
        let line =
            text.lines().find(|line| !line.trim().is_empty() && !line.starts_with("untrusted comment:"));
        let malformed = |_| SignError::Malformed { origin: shown(path), what };
        Self::parse(line.unwrap_or_default()).map_err(malformed)
    }

    /// Reads a public key from its one line of text, as printed in a description.
    ///
    /// # Errors
    /// When it is no public key.
    pub fn parse(line: &str) -> Result<Self, SignError> {
        PublicKey::from_base64(line.trim()).ok().and_then(Self::of_known_kind).ok_or_else(|| {
            SignError::Malformed {
                origin: "the public key".to_owned(),
                what: "a public key in the minisign format: 56 characters that begin with RW",
            }
        })
    }

    /// The library reads any two bytes as the kind of key; only Ed25519 ("Ed", in base64 "RW") exists.
    fn of_known_kind(key: PublicKey) -> Option<Self> {
        key.to_base64().starts_with("RW").then_some(Self(key))
    }

    /// The key in one line, to be published.
    pub fn to_line(&self) -> String {
        self.0.to_base64()
    }

    /// The key's number, 16 hexadecimal digits as minisign programs show it.
    pub fn id(&self) -> String {
        key_id(self.0.keynum())
    }
}

/// Makes a pair of keys and writes both files; neither may exist. The secret one is readable by its
/// owner only, and encrypted if a password is given.
///
/// # Errors
/// When either file exists or cannot be written.
pub fn generate(secret: &Path, public: &Path, password: Option<&str>) -> Result<VerifyingKey, SignError> {
    // Looked for before the slow part and before anything is written; `create` makes it binding.
    for path in [secret, public] {
        if path.symlink_metadata().is_ok() {
            let exists = std::io::ErrorKind::AlreadyExists.into();
            return Err(FileError::on("create", path)(exists).into());
        }
    }
    let KeyPair { pk, sk } = match password {
        Some(password) => KeyPair::generate_encrypted_keypair(Some(password.to_owned())),
        None => KeyPair::generate_unencrypted_keypair(),
    }
    .map_err(library)?;
    let secret_text = sk.to_box(None).map_err(library)?.into_string();
    let public_text = pk.to_box().map_err(library)?.into_string();
    atomic::create(secret, secret_text.as_bytes(), 0o600)?;
    atomic::create(public, public_text.as_bytes(), 0o666)?;
    Ok(VerifyingKey(pk))
}

/// Signs a file; the signature is written beside it, with `.minisig`, replacing an older
/// one. `comment` is signed too; without one it names the time and the file.
///
/// # Errors
/// When the file or key cannot be read, the password is wrong, or the signature cannot be written.
pub fn sign(
    file: &Path,
    secret_key: &Path,
    password: Option<&str>,
    comment: Option<&str>,
) -> Result<PathBuf, SignError> {
    let key = read_secret(secret_key, password)?;
    let content = read_limited(file, SIGNED_MAX_BYTES, "a manifest")?;
    let name = file.file_name().unwrap_or_default().to_string_lossy();
    let comment = match comment {
        Some(comment) => comment.to_owned(),
        None => {
            let seconds = jiff::Timestamp::now().as_second();
            format!("timestamp:{seconds}\tfile:{}\thashed", shown_text(&name))
        }
    };
    let one_line = !comment.chars().any(|c| c.is_control() && c != '\t');
    // The format drops space at both ends, and a comment that comes back changed does not fit.
    if !one_line || comment.len() > COMMENT_MAX_BYTES || comment.trim() != comment {
        return Err(SignError::Comment);
    }
    let untrusted = "signature over the hashes of an inspection";
    let signature =
        minisign::sign(None, &key, Cursor::new(content), Some(&comment), Some(untrusted)).map_err(library)?;
    let path = signature_path(file);
    atomic::replace(&path, signature.into_string().as_bytes())?;
    Ok(path)
}

/// A signature that fits.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, schemars::JsonSchema)]
pub struct Verified {
    /// The number of the key that made it.
    pub key_id: String,
    /// The comment that was signed with it, made fit to be shown.
    pub comment: String,
}

/// Checks that `signature` was made over `file` with the secret half of `key`.
///
/// # Errors
/// When it was not, in the words of [`SignError`].
pub fn verify(file: &Path, signature: &Path, key: &VerifyingKey) -> Result<Verified, SignError> {
    let what = "a signature in the minisign format";
    let malformed = || SignError::Malformed { origin: shown(signature), what };
    let text = read_text(signature, what)?;
    if !second_signature_is_whole(&text) {
        return Err(malformed());
    }
    let parsed = SignatureBox::from_string(&text).map_err(|_| malformed())?;
    let path = signature.to_path_buf();
    if parsed.keynum() != key.0.keynum() {
        return Err(SignError::OtherKey { path, found: key_id(parsed.keynum()), expected: key.id() });
    }
    if !parsed.is_prehashed() {
        return Err(SignError::OldForm { path });
    }
    let content = read_limited(file, SIGNED_MAX_BYTES, "a manifest")?;
    minisign::verify(&key.0, &parsed, Cursor::new(content), true, false, false)
        .map_err(|_| SignError::DoesNotFit { path, file: file.to_path_buf() })?;
    let comment = parsed.trusted_comment().map_err(|_| malformed())?;
    Ok(Verified { key_id: key.id(), comment: shown_text(&comment.replace('\t', " ")) })
}

/// The fourth line signs the comment: 64 bytes in base64. The library takes its length for granted
/// and would panic on a shorter one.
fn second_signature_is_whole(text: &str) -> bool {
    let line = text.lines().nth(3).unwrap_or_default().trim();
    let decoded = base64::engine::general_purpose::STANDARD.decode(line);
    decoded.is_ok_and(|bytes| bytes.len() == 64)
}

fn read_secret(path: &Path, password: Option<&str>) -> Result<SecretKey, SignError> {
    let what = "a secret key in the minisign format";
    let text = read_text(path, what)?;
    let wrong_password = || SignError::WrongPassword { path: path.to_path_buf() };
    // Two bytes after the algorithm say how the key is protected: zero for not at all. The library
    // would ask on the terminal for a password it is not given, so it is never left to find out.
    let bytes = text
        .lines()
        .nth(1)
        .and_then(|line| base64::engine::general_purpose::STANDARD.decode(line.trim()).ok())
        .filter(|bytes| bytes.len() == SECRET_KEY_BYTES)
        .ok_or_else(|| SignError::Malformed { origin: shown(path), what })?;
    let protected = bytes.get(2..4) != Some(&[0, 0]);
    // The minisign program writes keys without a password with no checksum either, which the library refuses.
    let no_checksum =
        bytes.get(SECRET_KEY_BYTES - CHECKSUM_BYTES..).is_some_and(|sum| sum.iter().all(|b| *b == 0));
    let boxed = SecretKeyBox::from_string(&text).map_err(library)?;
    match (protected, password) {
        (true, None) => Err(SignError::PasswordNeeded { path: path.to_path_buf() }),
        (true, Some(password)) => {
            boxed.into_secret_key(Some(password.to_owned())).map_err(|_| wrong_password())
        }
        (false, _) if no_checksum => SecretKey::from_bytes(&bytes).map_err(|_| wrong_password()),
        (false, _) => boxed.into_unencrypted_secret_key().map_err(|_| wrong_password()),
    }
}

fn read_text(path: &Path, what: &'static str) -> Result<String, SignError> {
    let bytes = read_limited(path, KEY_MAX_BYTES, what)?;
    String::from_utf8(bytes).map_err(|_| SignError::Malformed { origin: shown(path), what })
}

fn read_limited(path: &Path, max_bytes: u64, what: &'static str) -> Result<Vec<u8>, SignError> {
    let (file, _) = open::plain(path).map_err(HashError::from)?;
    let mut bytes = Vec::new();
    file.take(max_bytes + 1).read_to_end(&mut bytes).map_err(FileError::on("read", path))?;
    if bytes.len() as u64 > max_bytes {
        let path = path.to_path_buf();
        return Err(SignError::TooLarge { path, what });
    }
    Ok(bytes)
}

fn library(error: minisign::PError) -> SignError {
    SignError::Library(shown_text(&error.to_string()))
}

#[cfg(test)]
mod tests {
    use std::fs;

    use super::*;

    struct Bench {
        dir: tempfile::TempDir,
        key: VerifyingKey,
    }

    impl Bench {
        fn at(&self, name: &str) -> PathBuf {
            self.dir.path().join(name)
        }

        fn verify(&self) -> Result<Verified, SignError> {
            let file = self.at("photos.sha256");
            verify(&file, &signature_path(&file), &self.key)
        }
    }

    fn signed() -> Bench {
        let dir = tempfile::tempdir().unwrap();
        let at = |name: &str| dir.path().join(name);
        fs::write(at("photos.sha256"), "abc  photos/1.jpg\n").unwrap();
        generate(&at("secret.key"), &at("public.key"), None).unwrap();
        sign(&at("photos.sha256"), &at("secret.key"), None, None).unwrap();
        let key = VerifyingKey::read(at("public.key").to_str().unwrap()).unwrap();
        Bench { dir, key }
    }

    /// Published example in the documentation of the `minisign-verify` crate (docs.rs): public key,
    /// signature and the signed text "test".
    #[test]
    fn a_published_signature_verifies() {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("test");
        fs::write(&file, "test").unwrap();
        let signature = signature_path(&file);
        fs::write(
            &signature,
            "untrusted comment: signature from minisign secret key\n\
             RUQf6LRCGA9i559r3g7V1qNyJDApGip8MfqcadIgT9CuhV3EMhHoN1mGTkUidF/z7SrlQgXdy8ofjb7bNJJylDOocrCo8KLzZwo=\n\
             trusted comment: timestamp:1633700835\tfile:test\tprehashed\n\
             wLMDjy9FLAuxZ3q4NlEvkgtyhrr0gtTu6KC4KBJdITbbOeAi1zBIYo0v4iTgt8jJpIidRJnp94ABQkJAgAooBQ==\n",
        )
        .unwrap();
        let key = VerifyingKey::parse("RWQf6LRCGA9i53mlYecO4IzT51TGPpvWucNSCh1CBM0QTaLn73Y7GFO3").unwrap();
        let verified = verify(&file, &signature, &key).unwrap();
        assert_eq!(verified.comment, "timestamp:1633700835 file:test prehashed");
        fs::write(&file, "Test").unwrap();
        let error = verify(&file, &signature, &key).unwrap_err();
        assert!(matches!(error, SignError::DoesNotFit { .. }), "{error}");
    }

    #[test]
    fn every_change_is_noticed() {
        let file = "photos.sha256";
        let signature = "photos.sha256.minisig";
        let edit = |bench: &Bench, name: &str, from: &str, to: &str| {
            let text = fs::read_to_string(bench.at(name)).unwrap();
            assert!(text.contains(from));
            fs::write(bench.at(name), text.replace(from, to)).unwrap();
        };
        let bench = signed();
        edit(&bench, file, "1.jpg", "2.jpg");
        assert!(matches!(bench.verify().unwrap_err(), SignError::DoesNotFit { .. }));
        let bench = signed();
        edit(&bench, signature, "file:photos", "file:Photos");
        assert!(matches!(bench.verify().unwrap_err(), SignError::DoesNotFit { .. }));
        // The first line is not signed and may be anything.
        let bench = signed();
        edit(&bench, signature, "over the hashes", "over nothing");
        bench.verify().unwrap();
        let mut bench = signed();
        bench.key = signed().key;
        assert!(matches!(bench.verify().unwrap_err(), SignError::OtherKey { .. }));
    }

    #[test]
    fn cut_short_it_is_refused_and_nothing_panics() {
        let bench = signed();
        let path = bench.at("photos.sha256.minisig");
        let whole = fs::read_to_string(&path).unwrap();
        for length in 0..whole.len() - 1 {
            fs::write(&path, &whole[..length]).unwrap();
            assert!(bench.verify().is_err(), "{length}");
        }
        let lines: Vec<_> = whole.lines().collect();
        fs::write(&path, format!("{}\nAAAA\n", lines[..3].join("\n"))).unwrap();
        assert!(bench.verify().is_err());
        fs::write(&path, vec![b'x'; 100_000]).unwrap();
        assert!(matches!(bench.verify().unwrap_err(), SignError::TooLarge { .. }));
    }

    #[test]
    fn key_files_are_never_overwritten() {
        let bench = signed();
        let (secret, public) = (bench.at("secret.key"), bench.at("public.key"));
        let (new_secret, new_public) = (bench.at("new.key"), bench.at("new.pub"));
        let before = fs::read(&secret).unwrap();
        assert!(generate(&secret, &new_public, None).is_err());
        assert!(generate(&new_secret, &public, None).is_err());
        assert_eq!(fs::read(&secret).unwrap(), before);
        assert!(!new_secret.exists() && !new_public.exists());
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt;
            let mode = fs::metadata(&secret).unwrap().permissions().mode();
            assert_eq!(mode & 0o077, 0, "others can read the secret key");
        }
    }

    #[test]
    fn comments_are_one_line() {
        let bench = signed();
        let sign_with = |comment: &str| {
            let (file, key) = (bench.at("photos.sha256"), bench.at("secret.key"));
            sign(&file, &key, None, Some(comment))
        };
        for bad in ["two\nlines", "\u{1b}[2J", " space", "x".repeat(2000).as_str()] {
            assert!(matches!(sign_with(bad), Err(SignError::Comment)), "{bad:?}");
        }
        sign_with("sealed on the bench, Schütz 母線").unwrap();
        assert_eq!(bench.verify().unwrap().comment, "sealed on the bench, Schütz 母線");
    }

    #[test]
    fn what_is_no_key_is_named() {
        let bench = signed();
        fs::write(bench.at("bad"), "untrusted comment: x\nnot base64\n").unwrap();
        let error = VerifyingKey::read(bench.at("bad").to_str().unwrap()).unwrap_err();
        assert!(error.to_string().contains("bad: is not a public key"));
        let error = sign(&bench.at("photos.sha256"), &bench.at("bad"), None, None);
        assert!(error.unwrap_err().to_string().contains("bad: is not a secret key"));
        for bad in ["", "RW", "é", &"A".repeat(56), &"A".repeat(5000)] {
            assert!(VerifyingKey::parse(bad).is_err(), "{bad}");
        }
    }
}
