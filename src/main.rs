//! Arguments in, exit code out; nothing else.

use std::process::ExitCode;

fn main() -> ExitCode {
    underlid::cli::run()
}
