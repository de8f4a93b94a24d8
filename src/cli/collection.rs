//! `collection`: many inspections as a static site and as tables.

use std::io::Write;
use std::path::PathBuf;

use super::{Done, Failure, House};
use crate::render::collection::{CollectionError, CollectionShare, Options, build};
use crate::units::terminal;
use crate::units::terminal::{shown, shown_text};
use crate::units::words::count;

#[derive(Debug, clap::Args)]
pub(super) struct Collection {
    /// Inspections, and bags of published write-ups, are searched below this folder; links are not followed, hidden folders are skipped
    root: PathBuf,
    /// Folder of the site: empty, new, or made by an earlier build
    #[arg(long, value_name = "DIR")]
    to: PathBuf,
    /// Build only share K of N, into `part=K-of-N` below the folder of the site: for several machines, each with a share
    #[arg(long, value_name = "K/N", value_parser = part)]
    part: Option<CollectionShare>,
    /// Title of the site
    #[arg(long, default_value = "Inspected packs")]
    title: String,
    /// Judge everything anew, whatever the last build left in its cache
    #[arg(long)]
    fresh: bool,
    #[command(flatten)]
    house: House,
}

/// Reads `2/8`.
fn part(text: &str) -> Result<CollectionShare, String> {
    let numbers = text.split_once('/').and_then(|(share, of)| Some((share.parse().ok()?, of.parse().ok()?)));
    numbers
        .and_then(|(share, of)| CollectionShare::new(share, of))
        .ok_or_else(|| "expected the number of a share and how many there are, such as 2/8".to_owned())
}

/// Folders that could not be read and are named on the terminal; the site lists them all.
const NAMED: usize = 20;

impl From<CollectionError> for Failure {
    fn from(error: CollectionError) -> Self {
        match error {
            CollectionError::House(open) => open.into(),
            other => Self::Words(other.to_string()),
        }
    }
}

impl Collection {
    pub(super) fn run(&self) -> Result<Done, Failure> {
        let built = build(&Options {
            root: self.root.clone(),
            to: self.part.map_or_else(|| self.to.clone(), |part| self.to.join(part.folder())),
            part: self.part,
            keys: super::settings::keys()?,
            house: self.house.of()?,
            title: self.title.clone(),
            templates: super::settings::templates(None)?,
            fresh: self.fresh,
        })?;
        let mut err = terminal::err();
        if let Some(told) = &built.told {
            writeln!(err, "underlid: {told}")?;
        }
        for (folder, problem) in built.problems.iter().take(NAMED) {
            writeln!(err, "{}: {}", shown_text(folder), shown_text(problem))?;
        }
        if built.problems.len() > NAMED {
            writeln!(err, "… and {} more", built.problems.len() - NAMED)?;
        }
        let mut out = terminal::out();
        let unchanged = built.read - built.judged;
        write!(
            out,
            "{}: {} judged, {unchanged} unchanged",
            count(built.read, "pack", "packs"),
            built.judged
        )?;
        if built.removed > 0 {
            write!(
                out,
                "; {} removed",
                count(built.removed, "file of an earlier build", "files of earlier builds")
            )?;
        }
        writeln!(out, ".")?;
        if built.like_formulas > 0 {
            let cells = count(built.like_formulas, "cell of text begins", "cells of text begin");
            writeln!(out, "{cells} like a formula; the CSV files have an apostrophe before each.")?;
        }
        writeln!(out, "{}", shown(&built.index))?;
        #[cfg(not(feature = "parquet"))]
        writeln!(out, "{}", super::left_out_words("The Parquet files need", "parquet"))?;
        if !built.problems.is_empty() {
            let number = count(built.problems.len(), "folder", "folders");
            return Err(Failure::Words(format!("{number} could not be read; the site lists them")));
        }
        Ok(if built.falls_short { Done::FallsShort } else { Done::Well })
    }
}
