//! `explain`: a rule with its source, why it matters, what to measure, and with a record its working.

use std::io::Write;
use std::path::PathBuf;

use super::{Done, Failure, Format, House, colour};
use crate::judge::inspection::book;
use crate::judge::rules::{Book, Class, Grade, Limit, Rule, page};
use crate::render::write_up::{Style, View, write_finding};
use crate::units::terminal::{self, Terminal};
use crate::units::words::{columns, did_you_mean};

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
        let mut out = terminal::out();
        // Without a record the current folder's rules do not count.
        let book = book(self.record.as_deref(), &self.house.of()?)?;
        let json = self.format == Format::Json;
        for file in book.files.iter().filter(|_| !(json || self.language || self.names)) {
            writeln!(out, "{}", file.told)?;
        }
        if self.language {
            out.write_all(page::language_page(&book).as_bytes())?;
        } else if self.names {
            let mut names = Vec::new();
            for info in crate::judge::rules::names::catalogue() {
                names.push(vec![info.name.clone(), format!("{}: {}", info.kind.name(), info.about)]);
            }
            for line in columns(&names) {
                writeln!(out, "{line}")?;
            }
        } else if let Some(id) = &self.rule {
            let rule = book.rule(id).ok_or_else(|| {
                let known = book.rules.iter().map(|rule| rule.id.as_str());
                let hint = did_you_mean(id, known, "`underlid explain` lists them");
                Failure::Words(format!("there is no rule `{id}`; {hint}"))
            })?;
            match self.format {
                Format::Text => self.one(rule, &book, &mut out)?,
                Format::Json => out
                    .write_all(super::json(&Explained::One(Box::new(RuleExplained::of(rule))))?.as_bytes())?,
            }
        } else {
            match self.format {
                Format::Text => list(&book, &mut out)?,
                Format::Json => {
                    let all = Explained::All(book.rules.iter().map(RuleExplained::of).collect());
                    out.write_all(super::json(&all)?.as_bytes())?;
                }
            }
        }
        Ok(Done::Well)
    }

    fn one<W: Write>(&self, rule: &Rule, book: &Book, out: &mut Terminal<W>) -> Result<(), Failure> {
        writeln!(out, "{}  [{}, {}]", rule.title, rule.id, rule.grade.word())?;
        let row = |name: &str, text: &str| vec![name.to_owned(), text.to_owned()];
        let mut rows = vec![row("applies to", &rule.scope.words())];
        rows.extend(rule.when.as_ref().map(|(when, _)| row("when", when)));
        rows.push(row("requires", &rule.require_text));
        for Limit { name, text, about, class, basis, .. } in book.limits_of(rule) {
            rows.push(row("limit", &format!("{name} = {text}: {about}. {}: {basis}", class.word())));
        }
        for (name, text) in [
            ("falls short", &rule.fault),
            ("basis", &format!("{}: {}", rule.class.word(), rule.basis)),
            ("meets when", &rule.meets_when),
            ("why", &rule.why),
            ("measure", &rule.measure),
            ("advice", &rule.advice),
            ("changed", &rule.changed),
        ] {
            if !text.is_empty() {
                rows.push(row(name, text));
            }
        }
        rows.extend(rule.was.map(|was| row("was", was.word())));
        rows.extend(rule.cited.iter().map(|source| row("source", source)));
        for line in columns(&rows) {
            writeln!(out, "  {line}")?;
        }
        if rule.absent_falls_short {
            writeln!(out, "  A fact that was looked for and is not there is the nonconformity.")?;
        }
        if let Some(reason) = &rule.off {
            writeln!(out, "  turned off   {reason}")?;
        }
        let Some(folder) = &self.record else { return Ok(()) };
        let inspection = self.house.open(folder)?;
        let view = View::of(&inspection);
        let style = Style { all: true, colour: colour(&std::io::stdout()) };
        writeln!(out)?;
        for finding in view.findings.iter().filter(|finding| finding.rule == rule.id) {
            out.styled(&write_finding(finding, style))?;
        }
        for idle in view.not_applied.iter().filter(|idle| idle.rule == rule.id) {
            writeln!(out, "does not apply: {}", idle.because)?;
        }
        Ok(())
    }
}

fn list(book: &Book, out: &mut impl Write) -> Result<(), Failure> {
    let rows = book.rules.iter();
    let rows = rows.map(|rule| vec![rule.id.clone(), rule.grade.word().to_owned(), rule.title.clone()]);
    let lines = columns(&rows.collect::<Vec<_>>());
    let mut subject = "";
    for (rule, line) in book.rules.iter().zip(lines) {
        if rule.subject != subject {
            subject = &rule.subject;
            writeln!(out, "\n{}", subject.to_uppercase())?;
        }
        writeln!(out, "  {line}")?;
    }
    writeln!(out, "\n{} rules. `underlid explain RULE` explains one.", book.rules.len())?;
    Ok(())
}

/// What `explain --format json` prints.
#[derive(serde::Serialize, schemars::JsonSchema)]
#[serde(untagged)]
pub(super) enum Explained<'a> {
    /// The rule that was asked for.
    One(Box<RuleExplained<'a>>),
    /// The rule book.
    All(Vec<RuleExplained<'a>>),
}

/// A rule with everything that is said of it.
#[derive(serde::Serialize, schemars::JsonSchema)]
pub(super) struct RuleExplained<'a> {
    rule: &'a str,
    title: &'a str,
    fault: &'a str,
    subject: &'a str,
    applies_to: String,
    when: Option<&'a str>,
    require: &'a str,
    grade: Grade,
    /// What its threshold rests on.
    class: Class,
    basis: &'a str,
    /// The sources that it and its limits cite.
    sources: &'a [String],
    /// The most favourable record on which it may say "meets".
    meets_when: &'a str,
    /// Its grade in the first edition, where it was another one.
    was: Option<Grade>,
    /// What changed since the first edition, and why.
    changed: &'a str,
    why: &'a str,
    measure: &'a str,
    advice: &'a str,
    /// True when it comes from a house book.
    house: bool,
    /// The reason for which the house turned it off.
    turned_off: Option<&'a str>,
}

impl<'a> RuleExplained<'a> {
    fn of(rule: &'a Rule) -> Self {
        Self {
            rule: &rule.id,
            title: &rule.title,
            fault: &rule.fault,
            subject: &rule.subject,
            applies_to: rule.scope.words(),
            when: rule.when.as_ref().map(|(text, _)| text.as_str()),
            require: &rule.require_text,
            grade: rule.grade,
            class: rule.class,
            basis: &rule.basis,
            sources: &rule.cited,
            meets_when: &rule.meets_when,
            was: rule.was,
            changed: &rule.changed,
            why: &rule.why,
            measure: &rule.measure,
            advice: &rule.advice,
            house: rule.house,
            turned_off: rule.off.as_deref(),
        }
    }
}
