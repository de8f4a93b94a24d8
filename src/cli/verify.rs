//! `verify`: compare a folder with its seal.

use std::io::Write;
use std::path::PathBuf;

use super::{Done, Failure, Format};
use crate::evidence::arrival::{Arrival, arrivals};
use crate::evidence::hash::silent;
use crate::evidence::verify::verify;
use crate::inspection::{RECORD, read_text};
use crate::record;
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
        // A seal is checked whether or not the record reads.
        let arrivals = read_text(&self.folder.join(RECORD))
            .ok()
            .and_then(|text| record::read(RECORD, &text).ok())
            .map(|record| arrivals(&self.folder, &record));
        let held = arrivals.iter().flatten().all(Arrival::holds);
        let mut out = std::io::stdout().lock();
        let comparison = match verify(&self.folder, &silent) {
            Ok(comparison) => comparison,
            Err(error) => {
                // What arrived can be held against the record although nothing is sealed yet.
                if self.format == Format::Text {
                    tell_arrivals(&mut out, arrivals.as_deref())?;
                }
                return Err(Failure::Words(error.to_string()));
            }
        };
        match self.format {
            Format::Json => {
                let words = |e: serde_json::Error| Failure::Words(e.to_string());
                let mut json = serde_json::to_value(&comparison).map_err(words)?;
                if let Some(object) = json.as_object_mut() {
                    object.insert("arrivals".to_owned(), serde_json::to_value(&arrivals).map_err(words)?);
                }
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
                tell_arrivals(&mut out, arrivals.as_deref())?;
            }
        }
        Ok(if comparison.matches() && held { Done::Well } else { Done::FallsShort })
    }
}

fn tell_arrivals(out: &mut impl Write, arrivals: Option<&[Arrival]>) -> std::io::Result<()> {
    let Some(all) = arrivals else {
        return writeln!(out, "the record does not read: photos were not held against what arrived");
    };
    if all.is_empty() {
        return Ok(());
    }
    let changed: Vec<&Arrival> = all.iter().filter(|arrival| !arrival.holds()).collect();
    for arrival in &changed {
        writeln!(out, "{}", arrival.words())?;
    }
    writeln!(
        out,
        "{} of {} photos with a recorded hash are what arrived",
        all.len() - changed.len(),
        all.len()
    )
}
