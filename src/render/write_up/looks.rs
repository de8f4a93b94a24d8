//! What to look at next, in words.

use std::fmt::Write;

use crate::judge::inspection::Inspection;
use crate::judge::next::{Judged, Look, Next, Settles, Waiting, next};
use crate::judge::rules::{Outcome, Stage};
use crate::units::terminal::plain;
use crate::units::words::{count, list};
use crate::units::{Dimension, show};

/// What to look at next in an inspection; the first `most` with the value at which they turn.
#[must_use]
pub fn looks_of(inspection: &Inspection, most: usize) -> Next {
    let Inspection { record, derived, book, judgement, .. } = inspection;
    next(Judged { record, derived, book, findings: &judgement.findings }, most)
}

/// A look in words: what to look at, and what it could decide.
#[must_use]
pub fn look_line(look: &Look) -> String {
    let of = if look.of.is_empty() { String::new() } else { format!(" — {}", look.of) };
    let stage = match look.stage {
        Stage::LidOn => "lid on, ",
        Stage::LidOff => "",
        Stage::Apart => "parts apart, ",
    };
    let effort = if look.effort.is_empty() { String::new() } else { format!("{}, ", look.effort) };
    format!("{}{of} ({stage}{effort}{})", look.ask, show(look.time_s, Dimension::TIME))
}

/// What a look could decide, in a line: the gravest by name, the others counted.
#[must_use]
pub fn decides_line(look: &Look) -> String {
    let Some(first) = look.decides.first() else { return String::new() };
    let more = match look.decides.len() - 1 {
        0 => String::new(),
        more => format!(", and {}", count(more, "more check", "more checks")),
    };
    let of = if first.subject.is_empty() || first.subject == look.of {
        String::new()
    } else {
        format!(", {}", first.subject)
    };
    format!("{}{of} ({}){more}", first.title, first.grade.word())
}

/// What a photo is still wanted of, in a line.
#[must_use]
pub fn photos_line(next: &Next) -> Option<String> {
    let of = list(&next.photos, "and");
    (!of.is_empty()).then(|| format!("Photos still wanted, as evidence that others can check; they decide nothing about the pack: {of}."))
}

/// The looks as text, the first `most` of them.
#[must_use]
pub fn write_looks(next: &Next, most: usize) -> String {
    let mut out = String::new();
    // Writing to a String cannot fail.
    let _ = looks(&mut out, next, most);
    out
}

fn looks(out: &mut String, next: &Next, most: usize) -> std::fmt::Result {
    if next.looks.is_empty() && next.closed.is_empty() {
        writeln!(out, "Nothing that could still be looked at would decide a check.")?;
    }
    for (number, look) in next.looks.iter().take(most).enumerate() {
        writeln!(out, "{}. {}", number + 1, plain(&look_line(look)))?;
        writeln!(out, "   decides: {}", plain(&decides_line(look)))?;
        if !look.turns.is_empty() {
            writeln!(out, "   {}", plain(&look.turns.join("; ")))?;
        }
        for (what, text) in [("how", &look.how), ("caution", &look.caution)] {
            if !text.is_empty() {
                writeln!(out, "   {what}: {}", plain(text))?;
            }
        }
    }
    if next.looks.len() > most {
        writeln!(out, "And {} more; `underlid next DIR --all` lists them.", next.looks.len() - most)?;
    }
    if !next.closed.is_empty() {
        let number = next.closed.iter().map(|closed| closed.checks.len()).sum();
        let checks = count(number, "more check", "more checks");
        let all = if most == usize::MAX { ":" } else { "; `underlid next DIR --all` says what is missing." };
        writeln!(out, "No single fact or pair decides {checks}{all}")?;
        if most == usize::MAX {
            write_waiting(out, &next.closed, |_| String::new())?;
        }
    }
    if let Some(line) = photos_line(next) {
        writeln!(out, "{}", plain(&line))?;
    }
    Ok(())
}

/// What is missing, in a line: what is only not recorded is told together.
fn missing_line(missing: &[String]) -> String {
    const OPEN: &str = " is not recorded";
    let open: Vec<&str> = missing.iter().filter_map(|missing| missing.strip_suffix(OPEN)).collect();
    let others = missing.iter().filter(|missing| !missing.ends_with(OPEN)).cloned();
    let open = match open.as_slice() {
        [] => None,
        [one] => Some(format!("{one}{OPEN}")),
        all => Some(format!("{} are not recorded", list(all, "and"))),
    };
    let told: Vec<String> = open.into_iter().chain(others).collect();
    if told.is_empty() { "known, but not closely enough".to_owned() } else { told.join("; ") }
}

/// What is not decided, by what is missing; `more` says what else there is to say of a check. What one rule says alike of
/// several parts is one line.
pub(super) fn write_waiting(
    out: &mut String,
    groups: &[Waiting],
    more: impl Fn(&Settles) -> String,
) -> std::fmt::Result {
    for group in groups {
        writeln!(out, "  {}", plain(&missing_line(&group.missing)))?;
        let mut lines: Vec<(&Settles, String, Vec<&str>)> = Vec::new();
        for check in &group.checks {
            let more = more(check);
            match lines.iter_mut().find(|(known, told, _)| known.rule == check.rule && *told == more) {
                Some((.., subjects)) => subjects.push(&check.subject),
                None => lines.push((check, more, vec![&check.subject])),
            }
        }
        for (Settles { grade, title, rule, .. }, more, subjects) in lines {
            let of =
                if subjects == [""] { String::new() } else { format!(" — {}", list(&subjects, "and")) };
            let shape = Outcome::NotDecided.shape();
            writeln!(out, "    {}", plain(&format!("{shape} {:<8} {title}{of}  [{rule}]", grade.word())))?;
            if !more.is_empty() {
                writeln!(out, "      {}", plain(&more))?;
            }
        }
    }
    Ok(())
}
