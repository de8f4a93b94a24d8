//! `calc`: what the record of one element would say, without a record, for use at the bench.
//!
//! The arguments become a record of the few things they name ([`record`]), which is derived and judged like any other. The
//! sheet prints what went in, the facts that follow with their working, and what the rules say of them. Nothing is
//! read or written but the arguments and the sheet.

pub(super) mod arg;
mod record;
mod sheet;
mod subjects;

use std::io::Write;
use std::path::PathBuf;

use clap::builder::ValueParser;
use clap::error::ErrorKind;
use clap::{ArgAction, ArgMatches, Command, FromArgMatches, Subcommand};

use self::record::Typed;
pub(super) use self::sheet::Sheet;
use self::subjects::{Flag, SUBJECTS, Subject, To};
use super::{CAUTION, Done, Failure, Format, house};
use crate::judge::inspection;
use crate::units::terminal;

#[derive(Debug, clap::Args)]
#[command(after_help = CAUTION)]
pub(super) struct Calc {
    #[command(subcommand)]
    asked: Asked,
    /// How to print
    #[arg(long, value_enum, default_value = "text", global = true, display_order = 1000)]
    format: Format,
    /// A file or folder of house rules, read after the built-in ones; may be given several times
    #[arg(long, value_name = "FILE", global = true, display_order = 1001)]
    rules: Vec<PathBuf>,
    /// Write the chart to this file, as SVG; only `calc protection` draws one
    #[arg(long, value_name = "FILE", global = true, display_order = 1002)]
    chart: Option<PathBuf>,
}

/// A subject with the arguments that were given for it.
#[derive(Debug, Clone)]
struct Asked {
    subject: &'static Subject,
    given: Vec<(&'static Flag, Typed)>,
}

impl Calc {
    pub(super) fn run(&self) -> Result<Done, Failure> {
        // There is no inspection whose folder could hold rules of its own.
        let book = inspection::book(None, &house(&self.rules)?)?;
        let sheet = Sheet::of(self.asked.subject, &self.asked.given, &book).map_err(Failure::Words)?;
        if let Some(file) = &self.chart {
            let Some(chart) = &sheet.chart else {
                return Err(Failure::Words(format!(
                    "--chart: `calc {}` draws no chart; `calc protection` does, once one of its times is known",
                    self.asked.subject.name
                )));
            };
            crate::record::save::replace(file, chart.as_bytes())
                .map_err(|error| Failure::Words(error.to_string()))?;
        }
        let mut out = terminal::out();
        match self.format {
            Format::Text => out.write_all(sheet.text().as_bytes())?,
            Format::Json => {
                let json = serde_json::to_string_pretty(&sheet).map_err(|e| Failure::Words(e.to_string()))?;
                writeln!(out, "{json}")?;
            }
        }
        Ok(Done::Well)
    }
}

impl Subject {
    fn command(&'static self) -> Command {
        let help = format!(
            "Example:\n  {}\n\nQuantities are written as in a record, with a unit and perhaps an uncertainty: \"25 x 3 mm\", \
             \"40 degC\", \"250 A ± 2 %\".\n\n{CAUTION}",
            self.example
        );
        let args = self.flags.iter().map(|flag| {
            let arg = clap::Arg::new(flag.name)
                .help(flag.help())
                .required(flag.required)
                .allow_hyphen_values(true)
                .action(if matches!(flag.to, To::Layer) { ArgAction::Append } else { ArgAction::Set })
                .value_parser(ValueParser::new(move |text: &str| record::read(flag, text)));
            if flag.positional() { arg } else { arg.long(flag.name).value_name(flag.value_name()) }
        });
        Command::new(self.name).about(self.about).args(args).after_help(help)
    }
}

impl FromArgMatches for Asked {
    fn from_arg_matches(matches: &ArgMatches) -> Result<Self, clap::Error> {
        let chosen = matches
            .subcommand()
            .and_then(|(name, inner)| Some((SUBJECTS.iter().find(|subject| subject.name == name)?, inner)));
        let (subject, inner) = chosen.ok_or_else(|| clap::Error::new(ErrorKind::MissingSubcommand))?;
        let values = |flag: &'static Flag| {
            let typed = inner.get_many::<Typed>(flag.name).into_iter().flatten();
            typed.map(move |typed| (flag, typed.clone()))
        };
        Ok(Self { subject, given: subject.flags.iter().flat_map(values).collect() })
    }

    fn update_from_arg_matches(&mut self, matches: &ArgMatches) -> Result<(), clap::Error> {
        *self = Self::from_arg_matches(matches)?;
        Ok(())
    }
}

impl Subcommand for Asked {
    fn augment_subcommands(command: Command) -> Command {
        command.subcommand_required(true).subcommands(SUBJECTS.iter().map(Subject::command))
    }

    fn augment_subcommands_for_update(command: Command) -> Command {
        Self::augment_subcommands(command)
    }

    fn has_subcommand(name: &str) -> bool {
        SUBJECTS.iter().any(|subject| subject.name == name)
    }
}
