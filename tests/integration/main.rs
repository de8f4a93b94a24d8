//! All integration tests in one program: a test file a subject, what they share in `common` and `fill_support`.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test that fails stops")]
#![allow(clippy::print_stdout, clippy::print_stderr, reason = "tests show what they measured")]

mod any_text;
mod bench_damaged;
mod bench_fuzz;
mod bench_kinds;
mod bench_logs;
mod bench_test;
mod calc;
mod check;
mod checklists;
mod collection;
mod common;
mod compare;
mod decode;
mod dependencies;
mod elements;
mod evidence;
mod fill;
mod fill_kills;
mod fill_page;
mod fill_quick;
mod fill_rig;
mod fill_support;
mod first_look;
mod first_look_orders;
mod growth;
mod kills;
mod log_corpus;
mod log_failures;
mod log_forms;
mod log_generated;
#[cfg(feature = "measuring")]
mod measure_photo;
mod migrate;
mod mutants;
mod network;
mod photos;
mod plan;
mod protection;
mod published_thermal;
mod reference_bench;
mod reference_collection;
mod reference_evidence;
mod reference_examples;
mod reference_load_step;
mod reference_physics;
mod reference_thermal;
mod reference_uncertainty;
mod report;
mod rooms;
mod rule_book;
mod schema;
mod sealing;
mod sharing;
mod slips;
mod stranger;
mod video_kit;
mod words;
