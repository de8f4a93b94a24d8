//! A calculation sheet: what went in, the facts that follow with their working, and what the rules say of them.
//!
//! One model, two writers: text for the bench, JSON with the same content. Facts and findings are those of the record that
//! the arguments make; nothing is worked out or compared here.

use std::fmt::Write;
use std::sync::Arc;

use serde::Serialize;

use super::record::{self, Made, Typed, of_element};
use super::subjects::{Flag, Subject, To};
use crate::judge::facts::{Derived, Facts, Reason, Subject as At};
use crate::judge::rules::{Book, Finding, Outcome, judge};
use crate::physics::Method;
use crate::render::write_up::protection::protection;
use crate::units::terminal::plain;
use crate::units::words::{self, columns};

/// A value that went in.
#[derive(Debug, Serialize, schemars::JsonSchema)]
struct Input {
    name: &'static str,
    /// The key of a record that it fills, or the fact that it stands for.
    fills: &'static str,
    value: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    si: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    expanded_si: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    si_unit: Option<String>,
}

/// A fact that follows.
#[derive(Debug, Serialize, schemars::JsonSchema)]
struct Fact {
    name: &'static str,
    value: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    si: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    expanded_si: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    si_unit: Option<String>,
    /// Set where the true value is not below, or not above, this one.
    #[serde(skip_serializing_if = "Option::is_none")]
    bound: Option<&'static str>,
    steps: Vec<String>,
    assumed: Vec<String>,
}

/// A rule that lacks an argument.
#[derive(Debug, Serialize, schemars::JsonSchema)]
struct Lacks {
    rule: String,
    title: String,
    /// Arguments that would decide it.
    give: Vec<String>,
}

/// The sheet.
#[derive(Debug, Serialize, schemars::JsonSchema)]
pub(in crate::cli) struct Sheet {
    /// Version of this shape; it changes only when a field changes its meaning or goes away.
    schema: u32,
    calculation: &'static str,
    title: &'static str,
    inputs: Vec<Input>,
    facts: Vec<Fact>,
    /// What physics refuses, and why.
    refused: Vec<String>,
    findings: Vec<Finding>,
    not_decided: Vec<Lacks>,
    methods: &'static [&'static Method],
    notes: Vec<String>,
    caution: &'static str,
    /// The picture of the subject, where it has one.
    #[serde(skip)]
    #[schemars(skip)]
    pub(super) chart: Option<String>,
}

/// Currents through a part, and those of the pack that they are here, where it has no parallel strings.
const WHOLE: [(&str, &str); 4] = [
    ("element.carried_current", "claims.continuous_current"),
    ("bms.carried_current", "claims.continuous_current"),
    ("element.fault_current", "path.short_circuit_current"),
    ("element.fault_current_in_use", "path.fault_current_in_use"),
];

/// Looks up the names that a subject's table uses.
struct Asked<'a> {
    subject: &'static Subject,
    typed: &'a [(&'static Flag, Typed)],
    made: &'a Made,
}

impl Asked<'_> {
    /// A fact's name, as the table has it, of a part of the record.
    fn in_table(&self, name: &str, at: At) -> String {
        if let Some((_, whole)) = WHOLE.iter().find(|(through_part, _)| *through_part == name) {
            return (*whole).to_owned();
        }
        match (at, name.strip_prefix("element.")) {
            (At::Element(index), Some(field)) => {
                format!("{}.{field}", self.made.elements.get(index).copied().unwrap_or("element"))
            }
            _ => name.to_owned(),
        }
    }

    fn given(&self, flag: &Flag) -> bool {
        self.typed.iter().any(|(given, _)| given.name == flag.name)
    }

    /// A rule is shown where all of its facts are arguments or shown ones; how many devices stand in a path of one part
    /// follows from what that part responds to.
    fn concerns(&self, names: &[&str], at: At) -> bool {
        let of_part = matches!(at, At::Element(_)) && self.subject.facts.contains(&"element.responds_to");
        let known = |name: &&str| {
            let name = self.in_table(name, at);
            name.starts_with("limit.")
                || of_part && name == "path.overcurrent_devices"
                || self.subject.facts.contains(&name.as_str())
                || self.subject.flags.iter().any(|flag| flag.fills() == name)
        };
        names.iter().all(known)
    }

    /// Arguments that a finding lacks.
    fn lacking(&self, names: &[&str], finding: &Finding) -> Vec<String> {
        let missing = finding.missing.iter().map(|missing| missing.name.as_str());
        let wanted: Vec<String> =
            missing.chain(names.iter().copied()).map(|name| self.in_table(name, finding.at)).collect();
        let lacking = |flag: &&Flag| wanted.iter().any(|name| flag.fills() == name) && !self.given(flag);
        self.subject.flags.iter().filter(lacking).map(Flag::shown).collect()
    }
}

