//! `explain`: a rule with its source, why it matters, what to measure, and with a record its working.

use std::io::Write;
use std::path::PathBuf;

use super::{Done, Failure, Format, House, colour};
use crate::judge::inspection::{Inspection, book};
use crate::judge::rules::{Book, Rule, page};
use crate::render::write_up::{Style, View, write_finding};
use crate::units::words::nearest;

#[derive(Debug, clap::Args)]
pub(super) struct Explain {
    /// The rule's id; without it the book is listed
    rule: Option<String>,
    /// An inspection folder: shows the rule's working on its record
    #[arg(long, value_name = "DIR")]
    record: Option<PathBuf>,
    /// Print the page on the rule language, with all names, functions, limits and rules
    #[arg(long, conflicts_with = "rule")]
    language: bool,
    /// Print the names that expressions may use
    #[arg(long, conflicts_with_all = ["rule", "language"])]
    names: bool,
    /// How to print
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
    #[command(flatten)]
    house: House,
}

impl Explain {
    pub(super) fn run(&self) -> Result<Done, Failure> {
        let mut out = std::io::stdout().lock();
        let folder = self.record.clone().unwrap_or_else(|| PathBuf::from("."));
        // Without a record the current folder's rules do not count.
        let book = match &self.record {
            Some(_) => book(&folder, &self.house.rules)?,
            None => book(std::path::Path::new("/nonexistent"), &self.house.rules)?,
        };
        if self.language {
            out.write_all(page::language_page(&book).as_bytes())?;
        } else if self.names {
            for info in crate::judge::rules::names::catalogue() {
                writeln!(out, "{:<38} {}: {}", info.name, info.kind.name(), info.about)?;
            }
        } else if let Some(id) = &self.rule {
            let rule = book.rule(id).ok_or_else(|| {
                let hint = nearest(id, book.rules.iter().map(|rule| rule.id.as_str())).map_or_else(
                    || "`underlid explain` lists them".to_owned(),
                    |near| format!("did you mean `{near}`?"),
                );
                Failure::Words(format!("there is no rule `{id}`; {hint}"))
            })?;
            match self.format {
                Format::Text => self.one(rule, &book, &mut out)?,
                Format::Json => writeln!(out, "{}", as_json(rule))?,
            }
        } else {
            match self.format {
                Format::Text => list(&book, &mut out)?,
                Format::Json => {
                    let all: Vec<serde_json::Value> = book.rules.iter().map(as_json).collect();
                    writeln!(out, "{}", serde_json::Value::Array(all))?;
                }
            }
        }
        Ok(Done::Well)
    }

    fn one(&self, rule: &Rule, book: &Book, out: &mut impl Write) -> Result<(), Failure> {
        writeln!(out, "{}  [{}, {}]", rule.title, rule.id, rule.grade.word())?;
        writeln!(out, "  applies to   {}", rule.scope.words())?;
        if let Some((when, _)) = &rule.when {
            writeln!(out, "  when         {when}")?;
        }
        writeln!(out, "  requires     {}", rule.require_text)?;
        for limit in
            book.limits.iter().filter(|limit| rule.require_text.contains(&format!("limit.{}", limit.name)))
        {
            writeln!(
                out,
                "  limit        {} = {}: {}. {}",
                limit.name, limit.text, limit.about, limit.basis
            )?;
        }
        for (name, text) in [
            ("falls short", &rule.fault),
            ("basis", &rule.basis),
            ("why", &rule.why),
            ("measure", &rule.measure),
            ("advice", &rule.advice),
        ] {
            if !text.is_empty() {
                writeln!(out, "  {name:<12} {text}")?;
            }
        }
        if rule.absent_falls_short {
            writeln!(out, "  A fact that was looked for and is not there is the nonconformity.")?;
        }
        if let Some(reason) = &rule.off {
            writeln!(out, "  turned off   {reason}")?;
        }
        let Some(folder) = &self.record else { return Ok(()) };
        let inspection = Inspection::open(folder, &self.house.rules)?;
        let view = View::of(&inspection);
        let style = Style { all: true, colour: colour(&std::io::stdout()) };
        writeln!(out)?;
        for finding in view.findings.iter().filter(|finding| finding.rule == rule.id) {
            out.write_all(write_finding(finding, style).as_bytes())?;
        }
        for idle in view.not_applied.iter().filter(|idle| idle.rule == rule.id) {
            writeln!(out, "does not apply: {}", idle.because)?;
        }
        Ok(())
    }
}

fn list(book: &Book, out: &mut impl Write) -> Result<(), Failure> {
    let width = book.rules.iter().map(|rule| rule.id.len()).max().unwrap_or(0);
    let mut subject = "";
    for rule in &book.rules {
        if rule.subject != subject {
            subject = &rule.subject;
            writeln!(out, "\n{}", subject.to_uppercase())?;
        }
        writeln!(out, "  {:<width$}  {:<8}  {}", rule.id, rule.grade.word(), rule.title)?;
    }
    writeln!(out, "\n{} rules. `underlid explain RULE` explains one.", book.rules.len())?;
    Ok(())
}

fn as_json(rule: &Rule) -> serde_json::Value {
    serde_json::json!({
        "rule": rule.id,
        "title": rule.title,
        "fault": rule.fault,
        "subject": rule.subject,
        "applies_to": rule.scope.words(),
        "when": rule.when.as_ref().map(|(text, _)| text),
        "require": rule.require_text,
        "grade": rule.grade,
        "basis": rule.basis,
        "why": rule.why,
        "measure": rule.measure,
        "advice": rule.advice,
        "house": rule.house,
        "turned_off": rule.off,
    })
}
