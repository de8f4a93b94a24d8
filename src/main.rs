//! Arguments in, exit code out; nothing else.

use std::process::ExitCode;

/// Derivations are many small pieces: the system's allocator takes a seventh of the time longer.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

fn main() -> ExitCode {
    underlid::cli::run()
}
