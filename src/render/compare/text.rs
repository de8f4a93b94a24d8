//! The comparison as plain text for a terminal: the answer first, then what changed.

use std::fmt::{self, Write};

use super::causes::CauseComparison;
use super::fields::{PartComparison, Row, Sorted};
use super::findings::FindingComparison;
use super::page::{causes, findings};
use super::{Comparison, ElementComparison};
use crate::units::terminal::{Paint, plain};

/// Writes a comparison as text; `all` shows what stayed the same as well.
pub fn write_text(comparison: &Comparison, all: bool, colour: bool) -> String {
    let mut out = String::new();
    // Writing to a String cannot fail.
    let _ = Text { out: &mut out, all, paint: Paint(colour) }.write(comparison);
    out
}

struct Text<'a> {
    out: &'a mut String,
    all: bool,
    paint: Paint,
}

impl Text<'_> {
    fn heading(&mut self, text: &str) -> fmt::Result {
        let text = self.paint.bold(&text.to_uppercase());
        writeln!(self.out, "\n{text}")
    }

    fn line(&mut self, depth: usize, text: &str) -> fmt::Result {
        writeln!(self.out, "{}{}", "  ".repeat(depth), plain(text))
    }

    fn write(&mut self, c: &Comparison) -> fmt::Result {
        let title = self.paint.bold(&plain(&c.title));
        writeln!(self.out, "{title}")?;
        if c.invented {
            self.line(0, "Invented example: these makers and packs do not exist.")?;
        }
        for remark in &c.remarks {
            self.line(0, remark)?;
        }
        for answer in &c.ratings {
            let rating = self.paint.bold(&format!("Rated continuous current: {}", plain(&answer.rating)));
            writeln!(self.out, "{rating}")?;
            self.line(0, &answer.answer)?;
        }
        for each in &c.answers {
            self.heading(each.first().map_or("", |answer| answer.question))?;
            for (answer, i) in each.iter().zip(&c.inspections) {
                let outcome =
                    answer.outcome.map(|outcome| format!("{} {}. ", outcome.shape(), outcome.words()));
                self.line(
                    1,
                    &format!("{}: {}{}", i.name, outcome.unwrap_or_default(), answer.said.join(" ")),
                )?;
            }
        }
        if !c.changes.is_empty() {
            self.heading("What changed, and what that did")?;
        }
        for change in &c.changes {
            let part = self.paint.bold(&plain(&change.part));
            writeln!(self.out, "  {part}")?;
            self.line(2, &change.built.join(" → "))?;
            self.line(2, &format!("at rated current: {}", change.temperature.join(" → ")))?;
        }
        for (heading, causes) in causes(c) {
            self.heading(&heading)?;
            causes.into_iter().try_for_each(|cause| self.cause(cause, c))?;
        }
        if self.all {
            self.annex(c)?;
        }
        let t = c.totals;
        writeln!(self.out)?;
        self.line(
            0,
            &format!(
                "Recorded facts: {} changed or differing as recorded, {} recorded in one only, {} not compared, {} with no difference shown, {} the same.{}",
                t.changed,
                t.one_only,
                t.not_compared,
                t.within,
                t.same,
                if self.all { "" } else { " --all lists them all." }
            ),
        )?;
        self.line(
            0,
            &format!(
                "underlid {}. Nothing here says that a pack is safe, or better than another.",
                c.program
            ),
        )
    }

    fn cause(&mut self, cause: &CauseComparison, c: &Comparison) -> fmt::Result {
        let statement = self.paint.bold(&plain(&cause.statement));
        writeln!(self.out, "  {:<8} {statement}", cause.grade.word())?;
        for (state, i) in cause.states.iter().zip(&c.inspections) {
            let between = match state.said.as_str() {
                "" => "",
                said if said.starts_with("missing") => "; ",
                _ => ": ",
            };
            self.line(2, &format!("{} {}, {}{between}{}", state.shape, i.name, state.word, state.said))?;
        }
        Ok(())
    }

    /// Every difference.
    fn annex(&mut self, c: &Comparison) -> fmt::Result {
        for answer in &c.ratings {
            self.heading(&format!("What explains the rating: {}, {}", answer.from, answer.to))?;
            for line in answer
                .working
                .iter()
                .chain(&answer.missing.iter().map(|m| format!("missing: {m}")).collect::<Vec<_>>())
            {
                self.line(1, line)?;
            }
        }
        self.heading("Current path, from the negative to the positive terminal")?;
        for element in &c.elements {
            self.element(element, c)?;
        }
        self.heading("Claims")?;
        self.rows(1, c, &c.claims)?;
        for part in &c.statements {
            self.part(part, c)?;
        }
        self.heading("What follows for the pack")?;
        self.sorted(1, c, &c.derived, &[])?;
        self.heading("Parts")?;
        for part in &c.parts {
            self.part(part, c)?;
        }
        self.heading("Inspections and instruments")?;
        for part in &c.circumstances {
            self.part(part, c)?;
        }
        self.findings(c)?;
        self.tests(c)?;
        self.heading("Records")?;
        for i in &c.inspections {
            self.line(1, &format!("{}: {}, SHA-256 {}", i.name, i.title, i.record_sha256))?;
            match &i.manifest_sha256 {
                Some(hash) => self.line(2, &format!("sealed, SHA-256 of the manifest {hash}"))?,
                None => self.line(2, "not sealed")?,
            }
        }
        Ok(())
    }

    fn element(&mut self, element: &ElementComparison, c: &Comparison) -> fmt::Result {
        let only = only(&element.only_in);
        let place =
            element.in_place_of.as_deref().map(|o| format!(", in the place of {o}")).unwrap_or_default();
        let label = self.paint.bold(&plain(&element.label));
        writeln!(self.out, "  {label}{}{}", plain(&only), plain(&place))?;
        self.line(2, &format!("matched by: {}", element.matched_by))?;
        self.one(2, c, &element.permissible_current)?;
        self.one(2, c, &element.margin)?;
        for row in element.temperature.iter().chain(&element.losses) {
            self.one(2, c, row)?;
        }
        self.sorted(2, c, &element.found.fields, &element.only_in)
    }

    fn part(&mut self, part: &PartComparison, c: &Comparison) -> fmt::Result {
        let name = self.paint.bold(&plain(&part.name));
        let by = part.matched_by.as_deref().map(|by| format!(" (matched by: {by})")).unwrap_or_default();
        writeln!(self.out, "  {name}{}{}", plain(&only(&part.only_in)), plain(&by))?;
        self.sorted(2, c, &part.fields, &part.only_in)
    }

    fn sorted(&mut self, depth: usize, c: &Comparison, rows: &Sorted, only_in: &[String]) -> fmt::Result {
        // What one record has alone is told as it is, without an empty column beside it.
        if only_in.len() == 1 {
            return rows.one_only.iter().try_for_each(|row| {
                let told =
                    row.cells.iter().find(|cell| cell.text != "–").map_or("", |cell| cell.text.as_str());
                self.line(depth, &format!("{}: {told}", row.what))
            });
        }
        rows.lists().into_iter().try_for_each(|list| self.rows(depth, c, list))
    }

    fn rows(&mut self, depth: usize, c: &Comparison, rows: &[Row]) -> fmt::Result {
        rows.iter().try_for_each(|row| self.one(depth, c, row))
    }

    fn one(&mut self, depth: usize, c: &Comparison, row: &Row) -> fmt::Result {
        let cells: Vec<&str> = row.cells.iter().map(|cell| cell.text.as_str()).collect();
        let same = row.changes.iter().all(|change| change.kind == super::ChangeKind::Same);
        if same {
            return self.line(depth, &format!("{}: {}", row.what, cells.first().unwrap_or(&"")));
        }
        let several = row.changes.len() > 1;
        let words: Vec<String> = row
            .changes
            .iter()
            .zip(c.inspections.iter().skip(1))
            .map(
                |(change, i)| {
                    if several { format!("{}: {}", i.name, change.words) } else { change.words.clone() }
                },
            )
            .collect();
        self.line(depth, &format!("{}: {}  [{}]", row.what, cells.join(" | "), words.join("; ")))
    }

    fn findings(&mut self, c: &Comparison) -> fmt::Result {
        for (heading, list, _) in findings(c) {
            self.heading(&format!("{heading} ({})", list.len()))?;
            list.iter().try_for_each(|finding| self.finding(finding, c))?;
        }
        self.line(0, &format!("Met in all: {}", c.findings.met_in_all))
    }

    fn finding(&mut self, finding: &FindingComparison, c: &Comparison) -> fmt::Result {
        let subject =
            if finding.subject.is_empty() { String::new() } else { format!(", {}", plain(&finding.subject)) };
        let statement = self.paint.bold(&plain(&finding.statement));
        writeln!(self.out, "  {:<8} {statement}{subject}  [{}]", finding.grade.word(), finding.rule)?;
        for (state, i) in finding.states.iter().zip(&c.inspections) {
            let detail = if state.detail.is_empty() { String::new() } else { format!(": {}", state.detail) };
            self.line(2, &format!("{} {} {}{detail}", state.shape, i.name, state.word))?;
        }
        Ok(())
    }

    fn tests(&mut self, c: &Comparison) -> fmt::Result {
        if !c.tests.is_empty() {
            self.heading("Bench tests")?;
        }
        for test in &c.tests {
            let kind = self.paint.bold(&plain(&test.kind));
            writeln!(self.out, "  {kind}{}", plain(&only(&test.settings.only_in)))?;
            self.line(2, &format!("matched by: {}", test.matched_by))?;
            for problem in &test.problems {
                self.line(2, &format!("the log could not be used: {problem}"))?;
            }
            for condition in &test.conditions_differ {
                self.line(2, &format!("conditions differ, figures not compared: {condition}"))?;
            }
            for condition in &test.conditions_open {
                self.line(2, &format!("condition not recorded in all: {condition}"))?;
            }
            self.rows(2, c, &test.figures)?;
            self.rows(2, c, &test.further)?;
            for (name, each) in &test.words {
                self.line(2, &format!("{name}: {}", each.join(" | ")))?;
            }
        }
        Ok(())
    }
}

fn only(names: &[String]) -> String {
    if names.is_empty() {
        String::new()
    } else {
        format!(", only in {}", crate::units::words::list(names, "and"))
    }
}
