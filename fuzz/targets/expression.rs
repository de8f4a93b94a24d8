//! Any text as a condition of a rule.
#![no_main]

use underlid::judge::rules::expr::{functions, parse};

libfuzzer_sys::fuzz_target!(init: { assert!(functions().count() > 0); }, |text: &str| {
    let _ = parse(text);
});
