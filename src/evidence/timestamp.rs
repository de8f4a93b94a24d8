//! A trusted time for the chain of seals: the request after RFC 3161, and the token that came back.
//!
//! Nothing is sent. Whoever seals takes the request to a time-stamping authority and keeps its answer beside the chain; that
//! the token is good is for OpenSSL to say, with the authority's certificate. Here it is only looked for the hash that the
//! token is about.

use std::io;
use std::path::Path;

use super::hash::Sha256Digest;
use super::seals::{Chain, SEALS_NAME};
use crate::record::{open, save};

/// Ending of the request, beside the chain of seals.
pub const REQUEST_ENDING: &str = ".tsq";
/// Ending of the token that came back.
pub const TOKEN_ENDING: &str = ".tsr";
/// A token with its certificates takes a few kilobytes.
const MOST: u64 = 1 << 20;

/// `TimeStampReq` (RFC 3161, 2.4.1) up to the hash: version 1, SHA-256.
const BEFORE: [u8; 24] = [
    0x30, 0x39, 0x02, 0x01, 0x01, 0x30, 0x31, 0x30, 0x0d, 0x06, 0x09, 0x60, 0x86, 0x48, 0x01, 0x65, 0x03,
    0x04, 0x02, 0x01, 0x05, 0x00, 0x04, 0x20,
];
/// After it: the authority's certificate is asked for.
const AFTER: [u8; 3] = [0x01, 0x01, 0xff];

/// A token that lies beside the chain.
#[derive(Debug, serde::Serialize, schemars::JsonSchema)]
pub struct Token {
    /// Its file.
    pub file: String,
    /// The seal up to which the chain had come when it was given; none where it is about something else.
    pub seal: Option<usize>,
    /// The command that says whether it is good, and whose it is.
    pub check: String,
}

/// Writes the request for the chain as it lies there.
///
/// # Errors
/// What the file system says.
pub fn write_request(folder: &Path) -> io::Result<String> {
    let chain = open::bytes(&folder.join(SEALS_NAME), MOST).map_err(io::Error::other)?;
    let name = format!("{SEALS_NAME}{REQUEST_ENDING}");
    let request = [&BEFORE[..], Sha256Digest::of(&chain).as_bytes(), &AFTER].concat();
    save::replace(&folder.join(&name), &request)?;
    Ok(name)
}

/// The token beside the chain, where there is one.
#[must_use]
pub fn token(folder: &Path, chain: &Chain) -> Option<Token> {
    let file = format!("{SEALS_NAME}{TOKEN_ENDING}");
    let bytes = open::bytes(&folder.join(&file), MOST).ok()?;
    let about = |digest: &Sha256Digest| bytes.windows(32).any(|part| part == digest.as_bytes());
    let states = chain.states();
    let found = states.iter().rev().find(|(_, digest)| about(digest));
    let check = match found {
        Some((_, digest)) => {
            format!("openssl ts -verify -digest {digest} -in {file} -CAfile authority.pem")
        }
        None => format!("openssl ts -reply -in {file} -text"),
    };
    Some(Token { file, seal: found.map(|(number, _)| *number), check })
}
