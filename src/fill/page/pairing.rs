//! Pairing codes: shown in the terminal, typed or scanned on the device, good for one device each; and the devices that are
//! paired, each bound to the address and the browser that it was paired from.

use std::collections::HashMap;
use std::fmt::Write as _;
use std::io::{self, Write};
use std::net::IpAddr;
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use crate::units::terminal;
use qrcode::QrCode;
use qrcode::render::unicode::Dense1x2;
use serde::Serialize;
use sha2::{Digest, Sha256};

/// Letters and digits that are not mistaken for each other.
const ALPHABET: &[u8; 32] = b"ABCDEFGHJKLMNPQRSTUVWXYZ23456789";
/// Length of a code: 40 bits.
const LENGTH: usize = 8;
/// Wrong codes after which an address may not try for a while.
const TRIES: u32 = 5;
/// Wrong codes of all addresses after which the code is replaced, so that many addresses gain nothing.
const ALL_TRIES: u32 = 50;
/// How long an address may not try.
const PAUSE: Duration = Duration::from_secs(30);
/// Addresses whose tries are counted.
const ADDRESSES: usize = 1024;
/// Devices that may be paired at one time.
const DEVICES: usize = 64;

/// The code that is good now, and the devices that are paired.
pub(super) struct Pairing {
    address: String,
    /// Of the certificate, for the link in the QR code.
    fingerprint: String,
    inner: Mutex<Inner>,
}

struct Inner {
    code: String,
    /// Wrong codes since the code was made.
    wrong: u32,
    /// Wrong codes of an address, and until when it may not try.
    tries: HashMap<IpAddr, (u32, Option<Instant>)>,
    /// How many were paired so far.
    paired: u32,
    devices: Vec<Device>,
}

struct Device {
    number: u32,
    /// Of the token, so that comparing tells nothing by its timing.
    hash: [u8; 32],
    client: Client,
    since: jiff::civil::DateTime,
    seen: Instant,
}

/// Where a request comes from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Client {
    pub(super) ip: IpAddr,
    /// What the browser calls itself.
    pub(super) browser: String,
}

/// A paired device, for the page.
#[derive(Debug, Serialize)]
pub(super) struct Listed {
    number: u32,
    address: String,
    browser: String,
    since: String,
    /// Seconds since it was heard of.
    quiet: u64,
    /// Whether it is the one that asks.
    own: bool,
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
    pub(super) fn new(address: String, fingerprint: Option<&str>) -> io::Result<Self> {
        let inner = Inner { code: code()?, wrong: 0, tries: HashMap::new(), paired: 0, devices: Vec::new() };
        let fingerprint =
            fingerprint.map(|of| format!("&sha256={}", of.replace(':', ""))).unwrap_or_default();
        Ok(Self { address, fingerprint, inner: Mutex::new(inner) })
    }

    fn inner(&self) -> MutexGuard<'_, Inner> {
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Shows the code that is good now, as text and as a QR code.
    pub(super) fn show(&self, out: &mut impl Write) -> io::Result<()> {
        let code = self.inner().code.clone();
        let link = format!("{}/#pair={code}{}", self.address, self.fingerprint);
        if let Ok(qr) = QrCode::new(link.as_bytes()) {
            writeln!(out, "{}", qr.render::<Dense1x2>().quiet_zone(true).build())?;
        }
        writeln!(
            out,
            "Pair one device: {link}\nor open {}/ and type {code}. The code works once.",
            self.address
        )
    }

    /// Trades a code for a token that is good from this address and browser; the code is replaced when it was right, or
    /// tried too often by all.
    pub(super) fn pair(&self, given: &str, client: &Client) -> Result<String, NotPaired> {
        let mut inner = self.inner();
        let now = Instant::now();
        if inner.tries.len() >= ADDRESSES {
            inner.tries.retain(|_, (_, until)| until.is_some_and(|until| now < until));
        }
        let (wrong, until) = inner.tries.get(&client.ip).copied().unwrap_or_default();
        if until.is_some_and(|until| now < until) || inner.tries.len() >= ADDRESSES {
            return Err(NotPaired::Paused);
        }
        let given = given.trim().to_ascii_uppercase();
        if Sha256::digest(given.as_bytes()) != Sha256::digest(inner.code.as_bytes()) {
            let paused = wrong + 1 >= TRIES;
            let counted = if paused { (0, Some(now + PAUSE)) } else { (wrong + 1, None) };
            inner.tries.insert(client.ip, counted);
            inner.wrong += 1;
            if inner.wrong >= ALL_TRIES {
                inner.wrong = 0;
                inner.code = code().map_err(|_| NotPaired::Unable)?;
                drop(inner);
                let _ = self.show(&mut terminal::out());
            }
            return Err(if paused { NotPaired::Paused } else { NotPaired::Wrong });
        }
        if inner.devices.len() >= DEVICES {
            return Err(NotPaired::Unable);
        }
        let mut bytes = [0; 32];
        getrandom::fill(&mut bytes).map_err(|_| NotPaired::Unable)?;
        let mut token = String::with_capacity(64);
        for byte in bytes {
            let _ = write!(token, "{byte:02x}");
        }
        inner.tries.remove(&client.ip);
        inner.wrong = 0;
        inner.code = code().map_err(|_| NotPaired::Unable)?;
        inner.paired += 1;
        let number = inner.paired;
        inner.devices.push(Device {
            number,
            hash: Sha256::digest(token.as_bytes()).into(),
            client: client.clone(),
            since: jiff::ZonedDateTime::now().datetime(),
            seen: now,
        });
        drop(inner);
        let mut out = terminal::out();
        let _ = writeln!(out, "Device {number} was paired from {}. For the next one:", client.ip);
        let _ = self.show(&mut out);
        Ok(token)
    }

