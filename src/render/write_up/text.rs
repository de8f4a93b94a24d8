//! The plain text that `check` prints for people.

use std::fmt::Write;

use super::causes::CauseView;
use super::looks::{write_looks, write_waiting};
use super::view::View;
use crate::judge::next::{MOST, waiting};
use crate::judge::rules::{Finding, Grade, Outcome};
use crate::judge::support::CAUTION;
use crate::units::terminal::{Paint, plain};
use crate::units::words::{columns, count};

/// What of a view is printed, and how.
#[derive(Debug, Clone, Copy)]
pub struct Style {
    /// Findings that meet their rule too.
    pub all: bool,
    /// With colour.
    pub colour: bool,
}

/// Writes a view as text.
#[must_use]
pub fn write_text(view: &View, style: Style) -> String {
    let mut out = String::new();
    // Writing to a String cannot fail.
    let _ = write(&mut out, view, style);
    out
}

/// Writes one finding as text.
#[must_use]
pub fn write_finding(finding: &Finding, style: Style) -> String {
    let mut out = String::new();
    let _ = one(&mut out, finding, Paint(style.colour));
    out
}

fn write(out: &mut String, view: &View, style: Style) -> std::fmt::Result {
    let paint = Paint(style.colour);
    writeln!(out, "{}", paint.bold(&plain(&view.title)))?;
    for file in &view.rule_files {
        writeln!(out, "{}", paint.bold(&plain(&file.told)))?;
    }
    if view.invented {
        writeln!(out, "An invented example: this maker and this pack do not exist.")?;
    }
    writeln!(out, "{}", plain(&view.verdict()))?;
    if let Some(current) = &view.path.short_circuit_current.value {
        writeln!(out, "Prospective short-circuit current: {current}.")?;
    }
    path_table(out, view, paint)?;
    let currents = view.path.currents.iter().filter(|told| told.worth.value.is_some()).collect::<Vec<_>>();
    if !currents.is_empty() {
        writeln!(out, "\n{}", paint.bold("THE PACK AS ONE NETWORK"))?;
    }
    for told in currents {
        // The first line of the working says from what temperature and for how long.
        let about = told.worth.steps.first().filter(|_| told.of.starts_with("permissible"));
        let about = about.map_or(told.of.clone(), |about| format!("permissible current, {about}"));
        writeln!(out, "  {}: {}", plain(&about), told.worth.said().unwrap_or_default())?;
    }
    if !view.doubts.is_empty() {
        writeln!(out, "\n{}", paint.bold("IN DOUBT"))?;
        for doubt in &view.doubts {
            let meant = doubt.meant.as_deref().map_or_else(String::new, |meant| format!("; {meant}?"));
            writeln!(out, "  {}{}", plain(&doubt.what), plain(&meant))?;
        }
        if view.doubts.iter().any(|doubt| doubt.implausible) {
            writeln!(
                out,
                "  Correct what is not plausible, or add `confirmed = true` to it; until then no rule counts it."
            )?;
        }
    }
    let c = view.counts;
    writeln!(
        out,
        "\n{}: {} critical, {} major, {} minor. {}: {} ({} of them critical or major). {}: {}.",
        paint.bold("Falls short"),
        c.critical,
        c.major,
        c.minor,
        paint.bold("Not decided"),
        c.not_decided,
        c.grave_not_decided,
        paint.bold("Meets"),
        c.meets
    )?;
    if c.customs > 0 {
        let of = count(c.customs, "custom", "customs");
        writeln!(out, "Opinion, not counted above: {} of {of} of the trade not kept.", c.customs_short)?;
    }
    if !view.causes.is_empty() {
        writeln!(out, "\n{}", paint.bold("FALLS SHORT"))?;
    }
    for cause in &view.causes {
        one_cause(out, cause, paint)?;
    }
    if !view.supports.is_empty() {
        writeln!(out, "\n{}", paint.bold("WHAT WOULD MAKE IT TRUE"))?;
        for support in &view.supports {
            writeln!(out, "  {}: {}", plain(&support.claim), plain(&support.told))?;
        }
        writeln!(out, "  {CAUTION}")?;
    }
    if let Some(next) = view.next.as_ref().filter(|next| !next.looks.is_empty() || !next.closed.is_empty()) {
        writeln!(out, "\n{}", paint.bold("NOT DECIDED: LOOK AT NEXT"))?;
        out.push_str(&write_looks(next, MOST));
    }
    if !view.opinions.is_empty() {
        writeln!(out, "\n{}", paint.bold("CUSTOMS OF THE TRADE NOT KEPT (OPINION)"))?;
    }
    for custom in &view.opinions {
        writeln!(out, "  ○ {}  {}", plain(&custom.line()), paint.faint(&format!("[{}]", plain(&custom.id))))?;
    }
    let shown: &[Outcome] = if style.all {
        writeln!(out, "\n{}", paint.bold("RULE BY RULE"))?;
        &[Outcome::FallsShort, Outcome::NotDecided, Outcome::Meets]
    } else {
        &[]
    };
    let lists = shown.iter().map(|outcome| (outcome.words(), view.with_outcome(*outcome).collect()));
    let customs: Vec<&Finding> = view.customs().filter(|_| style.all).collect();
    let open = waiting(customs.iter().copied(), &[]);
    for (words, findings) in lists.chain([("customs of the trade (opinion)", customs)]) {
        let findings: Vec<&Finding> = findings;
        if findings.is_empty() {
            continue;
        }
        writeln!(out, "\n{}", paint.bold(&words.to_uppercase()))?;
        let decided = |finding: &&&Finding| finding.outcome != Outcome::NotDecided;
        for finding in findings.iter().filter(decided) {
            one(out, finding, paint)?;
        }
        // What is not decided is told by what is missing, each once.
        let groups =
            if findings.iter().all(|finding| finding.grade == Grade::Custom) { &open } else { &view.waiting };
        if findings.iter().any(|finding| finding.outcome == Outcome::NotDecided) {
            write_waiting(out, groups, |check| {
                let own = |f: &&&Finding| f.rule == check.rule && f.subject == check.subject;
                let finding = findings.iter().find(own);
                finding.and_then(|finding| finding.working.decision.clone()).unwrap_or_default()
            })?;
        }
    }
    if !view.changes.is_empty() {
        writeln!(out, "\n{}", paint.bold("CHANGED BY THE HOUSE"))?;
        for change in &view.changes {
            writeln!(out, "  {}: {}", plain(&change.what), plain(&change.reason))?;
        }
    }
    let idle = view.not_applied.len();
    if idle > 0 {
        let words = count(idle, "rule does", "rules do");
        writeln!(
            out,
            "\n{}",
            paint.faint(&format!("{words} not apply to this pack; --format json lists them."))
        )?;
    }
    Ok(())
}

