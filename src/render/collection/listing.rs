//! The table of packs: as plain pages that need no JavaScript, and as a block of data in the first page from which its
//! small program shows, sorts and searches some rows at a time.
//!
//! The data stands in the page itself: a page opened from a disk may not fetch files. It is JSON in an element that no
//! browser runs, and no `<` of a record stands in it unescaped.

use base64::Engine;
use rayon::prelude::*;
use serde::Serialize;
use sha2::{Digest, Sha256};

use super::CollectionError;
use super::export::json_text;
use super::page::{Pages, SCRIPT};
use super::row::CommonCause;
use super::site::{PACKS, ROWS, Site};
use super::tables::PackRow;
use crate::judge::rules::Outcome;
use crate::render::markup::escape;
use crate::units::terminal::plain;
use crate::units::{rounded_to, significant};

/// Causes that the first page names.
const MAIN_CAUSES: usize = 3;
/// Rows of a plain page.
const ROWS_OF_A_PAGE: usize = 100;

/// What a cell of the table shows.
enum Shown {
    None,
    Text(String),
    Number(f64),
    /// A whole number of findings: zero is shown.
    Count(u32),
    /// A number that was worked out, and how it is shown.
    Worked(f64, String),
}

struct Head {
    label: &'static str,
    /// True for numbers.
    number: bool,
    cell: fn(&PackRow) -> Shown,
}

const fn text(label: &'static str, cell: fn(&PackRow) -> Shown) -> Head {
    Head { label, number: false, cell }
}

const fn number(label: &'static str, cell: fn(&PackRow) -> Shown) -> Head {
    Head { label, number: true, cell }
}

fn words(text: &Option<String>) -> Shown {
    text.as_deref().map_or(Shown::None, |text| Shown::Text(plain(text)))
}

fn amount(number: Option<f64>) -> Shown {
    number.filter(|n| n.is_finite()).map_or(Shown::None, Shown::Number)
}

/// A number that was worked out, to the digits that its uncertainty leaves it.
fn measured(number: Option<f64>, uncertainty: f64, at_most: bool) -> Shown {
    let Some(number) = number.filter(|n| n.is_finite()) else { return Shown::None };
    let digits = if uncertainty > 0.0 { rounded_to(number, uncertainty) } else { significant(number, 3) };
    let digits = digits.replace('-', "−");
    Shown::Worked(number, if at_most { format!("≤ {digits}") } else { digits })
}

/// What the rules say, with its shape.
fn outcome(said: &Option<String>) -> Shown {
    let known = [Outcome::FallsShort, Outcome::NotDecided, Outcome::Meets];
    let said = known.into_iter().find(|outcome| Some(outcome.words()) == said.as_deref());
    said.map_or(Shown::None, |outcome| Shown::Text(format!("{} {}", outcome.shape(), outcome.words())))
}

fn counted(number: Option<u32>) -> Shown {
    number.map_or(Shown::None, Shown::Count)
}

/// The columns shown. The first is the pack's name, and the link to its page.
const HEADS: [Head; 15] = [
    text("Model", |p| {
        let name = p.model.as_deref().or(p.title.as_deref()).unwrap_or(&p.folder);
        Shown::Text(plain(name))
    }),
    text("Revision", |p| words(&p.revision)),
    text("Maker", |p| words(&p.maker)),
    number("Rated current, A", |p| amount(p.rated_current_a)),
    text("Does it hold?", |p| outcome(&p.holds)),
    text("What falls short first", |p| words(&p.gravest)),
    number("▼ Critical", |p| counted(p.critical)),
    number("▼ Major", |p| counted(p.major)),
    number("◇ Not decided", |p| counted(p.not_decided)),
    text("Is there protection?", |p| outcome(&p.protection)),
    text("Fuse", |p| words(&p.fuse_kind)),
    number("Margin of the weakest part, %", |p| {
        let digits = p.weakest_permissible_current_expanded_a.zip(p.rated_current_a);
        let digits = digits.map_or(0.0, |(expanded, rated)| 100.0 * expanded / rated);
        measured(p.margin_percent, digits, p.margin_is_upper_bound == Some(true))
    }),
    number("Measured of the claimed capacity, %", |p| {
        let digits = p.measured_capacity_expanded_ah.zip(p.claimed_capacity_ah);
        measured(
            p.measured_share_percent,
            digits.map_or(0.0, |(expanded, claim)| 100.0 * expanded / claim),
            false,
        )
    }),
    text("Price per claimed Wh", |p| match (p.price_per_claimed_wh, p.price_currency.as_deref()) {
        (Some(price), Some(currency)) => Shown::Text(format!("{currency} {}", significant(price, 3))),
        _ => Shown::None,
    }),
    text("Inspected", |p| words(&p.date.map(|day| day.to_string()))),
];

