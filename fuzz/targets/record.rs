//! Any text as a record: it reads or is refused with its places, and never panics.
#![no_main]

libfuzzer_sys::fuzz_target!(|text: &str| {
    if let Err(problems) = underlid::record::read("inspection.toml", text) {
        for problem in problems.list() {
            assert!(text.get(problem.span.clone()).is_some(), "a place that is not in the text: {problem:?}");
        }
    }
});
