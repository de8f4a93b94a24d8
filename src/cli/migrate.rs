//! `migrate`: rewrite the record of an earlier schema for this program, and keep a copy.

use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};

use super::{Done, Failure};
use crate::evidence::manifest::MANIFEST_NAME;
use crate::judge::inspection::{RECORD, record_text};
use crate::record::{self, SCHEMA, migrate::migrate, open, save};
use crate::units::terminal;

#[derive(Debug, clap::Args)]
pub(super) struct Migrate {
    /// The inspection folder
    #[arg(value_name = "DIR")]
    folder: PathBuf,
    /// Only say what would change
    #[arg(long)]
    dry_run: bool,
}

impl Migrate {
    pub(super) fn run(&self) -> Result<Done, Failure> {
        let file = if self.folder.is_file() { self.folder.clone() } else { self.folder.join(RECORD) };
        let folder = save::parent(&file);
        // As `fill` does: two programs do not write one record at the same time.
        let lock = open::folder(folder).ok();
        let _locked = lock.as_ref().is_some_and(|folder| folder.lock().is_ok());
        let (_, _, text) = record_text(&self.folder)?;
        let name = file.display().to_string();
        let mut out = terminal::out();
        let Some(migrated) = migrate(&name, &text)? else {
            writeln!(out, "{name}: has schema {SCHEMA} already; nothing was changed")?;
            return Ok(Done::Well);
        };
        let copy = file.with_extension(format!("schema-{}.toml", migrated.from));
        if !self.dry_run {
            keep(&copy, &text)?;
            save::replace(&file, &migrated.text)
                .map_err(|error| Failure::Words(format!("{name}: {error}; it is unchanged")))?;
        }
        writeln!(out, "{name}:")?;
        for change in &migrated.changes {
            writeln!(out, "  {change}")?;
        }
        if self.dry_run {
            writeln!(
                out,
                "nothing was written; without --dry-run the old record is kept as {}",
                copy.display()
            )?;
        } else {
            writeln!(out, "{}: the record as it was", copy.display())?;
            if folder.join(MANIFEST_NAME).exists() {
                writeln!(
                    out,
                    "the seal is of the record as it was: `underlid verify` says changed until `underlid seal --replace`"
                )?;
            }
        }
        // A mistake that was there before is there still; told now, it is not met as a surprise later.
        record::read(&name, &migrated.text)?;
        Ok(Done::Well)
    }
}

/// Keeps the old record; a copy that is there already stays, and must be the same.
fn keep(copy: &Path, text: &str) -> Result<(), Failure> {
    match save::write_new(copy, text) {
        Err(error)
            if error.kind() == ErrorKind::AlreadyExists && open::text(copy).is_ok_and(|old| old == text) =>
        {
            Ok(())
        }
        Err(error) if error.kind() == ErrorKind::AlreadyExists => Err(Failure::Words(format!(
            "{}: exists already and holds something else; move it away first. Nothing was changed",
            copy.display()
        ))),
        other => {
            other.map_err(|error| Failure::Words(format!("{}: {error}; nothing was changed", copy.display())))
        }
    }
}
