//! `next`: the facts most worth having, with what each would decide and how to get it safely.

use std::io::Write;
use std::path::PathBuf;

use super::{Done, Failure, Format, House};
use crate::judge::next::{Look, MOST, Waiting};
use crate::render::write_up::{looks_of, write_looks};
use crate::units::terminal;

#[derive(Debug, clap::Args)]
pub(super) struct Next {
    /// An inspection folder, or a record file
    #[arg(value_name = "DIR")]
    folder: PathBuf,
    /// Print all that is worth looking at, not only the first five
    #[arg(long)]
    all: bool,
    /// How to print
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
    #[command(flatten)]
    house: House,
}

/// What `next --format json` prints.
#[derive(serde::Serialize, schemars::JsonSchema)]
pub(super) struct NextTold<'a> {
    /// The folder as named on the command line.
    folder: String,
    /// The facts most worth having, in order.
    looks: &'a [Look],
    /// How many more there are; `--all` prints them.
    more: usize,
    /// What no single fact or pair decides, by what is missing.
    closed: &'a [Waiting],
    /// What a photo is still wanted of: it is evidence and decides nothing about the pack.
    photos: &'a [String],
}

impl Next {
    pub(super) fn run(&self) -> Result<Done, Failure> {
        let inspection = self.house.open(&self.folder)?;
        let most = if self.all { usize::MAX } else { MOST };
        let next = looks_of(&inspection, most);
        let mut out = terminal::out();
        match self.format {
            Format::Text => out.styled(&write_looks(&next, most))?,
            Format::Json => {
                let shown = next.looks.get(..most).unwrap_or(&next.looks);
                let more = next.looks.len() - shown.len();
                let folder = self.folder.display().to_string();
                let (closed, photos) = (&*next.closed, &*next.photos);
                let told = NextTold { folder, looks: shown, more, closed, photos };
                out.write_all(super::json(&told)?.as_bytes())?;
            }
        }
        Ok(Done::Well)
    }
}
