//! Any bytes as a list of hashes: what reads is written, and reads the same again.
#![no_main]

use std::path::Path;

use underlid::evidence::manifest::Manifest;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    let path = Path::new("photos.sha256");
    if let Ok(manifest) = Manifest::from_bytes(bytes, path) {
        assert_eq!(Manifest::from_bytes(&manifest.to_bytes(), path).ok(), Some(manifest));
    }
});
