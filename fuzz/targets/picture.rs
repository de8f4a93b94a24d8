//! Any bytes as a photo: a copy is made of it or it is refused, within the bounds of memory.
#![no_main]

use std::io::Write;

use underlid::evidence::picture::{PictureOptions, derive};

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    let mut file = tempfile::NamedTempFile::new_in("/dev/shm").expect("memory for a file");
    file.write_all(bytes).expect("memory for a file");
    let _ = derive(file.path(), &PictureOptions::default());
});
