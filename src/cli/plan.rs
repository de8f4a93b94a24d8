//! `plan`: the bench session from the claims, and the test rig checked before it carries anything.

use std::io::Write;
use std::path::PathBuf;

use clap::ValueEnum;

use super::calc::arg::{self, Count};
use super::{Done, Failure, House, colour, settings, words};
use crate::judge::inspection::{self, record_text};
use crate::judge::rig::{Given, Sheet};
use crate::judge::rules::RuleFile;
use crate::record;
use crate::render::plan::{write_html, write_text};
use crate::units::terminal;
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
    /// A form for print at the bench: boxes to tick, lines to write on.
    Html,
    /// For machines; the shape is described in templates/README.md.
    Json,
}

/// What `plan --format json` prints.
#[derive(serde::Serialize, schemars::JsonSchema)]
pub(super) struct Planned<'a> {
    #[serde(flatten)]
    sheet: &'a Sheet,
    /// Files of rules beside the built-in ones: those whose limits were used, and those that were left aside.
    rule_files: &'a [RuleFile],
}

impl Plan {
    pub(super) fn run(&self) -> Result<Done, Failure> {
        // Logs and photos are not opened: a session is planned before there are any.
        let (folder, file, text) = record_text(&self.folder)?;
        let record = record::read(&file.display().to_string(), &text)?;
        let book = inspection::book(Some(&folder), &self.house.of()?)?;
        let given = Given {
            load_power: self.load_power.clone(),
            load_current: self.load_current.clone(),
            insulation: self.insulation.clone(),
            together: self.bundled.map(|count| count.0),
        };
        let sheet = Sheet::plan(&record, &book, &given)
            .map_err(|error| Failure::Words(format!("{}: {error}", file.display())))?;
        let mut out = terminal::out();
        match self.format {
            Format::Text => {
                for file in &book.files {
                    writeln!(out, "{}", file.told)?;
                }
                out.styled(&write_text(&sheet, self.all, colour(&std::io::stdout())))?;
            }
            Format::Html => {
                let own = settings::templates(None)?;
                out.write_all(write_html(&sheet, &book.files, own.as_deref())?.as_bytes())?;
            }
            Format::Json => {
                let planned = Planned { sheet: &sheet, rule_files: &book.files };
                let json = serde_json::to_string(&planned).map_err(words)?;
                writeln!(out, "{json}")?;
            }
        }
        Ok(if sheet.falls_short() { Done::FallsShort } else { Done::Well })
    }
}
