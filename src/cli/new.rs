//! `new`: a folder with a commented starting record.

use std::io::Write;
use std::path::PathBuf;

use super::{CAUTION, Done, Failure, words};
use crate::judge::inspection::RECORD;
use crate::record::edit::{Edit, Entered, apply};
use crate::record::starter;
use crate::units::terminal;

#[derive(Debug, clap::Args)]
pub(super) struct New {
    /// The folder to make
    folder: PathBuf,
    /// The kind of pack, which chooses the checklist: drop-in, rack or self-built
    #[arg(long)]
    kind: Option<String>,
}

impl New {
    pub(super) fn run(&self) -> Result<Done, Failure> {
        let record = self.folder.join(RECORD);
        if record.exists() {
            return Err(Failure::Words(format!("{} exists already; nothing was changed", record.display())));
        }
        let mut text = starter();
        if let Some(kind) = &self.kind {
            let place = "inspection.kind".parse().map_err(words)?;
            text = apply(RECORD, &text, &[Edit::Set { place, answer: Entered::of(kind) }]).map_err(words)?;
        }
        let at = |path: &std::path::Path| {
            let path = path.display().to_string();
            move |error: std::io::Error| Failure::Words(format!("{path}: {error}"))
        };
        for folder in ["photos", "logs"] {
            let folder = self.folder.join(folder);
            std::fs::create_dir_all(&folder).map_err(at(&folder))?;
        }
        crate::record::save::write_new(&record, text).map_err(at(&record))?;
        let mut out = terminal::out();
        let folder = self.folder.display();
        writeln!(
            out,
            "{}: nothing is recorded yet; photos go into photos/, logs into logs/. Then",
            record.display()
        )?;
        writeln!(
            out,
            "  underlid plan {folder}    the bench session before the pack is opened, and the test rig"
        )?;
        writeln!(out, "  underlid fill {folder}    one question at a time; --page asks on a phone")?;
        writeln!(out, "  underlid check {folder}   the findings, with their working")?;
        writeln!(out, "\n{CAUTION}")?;
        Ok(Done::Well)
    }
}
