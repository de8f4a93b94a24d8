//! `report`: the inspection write-up.

use std::io::Write;
use std::path::PathBuf;

use super::{Done, Failure, House, settings};
use crate::render::write_up;
use crate::render::write_up::{WriteUpError, save_write_up};
use crate::units::terminal;

#[derive(Debug, clap::Args)]
pub(super) struct Report {
    /// The inspection folder
    folder: PathBuf,
    /// A folder with templates of your own: report.md, report.html, finding.html, lead.html, answers.html, causes.html, claims.html, style.css, own.html and own.css (your name, logo, colours, fonts); what is missing there is taken from the program
    #[arg(long, value_name = "DIR")]
    templates: Option<PathBuf>,
    #[command(flatten)]
    house: House,
}

impl From<WriteUpError> for Failure {
    fn from(error: WriteUpError) -> Self {
        match error {
            WriteUpError::Open(open) => open.into(),
            other => Self::Words(other.to_string()),
        }
    }
}

impl Report {
    pub(super) fn run(&self) -> Result<Done, Failure> {
        let inspection = self.house.open_to_publish(&self.folder)?;
        let templates = settings::templates(self.templates.as_ref())?;
        let write_up = write_up(&inspection, templates.as_deref())?;
        let paths = save_write_up(&inspection.folder, &write_up)?;
        let view = &write_up.view;
        let mut out = terminal::out();
        writeln!(out, "{}", view.verdict())?;
        for path in paths {
            writeln!(out, "{}", path.display())?;
        }
        super::look_at(&inspection)?;
        Ok(if view.falls_short() { Done::FallsShort } else { Done::Well })
    }
}
