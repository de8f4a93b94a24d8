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
        let comparison = verify(&self.folder, &silent).map_err(|error| Failure::Words(error.to_string()))?;
        // A seal is checked whether or not the record reads.
        let arrivals = read_text(&self.folder.join(RECORD))
            .ok()
            .and_then(|text| record::read(RECORD, &text).ok())
            .map(|record| arrivals(&self.folder, &record));
        let changed: Vec<&Arrival> = arrivals.iter().flatten().filter(|arrival| !arrival.holds()).collect();
        let mut out = std::io::stdout().lock();
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
                match &arrivals {
                    None => {
                        writeln!(out, "the record does not read: photos were not held against their arrival")?
                    }
                    Some(all) if all.is_empty() => {}
                    Some(all) => {
                        for arrival in &changed {
                            writeln!(out, "{}", arrival.words())?;
                        }
                        let same = all.len() - changed.len();
                        writeln!(out, "{same} of {} photos are what arrived", all.len())?;
                    }
                }
            }
        }
        Ok(if comparison.matches() && changed.is_empty() { Done::Well } else { Done::FallsShort })
    }
}
