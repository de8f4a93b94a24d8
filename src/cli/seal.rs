//! `seal`: write the hashes of the evidence.

use std::io::Write;
use std::path::PathBuf;

use super::{Done, Failure, Format};
use crate::evidence::hash::silent;
use crate::evidence::verify::{SealError, seal};
use crate::report::in_words;
use crate::words::count;

#[derive(Debug, clap::Args)]
pub(super) struct Seal {
    /// The inspection folder
    folder: PathBuf,
    /// Replace a seal although sealed files have changed or are missing
    #[arg(long)]
    replace: bool,
    /// How to print
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

impl Seal {
    pub(super) fn run(&self) -> Result<Done, Failure> {
        let sealed = match seal(&self.folder, self.replace, &silent) {
            Ok(sealed) => sealed,
            Err(SealError::Differs(comparison)) => {
                let mut words = "evidence has changed since it was sealed; nothing was written:\n".to_owned();
                for file in comparison.differences() {
                    words.push_str(&format!("  {}: {}\n", file.name.to_text(), in_words(&file.state)));
                }
                words.push_str("`underlid seal --replace` writes a new seal if these changes are meant");
                return Err(Failure::Words(words));
            }
            Err(error) => return Err(Failure::Words(error.to_string())),
        };
        let mut out = std::io::stdout().lock();
        match self.format {
            Format::Json => {
                let json = serde_json::json!({
                    "manifest": sealed.manifest_path.display().to_string(),
                    "manifest_sha256": sealed.manifest_digest.to_string(),
                    "files": sealed.manifest.len(),
                    "bytes": sealed.bytes,
                    "left_out": sealed.left_out,
                });
                writeln!(out, "{json}")?;
            }
            Format::Text => {
                writeln!(
                    out,
                    "{}: {} sealed",
                    sealed.manifest_path.display(),
                    count(sealed.manifest.len(), "file", "files")
                )?;
                writeln!(
                    out,
                    "SHA-256 of the manifest, the one figure to publish: {}",
                    sealed.manifest_digest
                )?;
                for left_out in &sealed.left_out {
                    writeln!(out, "not sealed: {}", left_out.name.to_text())?;
                }
            }
        }
        Ok(Done::Well)
    }
}
