//! `check`: judge records and show the working.

use std::io::Write;
use std::path::{Path, PathBuf};

use rayon::prelude::*;
use walkdir::WalkDir;

use super::{Done, Failure, Format, House, colour, tell};
use crate::evidence::arrival::{Arrival, arrivals};
use crate::judge::inspection::RECORD;
use crate::render::write_up::{Style, View, write_text};
use crate::units::terminal;
use crate::units::words::count;

#[derive(Debug, clap::Args)]
pub(super) struct Check {
    /// Inspection folders, or record files
    #[arg(required_unless_present = "root", value_name = "DIR")]
    folders: Vec<PathBuf>,
    /// Check every inspection below this folder
    #[arg(long = "all-below", value_name = "ROOT")]
    root: Option<PathBuf>,
    /// Show findings that meet their rule as well, and what would make a claim true
    #[arg(long)]
    all: bool,
    /// One line for each inspection
    #[arg(long)]
    brief: bool,
    /// How to print; json prints one line for each inspection
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
    #[command(flatten)]
    house: House,
}

/// Deepest folder that `--all-below` looks into.
const DEEPEST: usize = 16;
/// Inspections judged side by side before they are printed: bounds memory, keeps all cores at work.
const BATCH: usize = 256;

/// What `check --format json` prints, a line for each inspection.
#[derive(serde::Serialize, schemars::JsonSchema)]
pub(super) struct Checked<'a> {
    #[serde(flatten)]
    view: &'a View,
    /// The folder as named on the command line.
    folder: String,
    /// Photos against the hash they arrived with.
    arrivals: &'a [Arrival],
}

impl Check {
    pub(super) fn run(&self) -> Result<Done, Failure> {
        let mut folders = self.folders.clone();
        if let Some(root) = &self.root {
            folders.extend(below(root)?);
        }
        let mut out = terminal::out();
        let (mut short, mut wrong) = (false, None);
        for (batch, some) in folders.chunks(BATCH).enumerate() {
            let answers: Vec<Result<(String, bool), Failure>> =
                some.par_iter().map(|folder| self.one(folder)).collect();
            for (index, answer) in answers.into_iter().enumerate() {
                match answer {
                    Ok((text, falls_short)) => {
                        if batch + index > 0 && self.format == Format::Text && !self.brief {
                            writeln!(out)?;
                        }
                        out.styled(&text)?;
                        short |= falls_short;
                    }
                    // One wrong record must not keep the others from being judged.
                    Err(failure) if folders.len() > 1 => {
                        let _ = tell(&failure);
                        wrong = Some(failure);
                    }
                    Err(failure) => return Err(failure),
                }
            }
        }
        if wrong.is_some() {
            return Err(Failure::Words("not every record could be read; see above".to_owned()));
        }
        Ok(if short { Done::FallsShort } else { Done::Well })
    }

    fn one(&self, folder: &Path) -> Result<(String, bool), Failure> {
        let inspection = self.house.open(folder)?;
        let (view, arrivals) = rayon::join(
            || match (self.brief, self.all || self.format == Format::Json) {
                (true, _) => View::of(&inspection),
                (_, true) => View::in_full(&inspection),
                _ => View::with_next(&inspection),
            },
            || arrivals(&inspection.folder, &inspection.record),
        );
        let changed: Vec<&Arrival> = arrivals.iter().filter(|arrival| !arrival.holds()).collect();
        let mut text = match self.format {
            Format::Text if self.brief => {
                let c = view.counts;
                let rules = view.rules_told();
                format!(
                    "{}: {}{}{} critical, {} major, {} minor, {} not decided, {} met. {}\n",
                    folder.display(),
                    terminal::plain(&rules),
                    if rules.is_empty() { "" } else { " " },
                    c.critical,
                    c.major,
                    c.minor,
                    c.not_decided,
                    c.meets,
                    terminal::plain(&view.verdict())
                )
            }
            Format::Text => write_text(&view, Style { all: self.all, colour: colour(&std::io::stdout()) }),
            Format::Json => {
                let checked =
                    Checked { view: &view, folder: folder.display().to_string(), arrivals: &arrivals };
                super::json(&checked)?
            }
        };
        if self.format == Format::Text && self.brief && !changed.is_empty() {
            text = format!(
                "{} {} not what arrived.\n",
                text.trim_end(),
                count(changed.len(), "photo is", "photos are")
            );
        } else if self.format == Format::Text && !changed.is_empty() {
            text.push_str(&format!("\nPhotos that are not what arrived: {}\n", changed.len()));
            for arrival in &changed {
                text.push_str(&format!("  {}\n", arrival.words()));
            }
        }
        Ok((text, view.falls_short() || !changed.is_empty()))
    }
}

/// Inspection folders below a root, links not followed.
fn below(root: &Path) -> Result<Vec<PathBuf>, Failure> {
    let mut folders = Vec::new();
    for entry in WalkDir::new(root).max_depth(DEEPEST).sort_by_file_name() {
        let entry = entry.map_err(|e| Failure::Words(e.to_string()))?;
        if entry.file_type().is_file() && entry.file_name() == RECORD {
            folders.extend(entry.path().parent().map(Path::to_owned));
        }
    }
    if folders.is_empty() {
        return Err(Failure::Words(format!("{}: no {RECORD} below it", root.display())));
    }
    Ok(folders)
}
