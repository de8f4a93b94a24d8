//! TLS for the page: a key and a certificate of this machine's own, made at the first start and kept in the folder of the
//! user's settings, never in an inspection. Nobody vouches for it; its fingerprint goes with the pairing code.

use std::fs;
use std::io;
use std::path::Path;
use std::sync::Arc;

use tokio::net::TcpStream;
use tokio_rustls::TlsAcceptor;
use tokio_rustls::rustls::ServerConfig;
use tokio_rustls::rustls::pki_types::pem::PemObject;
use tokio_rustls::rustls::pki_types::{CertificateDer, PrivateKeyDer};
use tokio_rustls::server::TlsStream;

use crate::evidence::hash::Sha256Digest;
use crate::record::{open, save};

/// The file of the key and its certificate.
const NAME: &str = "page-key.pem";

/// This machine's key.
#[derive(Clone)]
pub(super) struct Identity {
    acceptor: TlsAcceptor,
    /// SHA-256 of the certificate, as browsers show it.
    pub(super) fingerprint: String,
}

impl Identity {
    /// The key that lies in a folder, made now where there is none; without a folder one for this run alone.
    ///
    /// # Errors
    /// When it cannot be read or written, or is no key.
    pub(super) fn of(folder: Option<&Path>) -> io::Result<Self> {
        let file = folder.map(|folder| folder.join(NAME));
        let known = file.as_deref().filter(|file| fs::symlink_metadata(file).is_ok());
        let pem = match known {
            Some(file) => open::text(file).map_err(|refused| io::Error::other(refused.to_string()))?,
            None => make()?,
        };
        let identity = Self::read(&pem).map_err(|why| {
            let file = file.as_deref().unwrap_or(Path::new(NAME)).display();
            io::Error::other(format!("{file}: {why}; remove it, and a new key is made at the next start"))
        })?;
        if let (Some(file), None) = (&file, known) {
            fs::create_dir_all(save::parent(file))?;
            save::write_new_with(file, &pem, 0o600)?;
        }
        Ok(identity)
    }

    fn read(pem: &str) -> Result<Self, String> {
        let certificate =
            CertificateDer::from_pem_slice(pem.as_bytes()).map_err(|_| "it holds no certificate")?;
        let key = PrivateKeyDer::from_pem_slice(pem.as_bytes()).map_err(|_| "it holds no key")?;
        let hash = Sha256Digest::of(&certificate);
        let bytes: Vec<String> = hash.as_bytes().iter().map(|byte| format!("{byte:02X}")).collect();
        let fingerprint = bytes.join(":");
        let config = ServerConfig::builder().with_no_client_auth().with_single_cert(vec![certificate], key);
        let config = config.map_err(|error| error.to_string())?;
        Ok(Self { acceptor: TlsAcceptor::from(Arc::new(config)), fingerprint })
    }

    /// Shakes hands with a client.
    pub(super) async fn accept(&self, stream: TcpStream) -> io::Result<TlsStream<TcpStream>> {
        self.acceptor.accept(stream).await
    }
}

fn make() -> io::Result<String> {
    let made = rcgen::generate_simple_self_signed(vec!["underlid.local".to_owned()]);
    let made = made.map_err(|error| io::Error::other(error.to_string()))?;
    Ok(made.cert.pem() + &made.signing_key.serialize_pem())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_key_is_made_once_and_for_its_owner_alone() {
        let folder = tempfile::tempdir().unwrap();
        let own = folder.path().join("settings");
        let first = Identity::of(Some(&own)).unwrap().fingerprint;
        assert_eq!(first.len(), 95);
        assert_eq!(Identity::of(Some(&own)).unwrap().fingerprint, first);
        assert_ne!(Identity::of(None).unwrap().fingerprint, first);
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt;
            let mode = fs::metadata(own.join(NAME)).unwrap().permissions().mode();
            assert_eq!(mode & 0o077, 0, "{mode:o}");
        }
        fs::write(own.join(NAME), "no key").unwrap();
        let Err(refused) = Identity::of(Some(&own)) else { panic!("what is no key is refused") };
        assert!(refused.to_string().contains("it holds no certificate"), "{refused}");
    }
}
