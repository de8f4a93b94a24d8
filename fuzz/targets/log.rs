//! Any bytes as a log: it is read to its end, whatever it holds.
#![no_main]

use std::io::Cursor;

use underlid::logs::read::{LogReader, ReadSettings};

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    if let Ok(mut log) = LogReader::new(Cursor::new(bytes), &ReadSettings::default()) {
        let _ = log.for_each(|_| {});
    }
});
