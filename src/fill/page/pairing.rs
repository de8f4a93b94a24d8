//! Pairing codes: shown in the terminal, typed or scanned on the device, good for one device each.

use std::fmt::Write as _;
use std::io::{self, Write};
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

use crate::units::terminal;
use qrcode::QrCode;
use qrcode::render::unicode::Dense1x2;
use sha2::{Digest, Sha256};

/// Letters and digits that are not mistaken for each other.
const ALPHABET: &[u8; 32] = b"ABCDEFGHJKLMNPQRSTUVWXYZ23456789";
/// Length of a code: 40 bits.
const LENGTH: usize = 8;
/// Wrong codes after which the code is replaced and nobody may try for a while.
const TRIES: u32 = 5;
/// How long nobody may try.
const PAUSE: Duration = Duration::from_secs(30);
/// Devices that may be paired at one time.
const DEVICES: usize = 64;

/// The code that is good now, and the devices that are paired.
pub(super) struct Pairing {
    address: String,
    inner: Mutex<Inner>,
}

struct Inner {
    code: String,
    wrong: u32,
    closed_until: Option<Instant>,
    /// Hashes of the tokens, so that comparing them tells nothing by its timing.
    tokens: Vec<[u8; 32]>,
}

/// Why a device was not paired.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum NotPaired {
    /// The code is wrong.
    Wrong,
    /// Too many wrong codes.
    Paused,
    /// Too many devices, or the system gives no random numbers.
    Unable,
}

impl Pairing {
    pub(super) fn new(address: String) -> io::Result<Self> {
        let inner = Inner { code: code()?, wrong: 0, closed_until: None, tokens: Vec::new() };
        Ok(Self { address, inner: Mutex::new(inner) })
    }

    /// Shows the code that is good now, as text and as a QR code.
    pub(super) fn show(&self, out: &mut impl Write) -> io::Result<()> {
        let code = self.inner.lock().unwrap_or_else(PoisonError::into_inner).code.clone();
        let link = format!("{}/#pair={code}", self.address);
        if let Ok(qr) = QrCode::new(link.as_bytes()) {
            writeln!(out, "{}", qr.render::<Dense1x2>().quiet_zone(true).build())?;
        }
        writeln!(
            out,
            "Pair one device: {link}\nor open {}/ and type {code}. The code works once.",
            self.address
        )
    }

    /// Trades a code for a token; the code is replaced, whether it was right or tried too often.
    pub(super) fn pair(&self, given: &str) -> Result<String, NotPaired> {
        let mut inner = self.inner.lock().unwrap_or_else(PoisonError::into_inner);
        if inner.closed_until.is_some_and(|until| Instant::now() < until) {
            return Err(NotPaired::Paused);
        }
        let given = given.trim().to_ascii_uppercase();
        if Sha256::digest(given.as_bytes()) != Sha256::digest(inner.code.as_bytes()) {
            inner.wrong += 1;
            if inner.wrong >= TRIES {
                inner.wrong = 0;
                inner.closed_until = Some(Instant::now() + PAUSE);
                inner.code = code().map_err(|_| NotPaired::Unable)?;
                drop(inner);
                let _ = self.show(&mut terminal::out());
                return Err(NotPaired::Paused);
            }
            return Err(NotPaired::Wrong);
        }
        if inner.tokens.len() >= DEVICES {
            return Err(NotPaired::Unable);
        }
        let mut bytes = [0; 32];
        getrandom::fill(&mut bytes).map_err(|_| NotPaired::Unable)?;
        let mut token = String::with_capacity(64);
        for byte in bytes {
            let _ = write!(token, "{byte:02x}");
        }
        inner.wrong = 0;
        inner.code = code().map_err(|_| NotPaired::Unable)?;
        inner.tokens.push(Sha256::digest(token.as_bytes()).into());
        drop(inner);
        let mut out = terminal::out();
        let _ = writeln!(out, "A device was paired. For the next one:");
        let _ = self.show(&mut out);
        Ok(token)
    }

    /// True when the token is a paired device's.
    pub(super) fn knows(&self, token: &str) -> bool {
        let hash: [u8; 32] = Sha256::digest(token.as_bytes()).into();
        self.inner.lock().unwrap_or_else(PoisonError::into_inner).tokens.contains(&hash)
    }
}

fn code() -> io::Result<String> {
    let mut bytes = [0; LENGTH];
    getrandom::fill(&mut bytes).map_err(|_| io::Error::other("the system gives no random numbers"))?;
    // 256 is a multiple of 32: every letter is as likely as any other.
    Ok(bytes
        .iter()
        .filter_map(|byte| ALPHABET.get(usize::from(byte % 32)))
        .map(|byte| char::from(*byte))
        .collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn now(pairing: &Pairing) -> String {
        pairing.inner.lock().unwrap().code.clone()
    }

    #[test]
    fn a_code_works_once_and_guessing_is_stopped() {
        let pairing = Pairing::new("http://192.0.2.7:8024".to_owned()).unwrap();
        let code = now(&pairing);
        let token = pairing.pair(&code.to_lowercase()).unwrap();
        assert!(pairing.knows(&token));
        assert!(!pairing.knows("") && !pairing.knows(&token[1..]));
        assert_eq!(pairing.pair(&code), Err(NotPaired::Wrong));
        let code = now(&pairing);
        for _ in 0..3 {
            assert_eq!(pairing.pair("AAAAAAAA"), Err(NotPaired::Wrong));
        }
        assert_eq!(pairing.pair("AAAAAAAA"), Err(NotPaired::Paused));
        assert_eq!(pairing.pair(&now(&pairing)), Err(NotPaired::Paused));
        assert_ne!(now(&pairing), code);
        let mut shown = Vec::new();
        pairing.show(&mut shown).unwrap();
        assert!(String::from_utf8(shown).unwrap().contains("/#pair="));
    }
}
