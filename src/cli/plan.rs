//! `plan`: the bench session from the claims, and the test rig checked before it carries anything.

use std::io::Write;
use std::path::PathBuf;

use clap::ValueEnum;

use super::calc::arg::{self, Count};
use super::{Done, Failure, House, colour};
use crate::judge::inspection::{self, RECORD, read_text};
use crate::judge::rig::{Given, Sheet};
use crate::record;
use crate::render::plan::{write_markdown, write_text};
use crate::units::{Dimension, Quantity};

#[derive(Debug, clap::Args)]
pub(super) struct Plan {
    /// The inspection folder, or a record file
    folder: PathBuf,
    /// Power that one load takes, such as "3000 W", where the record does not say
    #[arg(long, value_name = "POWER", value_parser = arg::of(Dimension::POWER))]
    load_power: Option<Quantity>,
    /// Current that one load takes, such as "150 A", where the record does not say
    #[arg(long, value_name = "CURRENT", value_parser = arg::of(Dimension::CURRENT))]
    load_current: Option<Quantity>,
    /// Temperature class of the leads that are proposed, such as "90 degC"; without it "105 degC"
    #[arg(long, value_name = "TEMPERATURE", value_parser = arg::of(Dimension::TEMPERATURE))]
    insulation: Option<Quantity>,
    /// Current-carrying conductors that lie together for each lead that is proposed; without it 2, both legs
    #[arg(long, value_name = "N")]
    bundled: Option<Count>,
    /// Show the checks that are met as well
    #[arg(long)]
    all: bool,
    /// How to print
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
    #[command(flatten)]
    house: House,
}

/// How the plan is printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Format {
    /// For people.
    Text,
    /// For print at the bench.
    Markdown,
    /// For machines; the shape is described in templates/README.md.
    Json,
}

impl Plan {
    pub(super) fn run(&self) -> Result<Done, Failure> {
        // Logs and photos are not opened: a session is planned before there are any.
        let (folder, file) = if self.folder.is_file() {
            (self.folder.parent().unwrap_or(std::path::Path::new(".")).to_owned(), self.folder.clone())
        } else {
            (self.folder.clone(), self.folder.join(RECORD))
        };
        let text = read_text(&file)?;
        let record = record::read(&file.display().to_string(), &text)?;
        let book = inspection::book(&folder, &self.house.rules)?;
        let given = Given {
            load_power: self.load_power.clone(),
            load_current: self.load_current.clone(),
            insulation: self.insulation.clone(),
            together: self.bundled.map(|count| count.0),
        };
        let sheet = Sheet::plan(&record, &book, &given)
            .map_err(|error| Failure::Words(format!("{}: {error}", file.display())))?;
        let mut out = std::io::stdout().lock();
        match self.format {
            Format::Text => {
                out.write_all(write_text(&sheet, self.all, colour(&std::io::stdout())).as_bytes())?;
            }
            Format::Markdown => out.write_all(write_markdown(&sheet).as_bytes())?,
            Format::Json => {
                let json = serde_json::to_string(&sheet).map_err(|e| Failure::Words(e.to_string()))?;
                writeln!(out, "{json}")?;
            }
        }
        Ok(if sheet.falls_short() { Done::FallsShort } else { Done::Well })
    }
}
