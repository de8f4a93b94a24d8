//! `compare`: two or more inspections part by part.

use std::io::Write;
use std::path::PathBuf;

use rayon::prelude::*;

use super::{Done, Failure, Format, House, colour, look_at};
use crate::judge::inspection::Inspection;
use crate::render::compare::{compare, pages, save, write_text};
use crate::units::terminal;

#[derive(Debug, clap::Args)]
pub(super) struct Compare {
    /// Inspection folders; all are compared with the first
    #[arg(required = true, num_args = 2.., value_name = "DIR")]
    folders: Vec<PathBuf>,
    /// Write compare.md, compare.html, compare.json and the data of the curves into this folder
    #[arg(long, value_name = "DIR")]
    to: Option<PathBuf>,
    /// A folder with templates of your own: compare.md, compare.html, compare.alone.html, compare.cause.html, compare.rows.md, compare.rows.html, style.css, own.html, own.css; what is missing there is taken from the program
    #[arg(long, value_name = "DIR", requires = "to")]
    templates: Option<PathBuf>,
    /// List what stayed the same as well
    #[arg(long)]
    all: bool,
    /// How to print
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
    #[command(flatten)]
    house: House,
}

impl Compare {
    pub(super) fn run(&self) -> Result<Done, Failure> {
        if let Some(to) = &self.to {
            self.refuse_evidence(to)?;
        }
        let opened: Vec<Result<Inspection, _>> =
            self.folders.par_iter().map(|folder| self.house.open_to_publish(folder)).collect();
        let inspections = opened.into_iter().collect::<Result<Vec<_>, _>>()?;
        let mut comparison = compare(&inspections);
        let mut out = terminal::out();
        if let Some(to) = &self.to {
            let templates = super::settings::templates(self.templates.as_ref())?;
            let mut pages = pages(&mut comparison, &inspections, templates.as_deref())?;
            for (name, text) in &mut pages.files {
                *text = guarded(&inspections, name, std::mem::take(text))?;
            }
            for path in save(to, &pages)? {
                writeln!(out, "{}", path.display())?;
            }
            for inspection in &inspections {
                look_at(inspection)?;
            }
            return Ok(Done::Well);
        }
        let text = match self.format {
            Format::Text => write_text(&comparison, self.all, colour(&std::io::stdout())),
            Format::Json => {
                comparison.hash_photos(&inspections);
                comparison.json()?
            }
        };
        out.styled(&guarded(&inspections, "compare", text)?)?;
        Ok(Done::Well)
    }

    /// Files written among the evidence would look like additions to what was sealed.
    fn refuse_evidence(&self, to: &std::path::Path) -> Result<(), Failure> {
        let Ok(to) = to.canonicalize() else { return Ok(()) };
        match self.folders.iter().find(|folder| folder.canonicalize().is_ok_and(|folder| folder == to)) {
            Some(folder) => Err(Failure::Words(format!(
                "{}: is one of the inspections; name another folder for the comparison",
                folder.display()
            ))),
            None => Ok(()),
        }
    }
}

/// Every text passes here before it leaves the program, so that nothing that a record withholds slips through.
fn guarded(inspections: &[Inspection], name: &str, text: String) -> Result<String, Failure> {
    for inspection in inspections {
        inspection.withheld.guard(name, &text).map_err(|leak| Failure::Words(leak.to_string()))?;
    }
    Ok(text)
}