/// What the columns are called.
pub(super) fn labels() -> impl Iterator<Item = &'static str> {
    HEADS.iter().map(|head| head.label)
}

fn digits(number: f64) -> String {
    significant(number, 4).replace('-', "−")
}

impl Shown {
    fn words(&self) -> String {
        match self {
            Self::None => "–".to_owned(),
            Self::Text(text) => text.clone(),
            Self::Number(number) => digits(*number),
            Self::Count(count) => count.to_string(),
            Self::Worked(_, words) => words.clone(),
        }
    }

    /// In the data block: a text, a number, nothing, or a number with the words for it.
    fn json(&self, out: &mut String) {
        match self {
            Self::None => out.push_str("null"),
            Self::Text(text) => json_text(out, text),
            Self::Number(number) => out.push_str(&significant(*number, 4)),
            Self::Count(count) => out.push_str(&count.to_string()),
            Self::Worked(number, words) => {
                out.push('[');
                out.push_str(&significant(*number, 4));
                out.push(',');
                json_text(out, words);
                out.push(']');
            }
        }
    }
}

fn table(rows: &[PackRow], up: &str) -> String {
    let mut out = String::from(r#"<table class="packs" id="table"><thead><tr>"#);
    for head in &HEADS {
        let class = if head.number { r#" class="n""# } else { "" };
        out.push_str(&format!(r#"<th scope="col"{class}>{}</th>"#, head.label));
    }
    out.push_str("</tr></thead><tbody>\n");
    for row in rows {
        out.push_str("<tr>");
        for (index, head) in HEADS.iter().enumerate() {
            let shown = (head.cell)(row);
            let words = escape(&shown.words());
            if index == 0 {
                let page = row.page.as_deref().unwrap_or_default();
                out.push_str(&format!(r#"<th scope="row"><a href="{up}{PACKS}/{page}">{words}</a></th>"#));
                continue;
            }
            let class = match (head.number, &shown) {
                (true, Shown::None) => r#" class="n none""#,
                (true, _) => r#" class="n""#,
                (false, Shown::None) => r#" class="none""#,
                (false, _) => "",
            };
            out.push_str(&format!(
                r#"<td{class} data-head="{}">{words}</td>"#,
                head.label.trim_end_matches('?')
            ));
        }
        out.push_str("</tr>\n");
    }
    out.push_str("</tbody></table>");
    out
}

fn data(rows: &[PackRow]) -> String {
    let mut out = String::from(r#"{"heads":["#);
    for (index, head) in HEADS.iter().enumerate() {
        out.push_str(if index > 0 { ",[" } else { "[" });
        json_text(&mut out, head.label);
        out.push_str(if head.number { ",1]" } else { ",0]" });
    }
    out.push_str("],\"rows\":[\n");
    let line = |row: &PackRow| {
        let mut out = String::from("[");
        // The ending is the same for all.
        let page = row.page.as_deref().unwrap_or_default();
        json_text(&mut out, page.strip_suffix(".html").unwrap_or(page));
        for head in &HEADS {
            out.push(',');
            (head.cell)(row).json(&mut out);
        }
        out.push(']');
        out
    };
    out.push_str(&rows.par_iter().map(line).collect::<Vec<_>>().join(",\n"));
    out.push_str("\n]}");
    out
}

/// Links to the plain pages: the neighbours, the ends, and a few between.
fn pager(page: usize, pages: usize, label: &str) -> String {
    if pages < 2 {
        return String::new();
    }
    let address = |number: usize| match (number, page) {
        (1, 1) => "index.html".to_owned(),
        (1, _) => "../index.html".to_owned(),
        (number, 1) => format!("{ROWS}/{number}.html"),
        (number, _) => format!("{number}.html"),
    };
    let mut out = format!(r#"<nav class="pager" aria-label="{label}">"#);
    let mut last = 0;
    for number in 1..=pages {
        let near = number.abs_diff(page) <= 2 || number == 1 || number == pages || number % 10 == 0;
        if !near {
            continue;
        }
        if number > last + 1 && last > 0 {
            out.push_str("<span>…</span>");
        }
        last = number;
        if number == page {
            out.push_str(&format!(r#"<b aria-current="page">{number}</b>"#));
        } else {
            let name = format!("Page {number}");
            out.push_str(&format!(r#"<a href="{}" aria-label="{name}">{number}</a>"#, address(number)));
        }
    }
    out.push_str("</nav>");
    out
}

#[derive(Serialize)]
struct Index<'a> {
    read: usize,
    not_read: usize,
    invented: usize,
    from_write_ups: usize,
    with_rules: usize,
    /// Packs whose claim falls short, is not decided, holds; and the same of their protection.
    holds: [usize; 3],
    protection: [usize; 3],
    /// What is critical or major and falls short in most packs.
    causes: Vec<&'a CommonCause>,
    more_causes: usize,
    words: String,
    table: String,
    pager: String,
    data: String,
    script: &'static str,
    script_hash: String,
}

#[derive(Serialize)]
struct RowsPage {
    first: usize,
    last: usize,
    of: usize,
    table: String,
    pager: String,
    pager_below: String,
}

#[derive(Serialize)]
struct ProblemsPage<'a> {
    problems: Vec<(&'a str, &'a str)>,
}

/// Writes the table of packs and the list of those not read, and gives the names of the files.
pub(super) fn write(
    site: &Site,
    pages: &Pages,
    (rows, causes): (&[PackRow], &[CommonCause]),
    problems: &[(String, String)],
) -> Result<(), CollectionError> {
    let number = page_count(rows.len());
    let with = |of: fn(&PackRow) -> bool| rows.iter().filter(|row| of(row)).count();
    let outcomes = |of: fn(&PackRow) -> Option<&str>| {
        [Outcome::FallsShort, Outcome::NotDecided, Outcome::Meets]
            .map(|outcome| rows.iter().filter(|row| of(row) == Some(outcome.words())).count())
    };
    let main: Vec<&CommonCause> = causes.iter().filter(|cause| cause.grave).take(MAIN_CAUSES).collect();
    let first = rows.get(..ROWS_OF_A_PAGE.min(rows.len())).unwrap_or(rows);
    let words = match number {
        0 | 1 => crate::units::words::count(rows.len(), "pack", "packs"),
        _ => format!("{} packs; {} are shown here, the pages hold the others", rows.len(), first.len()),
    };
    let hash = base64::engine::general_purpose::STANDARD.encode(Sha256::digest(SCRIPT.as_bytes()));
    let index = Index {
        read: rows.len(),
        not_read: problems.len(),
        invented: with(|row| row.invented == Some(true)),
        from_write_ups: with(|row| row.from_write_up == Some(true)),
        with_rules: with(|row| row.rules.is_some()),
        holds: outcomes(|row| row.holds.as_deref()),
        protection: outcomes(|row| row.protection.as_deref()),
        more_causes: causes.len() - main.len(),
        causes: main,
        words,
        table: table(first, ""),
        pager: pager(1, number, "Pages of the table"),
        data: data(rows),
        script: SCRIPT,
        script_hash: format!("sha256-{hash}"),
    };
    let first_page = || site.write("index.html", pages.render("index.html", &index)?.as_bytes());
    let rows_page = |(index, some): (usize, &[PackRow])| {
        let page = index + 1;
        let first = index * ROWS_OF_A_PAGE + 1;
        let rows_page = RowsPage {
            first,
            last: first + some.len() - 1,
            of: rows.len(),
            table: table(some, "../"),
            pager: pager(page, number, "Pages of the table"),
            pager_below: pager(page, number, "Pages of the table, again"),
        };
        site.write(&rows_name(page), pages.render("rows.html", &rows_page)?.as_bytes())
    };
    let further = || rows.par_chunks(ROWS_OF_A_PAGE).enumerate().skip(1).try_for_each(rows_page);
    let (first_page, further) = rayon::join(first_page, further);
    first_page.and(further)?;
    if !problems.is_empty() {
        let problems = problems.iter().map(|(folder, problem)| (folder.as_str(), problem.as_str())).collect();
        let text = pages.render("problems.html", &ProblemsPage { problems })?;
        site.write("problems.html", text.as_bytes())?;
    }
    Ok(())
}

/// How many pages a table has.
fn page_count(rows: usize) -> usize {
    rows.div_ceil(ROWS_OF_A_PAGE)
}

fn rows_name(page: usize) -> String {
    format!("{ROWS}/{page}.html")
}

/// Names of the table's further pages, for at most so many rows.
pub(super) fn names(rows: usize) -> impl Iterator<Item = String> {
    (2..=page_count(rows)).map(rows_name)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_record_cannot_end_the_data_block() {
        let row =
            PackRow { model: Some("</script><script>alert(1)</script>".to_owned()), ..PackRow::default() };
        let rows = [row];
        assert!(!data(&rows).contains("</"));
        let parsed: serde_json::Value = serde_json::from_str(&data(&rows)).unwrap();
        assert_eq!(parsed["rows"][0][1], "</script><script>alert(1)</script>");
        assert!(!table(&rows, "").contains("<script"));
    }

    #[test]
    fn every_page_can_be_reached() {
        assert_eq!(pager(1, 1, ""), "");
        let middle = pager(55, 100, "Pages");
        for wanted in ["../index.html", "\"54.html", "\"57.html", "\"50.html", "\"100.html"] {
            assert!(middle.contains(wanted), "{wanted}");
        }
        assert!(pager(1, 3, "Pages").contains("\"rows/2.html\""));
        assert_eq!(names(250).collect::<Vec<_>>(), ["rows/2.html", "rows/3.html"]);
    }
}
