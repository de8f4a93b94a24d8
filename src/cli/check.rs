//! `check`: judge a record and show the working.

use std::io::Write;
use std::path::PathBuf;

use super::{Done, Failure, Format, House, colour};
use crate::inspection::Inspection;
use crate::report::{Style, View, write_text};

#[derive(Debug, clap::Args)]
pub(super) struct Check {
    /// Inspection folders, or record files
    #[arg(required = true, value_name = "DIR")]
    folders: Vec<PathBuf>,
    /// Show findings that meet their rule as well
    #[arg(long)]
    all: bool,
    /// How to print
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
    #[command(flatten)]
    house: House,
}

impl Check {
    pub(super) fn run(&self) -> Result<Done, Failure> {
        let mut out = std::io::stdout().lock();
        let mut short = false;
        for (index, folder) in self.folders.iter().enumerate() {
            let inspection = Inspection::open(folder, &self.house.rules)?;
            let view = View::of(&inspection);
            short |= view.falls_short();
            match self.format {
                Format::Text => {
                    if index > 0 {
                        writeln!(out)?;
                    }
                    let style = Style { all: self.all, colour: colour(&std::io::stdout()) };
                    out.write_all(write_text(&view, style).as_bytes())?;
                }
                Format::Json => {
                    let json = serde_json::to_string(&view).map_err(|e| Failure::Words(e.to_string()))?;
                    writeln!(out, "{json}")?;
                }
            }
        }
        Ok(if short { Done::FallsShort } else { Done::Well })
    }
}
