//! The sheet as Markdown, to be printed and filled in at the bench.

use std::fmt::Write;

use crate::judge::rig::{Lacking, Leads, Line, Planned, RigCheck, RigView, Sheet};
use crate::judge::rules::{Grade, Outcome};
use crate::render::write_up::escape_markdown as md;

/// Room to write by hand.
const BLANK: &str = "\\_\\_\\_\\_\\_\\_\\_\\_\\_\\_\\_\\_";

pub fn write_markdown(sheet: &Sheet) -> String {
    let mut out = String::new();
    // Writing to a String cannot fail.
    let _ = write(&mut out, sheet);
    out
}

fn write(out: &mut String, sheet: &Sheet) -> std::fmt::Result {
    writeln!(out, "# Bench session: {}\n", md(&sheet.title))?;
    if sheet.invented {
        writeln!(
            out,
            "**Invented example. This maker and this pack do not exist; every number is made up.**\n"
        )?;
    }
    writeln!(out, "**Test rig.** {}", md(&sheet.rig.sentence))?;
    if let Some(lead) = &sheet.rig.weakest_lead {
        writeln!(out, "The weakest lead is {}.", md(lead))?;
    }
    writeln!(out, "\n**Charging.** {}", md(&sheet.charging.sentence))?;
    if let Some(lead) = &sheet.charging.weakest_lead {
        writeln!(out, "The weakest charging lead is {}.", md(lead))?;
    }
    for change in &sheet.changes {
        writeln!(out, "\n**House rules.** {}: {}", md(&change.what), md(&change.reason))?;
    }
    writeln!(out, "\nDate {BLANK} Bench {BLANK} By {BLANK}\n")?;
    writeln!(out, "**Caution.** {}\n", md(sheet.caution))?;
    writeln!(out, "## Planned from\n")?;
    table(out, &sheet.planned_from)?;
    bullets(out, "- assumed: ", &sheet.assumed)?;
    if !sheet.missing.is_empty() {
        writeln!(out, "\n## Missing from the record\n")?;
        lacks(out, "", &sheet.missing)?;
    }
    if !sheet.second_look.is_empty() {
        writeln!(out, "\n## Look twice\n")?;
        bullets(out, "- ", &sheet.second_look)?;
    }
    for (number, planned) in sheet.session.iter().enumerate() {
        session(out, number + 1, planned)?;
    }
    if let Some(leads) = &sheet.leads {
        proposals(out, leads)?;
    }
    rig(out, "The test rig", &sheet.rig)?;
    rig(out, "Charging", &sheet.charging)?;
    writeln!(out, "\nMade by underlid {} from the record alone.", sheet.program)
}

fn table(out: &mut String, lines: &[Line]) -> std::fmt::Result {
    if lines.is_empty() {
        return Ok(());
    }
    writeln!(out, "| What | Value |\n|---|---|")?;
    for line in lines {
        writeln!(out, "| {} | {} |", md(&line.name), md(&line.value))?;
    }
    writeln!(out)
}

fn bullets(out: &mut String, mark: &str, lines: &[String]) -> std::fmt::Result {
    for line in lines {
        writeln!(out, "{mark}{}", md(line))?;
    }
    Ok(())
}

fn lacks(out: &mut String, indent: &str, missing: &[Lacking]) -> std::fmt::Result {
    for lacking in missing {
        writeln!(out, "{indent}- ◇ {}", md(&lacking.what))?;
        if let Some(line) = &lacking.write {
            writeln!(out, "{indent}    - write for example: {}", md(line))?;
        }
    }
    Ok(())
}

fn session(out: &mut String, number: usize, planned: &Planned) -> std::fmt::Result {
    writeln!(out, "\n## {number}. {}\n", planned.title)?;
    for caution in &planned.cautions {
        writeln!(out, "> **Caution.** {}\n", md(caution))?;
    }
    table(out, &planned.settings)?;
    bullets(out, "- [ ] ", &planned.steps)?;
    writeln!(out, "\nWrite down:\n")?;
    for note in &planned.note {
        writeln!(out, "- {}: {BLANK}", md(note))?;
    }
    Ok(())
}

