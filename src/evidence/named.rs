//! Names that makers and checkers of signatures share: endings of files, the purpose, a number of a key.

/// What is added to a file's name for its signature in the minisign format.
pub const SIGNATURE_ENDING: &str = ".minisig";

/// What is added to a file's name for its SSH signature.
pub const SSH_SIGNATURE_ENDING: &str = ".sig";

/// The purpose that `ssh-keygen -Y sign` is given for files, by its own manual's convention.
pub const SSH_NAMESPACE: &str = "file";

/// A key's number with the last byte first, as all programs of the minisign format show it.
pub(super) fn key_id(number: &[u8]) -> String {
    number.iter().rev().map(|b| format!("{b:02X}")).collect()
}
