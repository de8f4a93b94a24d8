//! The sheet as plain text, for the terminal.

use std::fmt::Write;

use crate::judge::rig::{Lacking, Leads, Line, Planned, RigCheck, RigElementRow, RigView, Sheet};
use crate::judge::rules::{Grade, Outcome};
use crate::units::terminal::{Paint, plain};
use crate::units::words::count;

/// Writes a sheet; `all` shows the checks that are met as well.
pub fn write_text(sheet: &Sheet, all: bool, colour: bool) -> String {
    let mut out = String::new();
    // Writing to a String cannot fail.
    let _ = write(&mut out, sheet, all, Paint(colour));
    out
}

fn write(out: &mut String, sheet: &Sheet, all: bool, paint: Paint) -> std::fmt::Result {
    writeln!(out, "{}", paint.bold(&format!("Bench session: {}", plain(&sheet.title))))?;
    if sheet.invented {
        writeln!(out, "An invented example: this maker and this pack do not exist.")?;
    }
    writeln!(out, "Test rig: {}", plain(&sheet.rig.sentence))?;
    if let Some(lead) = &sheet.rig.weakest_lead {
        writeln!(out, "Weakest lead: {}.", plain(lead))?;
    }
    writeln!(out, "Charging: {}", plain(&sheet.charging.sentence))?;
    if let Some(lead) = &sheet.charging.weakest_lead {
        writeln!(out, "Weakest charging lead: {}.", plain(lead))?;
    }
    for change in &sheet.changes {
        writeln!(out, "House rules: {}: {}", plain(&change.what), plain(&change.reason))?;
    }
    if !sheet.planned_from.is_empty() {
        writeln!(out, "\n{}", paint.bold("PLANNED FROM"))?;
        lines(out, &sheet.planned_from)?;
    }
    list(out, "  assumed: ", &sheet.assumed)?;
    if !sheet.missing.is_empty() {
        writeln!(out, "\n{}", paint.bold("MISSING FROM THE RECORD"))?;
        for lacking in &sheet.missing {
            lack(out, "  ", lacking)?;
        }
    }
    if !sheet.second_look.is_empty() {
        writeln!(out, "\n{}", paint.bold("LOOK TWICE"))?;
        list(out, "  ! ", &sheet.second_look)?;
    }
    for (number, planned) in sheet.session.iter().enumerate() {
        session(out, number + 1, planned, paint)?;
    }
    if let Some(leads) = &sheet.leads {
        writeln!(out, "\n{}", paint.bold("LEADS AND FUSES IT NEEDS"))?;
        proposals(out, leads)?;
    }
    rig(out, "THE TEST RIG", &sheet.rig, all, paint)?;
    rig(out, "CHARGING", &sheet.charging, all, paint)?;
    writeln!(out, "\n{}", sheet.caution)
}

fn lines(out: &mut String, lines: &[Line]) -> std::fmt::Result {
    let wide = lines.iter().map(|line| line.name.chars().count()).max().unwrap_or(0);
    for line in lines {
        let pad = " ".repeat(wide - line.name.chars().count());
        writeln!(out, "  {}{pad}  {}", plain(&line.name), plain(&line.value))?;
    }
    Ok(())
}

fn list(out: &mut String, mark: &str, lines: &[String]) -> std::fmt::Result {
    for line in lines {
        writeln!(out, "{mark}{}", plain(line))?;
    }
    Ok(())
}

fn lack(out: &mut String, indent: &str, lacking: &Lacking) -> std::fmt::Result {
    writeln!(out, "{indent}◇ {}", plain(&lacking.what))?;
    if let Some(line) = &lacking.write {
        writeln!(out, "{indent}    write for example: {}", plain(line))?;
    }
    Ok(())
}

fn session(out: &mut String, number: usize, planned: &Planned, paint: Paint) -> std::fmt::Result {
    writeln!(out, "\n{}", paint.bold(&format!("{number}  {}", planned.title.to_uppercase())))?;
    lines(out, &planned.settings)?;
    list(out, "  ! ", &planned.cautions)?;
    list(out, "  - ", &planned.steps)?;
    writeln!(out, "  write down:")?;
    list(out, "    · ", &planned.note)
}

