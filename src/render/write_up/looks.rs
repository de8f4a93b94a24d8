//! What to look at next, in words.

use std::fmt::Write;

use crate::judge::inspection::Inspection;
use crate::judge::next::{Judged, Look, Next, next};
use crate::judge::rules::Stage;
use crate::units::terminal::plain;
use crate::units::words::count;
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
        let checks = count(next.closed.len(), "more check", "more checks");
        let all = if most == usize::MAX { ":" } else { "; `underlid next DIR --all` says what is missing." };
        writeln!(out, "No single fact or pair decides {checks}{all}")?;
        for closed in next.closed.iter().filter(|_| most == usize::MAX) {
            let of = if closed.check.subject.is_empty() {
                String::new()
            } else {
                format!(" — {}", closed.check.subject)
            };
            let missing = if closed.missing.is_empty() {
                String::new()
            } else {
                format!(": {}", closed.missing.join("; "))
            };
            writeln!(out, "  {}{}{}", plain(&closed.check.title), plain(&of), plain(&missing))?;
        }
    }
    Ok(())
}
