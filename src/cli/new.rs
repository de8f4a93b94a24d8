//! `new`: a folder with a commented starting record.

use std::io::Write;
use std::path::PathBuf;

use super::{CAUTION, Done, Failure};
use crate::inspection::RECORD;
use crate::record::starter;

#[derive(Debug, clap::Args)]
pub(super) struct New {
    /// The folder to make
    folder: PathBuf,
}

impl New {
    pub(super) fn run(&self) -> Result<Done, Failure> {
        let record = self.folder.join(RECORD);
        if record.exists() {
            return Err(Failure::Words(format!("{} exists already; nothing was changed", record.display())));
        }
        let at = |path: &std::path::Path| {
            let path = path.display().to_string();
            move |error: std::io::Error| Failure::Words(format!("{path}: {error}"))
        };
        for folder in ["photos", "logs"] {
            let folder = self.folder.join(folder);
            std::fs::create_dir_all(&folder).map_err(at(&folder))?;
        }
        crate::save::write_new(&record, starter()).map_err(at(&record))?;
        let mut out = std::io::stdout().lock();
        writeln!(out, "{}: fill it in, put photos into photos/ and logs into logs/, then", record.display())?;
        writeln!(
            out,
            "  underlid plan {}    the bench session before the pack is opened, and the test rig",
            self.folder.display()
        )?;
        writeln!(out, "  underlid check {}", self.folder.display())?;
        writeln!(out, "\n{CAUTION}")?;
        Ok(Done::Well)
    }
}