    /// The number of the paired device whose token it is, where it comes from the address and browser that were paired.
    pub(super) fn knows(&self, token: &str, client: &Client) -> Option<u32> {
        let hash: [u8; 32] = Sha256::digest(token.as_bytes()).into();
        let mut inner = self.inner();
        let device =
            inner.devices.iter_mut().find(|device| device.hash == hash && device.client == *client)?;
        device.seen = Instant::now();
        Some(device.number)
    }

    /// Whether a device was paired from an address.
    pub(super) fn is_from(&self, ip: IpAddr) -> bool {
        self.inner().devices.iter().any(|device| device.client.ip == ip)
    }

    /// The paired devices; `own` asks.
    pub(super) fn devices(&self, own: Option<u32>) -> Vec<Listed> {
        let listed = |device: &Device| Listed {
            number: device.number,
            address: device.client.ip.to_string(),
            browser: device.client.browser.clone(),
            since: device.since.strftime("%H:%M").to_string(),
            quiet: device.seen.elapsed().as_secs(),
            own: own == Some(device.number),
        };
        self.inner().devices.iter().map(listed).collect()
    }

    /// Takes a device's pairing away.
    pub(super) fn revoke(&self, number: u32) -> bool {
        let mut inner = self.inner();
        let before = inner.devices.len();
        inner.devices.retain(|device| device.number != number);
        let revoked = inner.devices.len() < before;
        drop(inner);
        if revoked {
            let _ = writeln!(terminal::out(), "Device {number} is paired no more.");
        }
        revoked
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
        pairing.inner().code.clone()
    }

    fn client(last: u8) -> Client {
        Client { ip: IpAddr::from([192, 0, 2, last]), browser: "phone".to_owned() }
    }

    #[test]
    fn a_code_works_once_for_one_device() {
        let pairing = Pairing::new("http://192.0.2.7:8024".to_owned(), None).unwrap();
        let code = now(&pairing);
        let token = pairing.pair(&code.to_lowercase(), &client(1)).unwrap();
        assert_eq!(pairing.knows(&token, &client(1)), Some(1));
        assert_eq!(pairing.knows("", &client(1)), None);
        // A token is good from the device that it was given to.
        assert_eq!(pairing.knows(&token, &client(2)), None);
        let other = Client { browser: "another".to_owned(), ..client(1) };
        assert_eq!(pairing.knows(&token, &other), None);
        assert_eq!(pairing.pair(&code, &client(1)), Err(NotPaired::Wrong));
        let [device] = &pairing.devices(Some(1))[..] else { panic!("one device") };
        assert!(device.own && device.address == "192.0.2.1");
        assert!(pairing.revoke(1) && !pairing.revoke(1));
        assert_eq!(pairing.knows(&token, &client(1)), None);
        let mut shown = Vec::new();
        pairing.show(&mut shown).unwrap();
        assert!(String::from_utf8(shown).unwrap().contains("/#pair="));
    }

    /// One that guesses is stopped, and keeps nobody else from pairing; many that guess get a new code each fifty.
    #[test]
    fn guesses_are_counted_for_each_address() {
        let pairing = Pairing::new("http://192.0.2.7:8024".to_owned(), None).unwrap();
        for last in 10..19 {
            for _ in 0..4 {
                assert_eq!(pairing.pair("AAAAAAAA", &client(last)), Err(NotPaired::Wrong));
            }
            assert_eq!(pairing.pair("AAAAAAAA", &client(last)), Err(NotPaired::Paused));
            assert_eq!(pairing.pair(&now(&pairing), &client(last)), Err(NotPaired::Paused));
        }
        let code = now(&pairing);
        for _ in 0..5 {
            let _ = pairing.pair("AAAAAAAA", &client(20));
        }
        assert_ne!(now(&pairing), code, "replaced after fifty");
        assert!(pairing.pair(&now(&pairing), &client(1)).is_ok());
        let mut full = Pairing::new(String::new(), None).unwrap();
        let many = (0..2000_u32).map(|n| Client { ip: IpAddr::from(n.to_be_bytes()), ..client(1) });
        many.for_each(|client| drop(full.pair("AAAAAAAA", &client)));
        assert!(full.inner.get_mut().unwrap().tries.len() <= ADDRESSES);
    }
}