impl Sheet {
    /// Derives and judges the record that the arguments make.
    ///
    /// # Errors
    /// What is wrong with the arguments together, and why physics refuses the answer.
    pub(super) fn of(
        subject: &'static Subject,
        typed: &[(&'static Flag, Typed)],
        book: &Book,
    ) -> Result<Self, String> {
        let made = record::make(subject, typed, book)?;
        let limits = book.limit_amounts();
        let derived = Derived::with_given(
            &made.record,
            &limits,
            made.given.clone(),
            !subject.network || made.elements.is_empty(),
        );
        let asked = Asked { subject, typed, made: &made };
        let mut sheet = Self {
            schema: 2,
            calculation: subject.name,
            title: subject.title,
            inputs: typed.iter().map(|(flag, typed)| Input::of(flag, typed)).collect(),
            facts: Vec::new(),
            refused: Vec::new(),
            findings: Vec::new(),
            not_decided: Vec::new(),
            methods: subject.methods,
            notes: subject.notes.iter().map(|note| (*note).to_owned()).collect(),
            caution: subject.caution,
            chart: None,
        };
        if subject.protects
            && let Some(found) = protection(&made.record, &derived)
        {
            sheet.chart = Some(found.alone(subject.title));
            sheet.notes.extend(found.words);
        }
        for name in subject.facts {
            let head = name.split('.').next().unwrap_or_default();
            let place = made.elements.iter().position(|element| *element == head);
            let at = place.map_or(At::Pack, At::Element);
            let facts = Facts { record: &made.record, derived: &derived, limits: &limits, subject: at };
            match facts.worked(&of_element(name)) {
                Some(Ok(worked)) => sheet.facts.push(Fact::of(name, worked)),
                Some(Err(missing)) => {
                    let refused = missing.iter().filter(|missing| missing.reason == Reason::Refused);
                    sheet.refused.extend(refused.map(|missing| missing.what.clone()));
                }
                None => {}
            }
        }
        sheet.refused.dedup();
        if sheet.facts.is_empty() || (!sheet.refused.is_empty() && !sheet.answers(subject)) {
            if !sheet.refused.is_empty() {
                return Err(sheet.refused.join("\n"));
            }
            let flags: Vec<String> = subject.flags.iter().map(Flag::shown).collect();
            return Err(format!("nothing follows from this; give more of {}", words::list(&flags, "or")));
        }
        for finding in Arc::unwrap_or_clone(judge(&made.record, &derived, book).findings) {
            let Some(rule) = book.rule(&finding.rule) else { continue };
            let names = rule.names();
            if !asked.concerns(&names, finding.at) {
                continue;
            }
            let give = asked.lacking(&names, &finding);
            if finding.outcome != Outcome::NotDecided || finding.missing.is_empty() {
                sheet.findings.push(finding);
            } else if !give.is_empty() && (finding.at != At::Pack || made.elements.is_empty()) {
                sheet.not_decided.push(Lacks { rule: finding.rule, title: finding.title, give });
            } else if finding.missing.iter().any(|missing| missing.reason != Reason::NotRecorded) {
                sheet.findings.push(finding);
            }
        }
        let changes = book.changes.iter().map(|c| format!("house rules: {}: {}", c.what, c.reason));
        sheet.notes.extend(changes);
        Ok(sheet)
    }

    /// True when the first of the subject's facts is there.
    fn answers(&self, subject: &Subject) -> bool {
        subject.facts.first().is_some_and(|name| self.facts.iter().any(|fact| fact.name == *name))
    }

    pub(super) fn text(&self) -> String {
        let mut out = String::new();
        // Writing to a String cannot fail.
        let _ = self.write(&mut out);
        out
    }

    fn write(&self, out: &mut String) -> std::fmt::Result {
        writeln!(out, "{}\n\nPut in", self.title)?;
        let inputs = self.inputs.iter().map(|input| vec![input.name.to_lowercase(), plain(&input.value)]);
        for line in columns(&inputs.collect::<Vec<_>>()) {
            writeln!(out, "  {line}")?;
        }
        writeln!(out, "\nWorked out")?;
        for fact in &self.facts {
            let bound = fact.bound.map_or_else(String::new, |bound| format!("{bound} "));
            writeln!(out, "  {}: {bound}{}", called(fact.name), plain(&fact.value))?;
            lines(out, "      ", &fact.steps)?;
        }
        lines(out, "  refused: ", &self.refused)?;
        if !(self.findings.is_empty() && self.not_decided.is_empty()) {
            writeln!(out, "\nWhat the rules say")?;
        }
        for finding in &self.findings {
            let (shape, said) = (finding.outcome.shape(), finding.outcome.words());
            let grade = if finding.outcome == Outcome::FallsShort { finding.grade.word() } else { "" };
            let grade = if grade.is_empty() { String::new() } else { format!(", {grade}") };
            writeln!(out, "  {shape} {said}{grade}: {}  [{}]", plain(&finding.statement), finding.rule)?;
            let working = &finding.working;
            let margin = working.margin.as_ref().map_or_else(String::new, |m| format!(", margin {m}"));
            writeln!(out, "      {}{}", plain(&working.numbers), plain(&margin))?;
            lines(out, "      ", working.decision.as_slice())?;
            let missing: Vec<String> = finding.missing.iter().map(|missing| missing.what.clone()).collect();
            lines(out, "      ◇ ", &missing)?;
            if finding.outcome == Outcome::FallsShort {
                writeln!(out, "      {}", plain(&finding.advice))?;
            }
            writeln!(out, "      basis: {}: {}", finding.class.word(), plain(&finding.basis))?;
        }
        for Lacks { rule, title, give } in &self.not_decided {
            let shape = Outcome::NotDecided.shape();
            writeln!(
                out,
                "  {shape} not decided: {}: give {}  [{rule}]",
                plain(title),
                words::list(give, "and")
            )?;
        }
        for (index, method) in self.methods.iter().enumerate() {
            let head = if index == 0 { "\nMethods\n" } else { "" };
            writeln!(out, "{head}  {}: {}", method.name, method.formula)?;
            writeln!(out, "      source: {}", method.source)?;
            writeln!(out, "      holds for: {}", method.range)?;
        }
        let mut assumed: Vec<String> = Vec::new();
        for text in self.facts.iter().flat_map(|fact| &fact.assumed) {
            if !assumed.contains(text) {
                assumed.push(text.clone());
            }
        }
        for (head, texts) in [("\nAssumed", &assumed), ("\nNote", &self.notes)] {
            if !texts.is_empty() {
                writeln!(out, "{head}")?;
            }
            lines(out, "  ", texts)?;
        }
        if self.facts.iter().any(|fact| fact.expanded_si.is_some()) {
            writeln!(
                out,
                "\n± is the expanded uncertainty, k = 2 (about 95 %), to first order after JCGM 100:2008."
            )?;
        }
        writeln!(out, "\nCaution: {}", self.caution)
    }
}

fn lines(out: &mut String, mark: &str, texts: &[String]) -> std::fmt::Result {
    texts.iter().try_for_each(|text| writeln!(out, "{mark}{}", plain(text)))
}

/// A fact as a person would call it.
fn called(name: &str) -> String {
    let name = name.strip_prefix("element.").unwrap_or(name);
    name.replace(['.', '_'], " ")
}

impl Input {
    fn of(flag: &'static Flag, typed: &Typed) -> Self {
        let exact = typed.quantity.as_ref();
        Self {
            name: flag.name,
            fills: if matches!(flag.to, To::Fuse) { "element.fuse" } else { flag.fills() },
            value: typed.text.clone(),
            si: exact.map(|quantity| quantity.value),
            expanded_si: exact.and_then(|quantity| quantity.expanded),
            si_unit: exact.map(|quantity| quantity.dimension.to_string()),
        }
    }
}

impl Fact {
    fn of(name: &'static str, worked: &crate::judge::facts::Worked) -> Self {
        let amount = worked.value.amount();
        let exact = amount.filter(|amount| !amount.number.is_exact());
        Self {
            name,
            value: worked.value.show(),
            si: amount.map(crate::units::Amount::value),
            expanded_si: exact.map(|amount| amount.number.expanded()),
            si_unit: amount.map(|amount| amount.dimension.to_string()),
            bound: worked.bound.as_ref().and_then(|bound| bound.side.words()),
            steps: worked.steps.clone(),
            assumed: worked.assumed.clone(),
        }
    }
}