fn proposals(out: &mut String, leads: &Leads) -> std::fmt::Result {
    for lead in &leads.leads {
        let sizes = match lead.sizes.as_slice() {
            [] => "no lead of the table carries it, not even four side by side".to_owned(),
            sizes => sizes.join(" or "),
        };
        writeln!(out, "  {}, {}: {sizes}", plain(&lead.carries), lead.current)?;
        match (&lead.fuse, lead.sizes_behind_fuse.as_slice()) {
            (Some(fuse), []) => {
                writeln!(out, "    a fuse of {fuse} goes with it; no lead of the table is protected by it")?;
            }
            (Some(fuse), sizes) => {
                writeln!(
                    out,
                    "    a fuse of {fuse} goes with it, which protects no lead thinner than {}",
                    sizes.join(" or ")
                )?;
            }
            (None, _) => writeln!(out, "    no usual fuse is large enough")?,
        }
        if let Some(drop) = &lead.drop {
            writeln!(out, "    drop {drop}")?;
        }
        if let Some(withstands) = &lead.withstands {
            writeln!(out, "    in a short circuit {withstands}")?;
        }
        list(out, "      ", &lead.working)?;
    }
    list(out, "  assumed: ", &leads.assumed)?;
    writeln!(out, "  source: {}", leads.source)
}

fn rig(out: &mut String, heading: &str, rig: &RigView, all: bool, paint: Paint) -> std::fmt::Result {
    writeln!(out, "\n{}", paint.bold(heading))?;
    writeln!(out, "  {}", plain(&rig.sentence))?;
    for branch in &rig.branches {
        let several = if branch.count > 1 { format!(", {} of them", branch.count) } else { String::new() };
        let current = branch.current.as_deref().unwrap_or("a current that does not follow");
        let drop = branch.drop.as_ref().map_or_else(
            || "drop not known".to_owned(),
            |drop| format!("drop {}{drop}", if branch.drop_is_at_least { "at least " } else { "" }),
        );
        writeln!(out, "  {}{several}: {current}, {drop}", plain(&branch.name))?;
        rows(out, &branch.elements)?;
    }
    if let Some(weakest) = &rig.weakest {
        writeln!(out, "  weakest: {}", plain(weakest))?;
    }
    if !rig.not_known.is_empty() {
        writeln!(out, "  not known and so left out: {}", plain(&rig.not_known.join(", ")))?;
    }
    list(out, "  ! ", rig.unfused.as_slice())?;
    list(out, "  ! ", &rig.notes)?;
    let shown: &[Outcome] = if all {
        &[Outcome::FallsShort, Outcome::NotDecided, Outcome::Meets]
    } else {
        &[Outcome::FallsShort, Outcome::NotDecided]
    };
    for outcome in shown {
        for one in rig.with_outcome(*outcome) {
            check(out, one)?;
        }
    }
    rig.customs().try_for_each(|one| check(out, one))?;
    let met = rig.with_outcome(Outcome::Meets).count();
    if met > 0 && !all {
        writeln!(
            out,
            "  {} {}; --all shows them",
            Outcome::Meets.shape(),
            count(met, "check is met", "checks are met")
        )?;
    }
    Ok(())
}

fn rows(out: &mut String, rows: &[RigElementRow]) -> std::fmt::Result {
    let wide = rows.iter().map(|row| row.label.chars().count()).max().unwrap_or(0).min(48);
    for row in rows {
        let pad = " ".repeat(wide.saturating_sub(row.label.chars().count()));
        let carries = row
            .permissible_current
            .as_deref()
            .map_or("not known".to_owned(), |amount| format!("carries {amount}"));
        let mut more = String::new();
        for (words, value) in [("used", &row.used), ("reaches", &row.temperature), ("drops", &row.drop)] {
            if let Some(value) = value {
                let _ = write!(more, ", {words} {value}");
            }
        }
        writeln!(
            out,
            "    {} {}{pad}  {}{}",
            row.outcome.map_or("–", Outcome::shape),
            plain(&row.label),
            plain(&carries),
            plain(&more)
        )?;
    }
    Ok(())
}

fn check(out: &mut String, check: &RigCheck) -> std::fmt::Result {
    let (shape, words) = (check.outcome.shape(), check.outcome.words());
    let grade = if check.outcome == Outcome::FallsShort || check.grade == Grade::Custom {
        format!(", {}", check.grade.word())
    } else {
        String::new()
    };
    writeln!(
        out,
        "  {shape} {words}{grade}: {}: {}  [{}]",
        plain(&check.part),
        plain(&check.title),
        plain(&check.rule)
    )?;
    if let Some(numbers) = &check.numbers {
        let margin = check.margin.as_ref().map_or_else(String::new, |margin| format!(", margin {margin}"));
        writeln!(out, "      {}{}", plain(numbers), plain(&margin))?;
    }
    list(out, "      ", check.decision.as_slice())?;
    for lacking in &check.missing {
        lack(out, "      ", lacking)?;
    }
    list(out, "      ", &check.steps)?;
    list(out, "      assumed: ", &check.assumed)?;
    if check.outcome == Outcome::FallsShort {
        writeln!(out, "      {}", plain(&check.advice))?;
    }
    writeln!(out, "      basis: {}: {}", check.class.word(), plain(&check.basis))
}