fn proposals(out: &mut String, leads: &Leads) -> std::fmt::Result {
    writeln!(out, "\n## Leads and fuses it needs\n")?;
    writeln!(
        out,
        "| Carries | Current | Smallest size | Fuse | Smallest size behind it |\n|---|---|---|---|---|"
    )?;
    let sizes =
        |sizes: &[String]| if sizes.is_empty() { "none in the table".to_owned() } else { sizes.join(" or ") };
    for lead in &leads.leads {
        writeln!(
            out,
            "| {} | {} | {} | {} | {} |",
            md(&lead.carries),
            lead.current,
            sizes(&lead.sizes),
            lead.fuse.as_deref().unwrap_or("none is large enough"),
            sizes(&lead.sizes_behind_fuse)
        )?;
    }
    writeln!(out)?;
    for lead in &leads.leads {
        bullets(out, "- ", &lead.working)?;
        bullets(out, "- drop ", lead.drop.as_slice())?;
        bullets(out, "- in a short circuit ", lead.withstands.as_slice())?;
    }
    bullets(out, "- assumed: ", &leads.assumed)?;
    writeln!(out, "- source: {}", md(leads.source))
}

fn rig(out: &mut String, heading: &str, rig: &RigView) -> std::fmt::Result {
    writeln!(out, "\n## {heading}\n\n**{}**\n", md(&rig.sentence))?;
    if !rig.branches.is_empty() {
        writeln!(
            out,
            "| Element | Current | Carries | Used | Reaches | Drops | |\n|---|---|---|---|---|---|---|"
        )?;
    }
    for branch in &rig.branches {
        let current = branch.current.as_deref().unwrap_or("does not follow");
        for row in &branch.elements {
            let cell = |value: &Option<String>| md(value.as_deref().unwrap_or("not known"));
            writeln!(
                out,
                "| {} | {current} | {} | {} | {} | {} | {} {} |",
                md(&row.label),
                cell(&row.permissible_current),
                cell(&row.used),
                row.temperature.as_deref().map_or_else(|| "–".to_owned(), md),
                cell(&row.drop),
                row.outcome.map_or("–", Outcome::shape),
                row.outcome.map_or("", Outcome::words)
            )?;
        }
    }
    if let Some(weakest) = &rig.weakest {
        writeln!(out, "\nWeakest: {}.", md(weakest))?;
    }
    if !rig.not_known.is_empty() {
        writeln!(out, "\nNot known and so left out: {}.", md(&rig.not_known.join(", ")))?;
    }
    if let Some(unfused) = &rig.unfused {
        writeln!(out, "\n> **Caution.** {}", md(unfused))?;
    }
    if !rig.notes.is_empty() {
        writeln!(out)?;
        bullets(out, "- ", &rig.notes)?;
    }
    for outcome in [Outcome::FallsShort, Outcome::NotDecided, Outcome::Meets] {
        let number = rig.with_outcome(outcome).count();
        if number == 0 {
            continue;
        }
        writeln!(out, "\n### {} {}: {number}\n", outcome.shape(), outcome.words())?;
        for one in rig.with_outcome(outcome) {
            check(out, one)?;
        }
    }
    if rig.customs().next().is_some() {
        writeln!(out, "\n### ○ customs of the trade (opinion): {}\n", rig.customs().count())?;
    }
    rig.customs().try_for_each(|one| check(out, one))
}

fn check(out: &mut String, check: &RigCheck) -> std::fmt::Result {
    let numbers = check.numbers.as_ref().map_or_else(String::new, |numbers| format!(": {}", md(numbers)));
    let grade = if check.grade == Grade::Custom {
        format!(" ({})", check.outcome.words())
    } else if check.outcome == Outcome::FallsShort {
        format!(" ({})", check.grade.word())
    } else {
        String::new()
    };
    writeln!(out, "- **{}**{grade} {}{numbers}", md(&check.part), md(&check.title))?;
    if check.outcome == Outcome::Meets {
        return Ok(());
    }
    bullets(out, "    - ", check.decision.as_slice())?;
    lacks(out, "    ", &check.missing)?;
    bullets(out, "    - ", &check.steps)?;
    bullets(out, "    - assumed: ", &check.assumed)?;
    if check.outcome == Outcome::FallsShort {
        writeln!(out, "    - {}", md(&check.advice))?;
    }
    writeln!(out, "    - basis: {}: {}", check.class.word(), md(&check.basis))?;
    bullets(out, "    - source: ", &check.sources)
}
