//! `verify`: compare a folder with its seal.

use std::io::Write;
use std::path::PathBuf;

use super::{Done, Failure, Format};
use crate::evidence::hash::silent;
use crate::evidence::verify::verify;
use crate::report::in_words;

#[derive(Debug, clap::Args)]
pub(super) struct Verify {
    /// The inspection folder
    folder: PathBuf,
    /// How to print
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

impl Verify {
    pub(super) fn run(&self) -> Result<Done, Failure> {
        let comparison = verify(&self.folder, &silent).map_err(|error| Failure::Words(error.to_string()))?;
        let mut out = std::io::stdout().lock();
        match self.format {
            Format::Json => {
                let json = serde_json::to_string(&comparison).map_err(|e| Failure::Words(e.to_string()))?;
                writeln!(out, "{json}")?;
            }
            Format::Text => {
                for file in comparison.differences() {
                    writeln!(out, "{}: {}", file.name.to_text(), in_words(&file.state))?;
                }
                let counts = comparison.counts();
                writeln!(
                    out,
                    "{} unchanged, {} changed, {} missing, {} added",
                    counts.unchanged, counts.changed, counts.missing, counts.added
                )?;
            }
        }
        Ok(if comparison.matches() { Done::Well } else { Done::FallsShort })
    }
}
