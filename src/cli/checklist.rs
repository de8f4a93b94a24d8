//! `checklist`: print the form to write on, or check a house list.

use std::collections::BTreeSet;
use std::io::Write;
use std::path::PathBuf;

use super::{CAUTION, Done, Failure, settings};
use crate::fill::checklist::{Checklists, dead_conditions, paper};
use crate::record::open;
use crate::record::problem::Problems;
use crate::units::terminal;
use crate::units::words::count;

#[derive(Debug, clap::Args)]
pub(super) struct Checklist {
    /// The kind of pack: drop-in, rack or self-built
    #[arg(default_value = "drop-in")]
    kind: String,
    /// A house checklist, read after the built-in ones; may be given several times
    #[arg(long = "checklist", value_name = "FILE")]
    checklists: Vec<PathBuf>,
    /// Check a house checklist in place of printing: unknown fields, conditions that never hold
    #[arg(long, value_name = "FILE")]
    check: Option<PathBuf>,
    /// Print the ids of the items in place of the form
    #[arg(long)]
    ids: bool,
}

impl Checklist {
    pub(super) fn run(&self) -> Result<Done, Failure> {
        let mut lists = Checklists::built_in()?;
        for file in self.checklists.iter().chain(&self.check) {
            lists.add(&file.display().to_string(), &open::named_text(file)?)?;
        }
        let mut out = terminal::out();
        if let Some(file) = &self.check {
            let name = file.display().to_string();
            let mut dead = Vec::new();
            // A list that others extend stands in them as well.
            let mut items = BTreeSet::new();
            for list in lists.all() {
                items.extend(list.items().filter(|item| *item.file == *name).map(|item| item.id.clone()));
                dead.extend(dead_conditions(list, &name));
            }
            if !dead.is_empty() {
                return Err(Problems::new(&name, &open::named_text(file)?, dead).into());
            }
            writeln!(
                out,
                "{name}: {}, every field known, every condition alive",
                count(items.len(), "item", "items")
            )?;
            return Ok(Done::Well);
        }
        let Some(list) = lists.of_kind(&self.kind) else {
            let known: Vec<&str> = lists.kinds().collect();
            return Err(Failure::Words(format!(
                "there is no checklist `{}`; there are: {}",
                self.kind,
                known.join(", ")
            )));
        };
        if self.ids {
            for section in &list.sections {
                writeln!(out, "[{}] {}", section.id, section.title)?;
                for item in &section.items {
                    writeln!(out, "{:>5} {}: {}", item.number, item.id, item.prompt)?;
                }
            }
            return Ok(Done::Well);
        }
        let own = settings::templates(None)?;
        out.write_all(paper(list, CAUTION, own.as_deref())?.as_bytes())?;
        Ok(Done::Well)
    }
}
