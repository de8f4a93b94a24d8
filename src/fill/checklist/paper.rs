//! The paper form: the same list for people who prefer a clipboard, in the same numbering.
//!
//! An item that is asked for each part gets a row with room for several: the answer to the second busbar under
//! number 34 is typed into `fill` as `34.2: 25 x 3 mm`.

use std::fmt::Write;

use super::condition::in_words;
use super::{Adds, Checklist, Fills, Item, PhotoWanted, Scope, Section};
use crate::record::Kind;

/// Room for answers in a row of a table, in spaces of about a millimetre.
const PENCIL: usize = 76;
const BLANK: &str = "______________________";

/// The printable form of a checklist, in Markdown.
#[must_use]
pub fn paper(list: &Checklist, caution: &str) -> String {
    let mut out = String::new();
    let _ = writeln!(out, "# {}\n", list.title);
    if !list.about.is_empty() {
        let _ = writeln!(out, "{}\n", list.about);
    }
    let _ = writeln!(out, "> **Caution.** {caution}\n");
    let _ = writeln!(
        out,
        "Pack {BLANK}  Serial {BLANK}\n\nBy {BLANK}  Date {BLANK}\n\n\
         Write *absent* where you looked and it is not there, *could not see* where you looked and could not tell, and \
         nothing where nobody looked. Write the unit. Write *m* behind what you measured and the instrument, *p* behind \
         what is printed on the part, *e* behind an estimate. Typed into `underlid fill` by number: `12: 150 A`, and for \
         the second part of an item `34.2: 25 x 3 mm`. [P] a photo is required, [p] a photo helps.\n"
    );
    for section in &list.sections {
        self::section(&mut out, section);
    }
    out
}

fn section(out: &mut String, section: &Section) {
    let _ = writeln!(out, "## {}\n", section.title);
    if !section.about.is_empty() {
        let _ = writeln!(out, "{}\n", section.about);
    }
    if !section.caution.is_empty() {
        let _ = writeln!(out, "> **Caution.** {}\n", section.caution);
    }
    let mut items = section.items.iter().peekable();
    while let Some(item) = items.next() {
        if item.scope == Scope::Pack {
            single(out, item);
            continue;
        }
        let mut block = vec![item];
        while let Some(next) = items.next_if(|next| next.scope == item.scope && next.leg == item.leg) {
            block.push(next);
        }
        table(out, &block);
    }
}

fn mark(item: &Item) -> &'static str {
    match item.photo {
        Some(PhotoWanted::Required) => " [P]",
        Some(PhotoWanted::Useful) => " [p]",
        None => "",
    }
}

fn single(out: &mut String, item: &Item) {
    let _ = writeln!(out, "**{}.** {}{}  ", item.number, item.prompt, mark(item));
    let _ = writeln!(out, "*{}* {}  ", item.why, item.look);
    if !item.caution.is_empty() {
        let _ = writeln!(out, "**Caution.** {}  ", item.caution);
    }
    if let Some((when, condition)) = &item.when {
        let _ = writeln!(out, "Only where {}.  ", in_words(when, condition));
    }
    let _ = writeln!(out, "{}\n", room(item));
}

fn room(item: &Item) -> String {
    match &item.fills {
        Fills::Field { info, .. } => match info.kind {
            Kind::YesNo => "☐ yes  ☐ no  ☐ could not see".to_owned(),
            Kind::Word(words) => {
                let boxes: Vec<String> = words.iter().map(|word| format!("☐ {}", word.word)).collect();
                format!("{}  ☐ absent  ☐ could not see", boxes.join("  "))
            }
            Kind::Text | Kind::Markdown | Kind::List => format!("{BLANK}{BLANK}{BLANK}"),
            _ => format!("{BLANK} (such as {})", info.example),
        },
        Fills::Adds(Adds::Elements | Adds::RigElements) => {
            let line = format!("{BLANK}{BLANK}");
            format!("1 {line}  \n2 {line}  \n3 {line}  \n4 {line}  \n5 {line}  \n6 {line}")
        }
        Fills::Adds(_) | Fills::Remark => format!("{BLANK}{BLANK}{BLANK}"),
    }
}

/// Rows are questions, columns are parts.
fn table(out: &mut String, block: &[&std::sync::Arc<Item>]) {
    let Some(first) = block.first() else { return };
    let columns = match first.scope {
        Scope::Readings => 8,
        Scope::Tests | Scope::Photos => 4,
        Scope::RigElements(_) => 6,
        _ => 3,
    };
    let _ = write!(out, "| No. | {} |", each_in_words(first));
    for column in 1..=columns {
        // Spaces that do not collapse keep the column wide enough for a pencil.
        let _ = write!(out, " .{column}{} |", "\u{a0}".repeat(PENCIL / columns));
    }
    let _ = write!(out, "\n|---|---|");
    for _ in 0..columns {
        let _ = write!(out, "---|");
    }
    let _ = writeln!(out);
    for item in block {
        let words = match &item.fills {
            Fills::Field { info, .. } => match info.kind {
                Kind::Word(words) => {
                    let words: Vec<&str> = words.iter().map(|word| word.word).collect();
                    format!(" ({})", words.join(" / "))
                }
                Kind::YesNo => " (yes / no)".to_owned(),
                _ => String::new(),
            },
            _ => String::new(),
        };
        let only = match (&item.scope, &item.when) {
            (_, Some((when, condition))) => {
                format!(" Only where {}.", in_words(when, condition).replace('|', "\\|"))
            }
            (Scope::Elements(kinds) | Scope::RigElements(kinds), None) if kinds.len() <= 4 => {
                format!(" [{}]", kinds.iter().map(|kind| kind.word()).collect::<Vec<_>>().join(", "))
            }
            _ => String::new(),
        };
        let caution =
            if item.caution.is_empty() { String::new() } else { format!(" **Caution.** {}", item.caution) };
        let _ = write!(
            out,
            "| {} | {}{}{words}{only} *{}*{caution} |",
            item.number,
            item.prompt,
            mark(item),
            item.look
        );
        for _ in 0..columns {
            let _ = write!(out, "   |");
        }
        let _ = writeln!(out);
    }
    let _ = writeln!(out);
}

fn each_in_words(item: &Item) -> String {
    match &item.scope {
        Scope::Pack | Scope::Rig | Scope::Source | Scope::Meters => String::new(),
        Scope::Elements(_) => "For each element, in the order of the path".to_owned(),
        Scope::Readings => "For each cell, counted from the negative end".to_owned(),
        Scope::Statements => "For each claim in words".to_owned(),
        Scope::Layers => "For each layer, from the devices outwards".to_owned(),
        Scope::Photos => "For each photo".to_owned(),
        Scope::Tests => "For each bench test".to_owned(),
        Scope::Instruments => "For each instrument".to_owned(),
        Scope::RigElements(kinds) => {
            format!("For each {} of the rig", crate::units::words::list(kinds, "or"))
        }
        Scope::Loads => "For each load".to_owned(),
    }
}