fn one_cause(out: &mut String, cause: &CauseView, paint: Paint) -> std::fmt::Result {
    let of = if cause.of.is_empty() { String::new() } else { format!(" — {}", plain(&cause.of)) };
    writeln!(
        out,
        "{} {:<8} {}{of}  {}",
        Outcome::FallsShort.shape(),
        cause.grade.word(),
        paint.bold(&plain(&cause.statement)),
        paint.faint(&format!("[{}]", plain(&cause.id)))
    )?;
    for (line, rule) in cause.lines() {
        let rule = if rule == cause.id { String::new() } else { format!("  [{}]", plain(rule)) };
        writeln!(out, "    {}{}", plain(&line), paint.faint(&rule))?;
    }
    if !cause.why.is_empty() {
        writeln!(out, "    why: {}", plain(&cause.why))?;
    }
    if !cause.advice.is_empty() {
        writeln!(out, "    advice: {}", plain(&cause.advice))?;
    }
    Ok(())
}

fn path_table(out: &mut String, view: &View, paint: Paint) -> std::fmt::Result {
    let elements = &view.path.elements;
    if elements.is_empty() {
        return Ok(());
    }
    writeln!(out, "\n{}", paint.bold("CURRENT PATH, after one full discharge at rated current"))?;
    let rows = elements.iter().map(|element| {
        let place = &element.place;
        let limit = place.temperature_limit.value.as_deref().map(|limit| format!("limit {limit}"));
        let carries = element.permissible_current.said().map(|carries| format!("carries {carries}"));
        let mark = if element.weakest { "  ← weakest" } else { "" };
        let heat = element.heat.value.as_deref().map(|h| format!("{h} heat")).unwrap_or_default();
        vec![
            plain(&element.label),
            place.temperature_range.clone().unwrap_or_else(|| "not known".to_owned()),
            limit.unwrap_or_default(),
            carries.unwrap_or_default(),
            format!("{heat}{mark}"),
        ]
    });
    for line in columns(&rows.collect::<Vec<_>>()) {
        writeln!(out, "  {line}")?;
    }
    Ok(())
}

fn one(out: &mut String, finding: &Finding, paint: Paint) -> std::fmt::Result {
    let subject =
        if finding.subject.is_empty() { String::new() } else { format!(" — {}", plain(&finding.subject)) };
    writeln!(
        out,
        "{} {:<8} {}{}  {}",
        finding.outcome.shape(),
        finding.grade.word(),
        paint.bold(&plain(&finding.statement)),
        subject,
        paint.faint(&format!("[{}]", plain(&finding.rule)))
    )?;
    let working = &finding.working;
    if finding.missing.is_empty() || finding.outcome == Outcome::FallsShort {
        writeln!(out, "    {}", plain(&working.numbers))?;
    }
    if let Some(margin) = &working.margin {
        writeln!(out, "    margin {}", plain(margin))?;
    }
    if let Some(decision) = &working.decision {
        writeln!(out, "    {}", plain(decision))?;
    }
    for missing in &finding.missing {
        writeln!(out, "    missing: {}", plain(&missing.what))?;
    }
    if finding.rests_on_claims {
        let claims = plain(&finding.claimed_facts.join(", "));
        writeln!(out, "    rests on a claim, not on a finding: {claims}")?;
    }
    if finding.outcome == Outcome::FallsShort {
        let uses: Vec<String> = working
            .used
            .iter()
            .map(|used| {
                let with = used.with.as_deref().map(|w| format!(", {w}")).unwrap_or_default();
                format!("{} {} ({}{with})", used.name, used.value, used.how)
            })
            .collect();
        if !uses.is_empty() {
            writeln!(out, "    {}", paint.faint(&plain(&uses.join("; "))))?;
        }
        for used in working.used.iter().filter(|used| used.how == "derived") {
            for step in &used.steps {
                writeln!(out, "      {}", paint.faint(&plain(step)))?;
            }
            for assumed in &used.assumed {
                writeln!(out, "      {}", paint.faint(&format!("assumed: {}", plain(assumed))))?;
            }
        }
        let basis = format!("basis: {}: {}", finding.class.word(), plain(&finding.basis));
        writeln!(out, "    {}", paint.faint(&basis))?;
        if !finding.advice.is_empty() {
            writeln!(out, "    advice: {}", plain(&finding.advice))?;
        }
    }
    Ok(())
}
