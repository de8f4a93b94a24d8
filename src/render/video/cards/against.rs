//! The card that sets two inspections side by side: rating, weakest element, and which grave findings changed.
//!
//! It counts outcomes, it does not say which pack is better: the write-up of a comparison does that where a rule does.

use std::collections::BTreeMap;

use super::super::measure::Weight;
use super::flow::{Area, Block, Format};
use super::{Card, said};
use crate::judge::rules::{Finding, Outcome};
use crate::render::write_up::View;

/// Most changes that are listed; more would not be read.
const MOST: usize = 5;

/// A change of a finding between two inspections, in words.
#[derive(Debug, PartialEq, Eq)]
struct Change {
    outcome: Outcome,
    text: String,
}

/// Draws the card of `view`, set against an `other` inspection.
pub(super) fn card(view: &View, other: &View, format: Format) -> Card {
    let (mut card, area) = Card::framed("against", "against".to_owned(), view, format);
    card.title = said(&format!("{} set against {}", view.title, other.title));
    let head = [Block::new("Two inspections side by side", "lead", Weight::Bold, 56.0).lines(1).gap(0.3)];
    let top = card.write(&head, Area { height: 120.0, ..area });
    let area = area.below(top - area.y);
    let (columns, rest) = match format {
        Format::Wide => (Area { height: area.height * 0.56, ..area }, area.below(area.height * 0.58)),
        Format::Tall => (Area { height: area.height * 0.5, ..area }, area.below(area.height * 0.53)),
    };
    let (left, right) = columns.split(0.5, 48.0);
    card.write(&column(other), left);
    card.write(&column(view), right);
    let x = (left.right() + right.x) / 2.0;
    card.drawing.push_str(&format!(
        r#"<path class="rule" d="M{x:.1} {:.1}V{:.1}"/>"#,
        columns.y,
        columns.bottom() - 10.0
    ));
    let changes = changes(other, view);
    let now = changes.iter().filter(|change| change.outcome == Outcome::FallsShort).count();
    let words = match (now, changes.len() - now) {
        (0, 0) => "No critical or major finding changed.".to_owned(),
        (now, before) => {
            format!("Critical or major: {now} fall short only now, {before} only before")
        }
    };
    let mut blocks = vec![Block::new(&words, "ink", Weight::Bold, 42.0).lines(3).gap(0.2)];
    for change in changes.iter().take(MOST) {
        let class = match change.outcome {
            Outcome::FallsShort => "bad",
            Outcome::NotDecided => "open",
            Outcome::Meets => "good",
        };
        blocks.push(Block::new(&said(&change.text), class, Weight::Book, 38.0).lines(2).gap(0.15).spare());
    }
    card.write(&blocks, rest);
    card
}

fn column(view: &View) -> Vec<Block> {
    let known = |value: Option<&String>| value.map_or("not known", String::as_str).to_owned();
    let c = view.counts;
    let rated = view
        .rated_current
        .as_ref()
        .map_or("Rating not recorded".to_owned(), |rated| format!("Rated {rated}"));
    let mut blocks = vec![
        Block::new(&said(&view.title), "ink", Weight::Bold, 44.0).lines(2).gap(0.3),
        Block::new(&said(&rated), "lead", Weight::Bold, 60.0).lines(2).gap(0.1),
        Block::new(
            &said(&format!("Weakest known: {}", known(view.path.permissible_current.value.as_ref()))),
            "ink",
            Weight::Bold,
            46.0,
        )
        .lines(2)
        .gap(0.1),
    ];
    if let Some(weakest) = &view.path.weakest {
        let margin = view.path.margin.as_ref().map(|m| format!(", margin {m}")).unwrap_or_default();
        blocks.push(
            Block::new(&said(&format!("{weakest}{margin}")), "ink", Weight::Book, 40.0).lines(3).gap(0.3),
        );
    }
    let short = format!("▼ {} critical, {} major", c.critical, c.major);
    blocks.push(Block::new(&short, "bad", Weight::Bold, 40.0).lines(2).gap(0.1));
    blocks.push(
        Block::new(&format!("◇ {} not decided", c.not_decided), "open", Weight::Bold, 40.0).lines(2).gap(0.1),
    );
    blocks
}

/// Grave findings that fall short in one and not in the other, matched by rule and part; gravest first.
fn changes(old: &View, new: &View) -> Vec<Change> {
    type Key<'a> = (&'a str, &'a str, &'a str);
    fn key(finding: &Finding) -> Key<'_> {
        // Two statements are both of the part `claims`; the subject tells them apart.
        (&finding.rule, &finding.part, if finding.part == "claims" { &finding.subject } else { "" })
    }
    let by_key = |view: &View| -> BTreeMap<(String, String, String), Outcome> {
        let owned = |(a, b, c): Key<'_>| (a.to_owned(), b.to_owned(), c.to_owned());
        view.findings.iter().map(|f| (owned(key(f)), f.outcome)).collect()
    };
    let (before, after) = (by_key(old), by_key(new));
    let short = |view: &'_ View| -> Vec<Finding> {
        view.with_outcome(Outcome::FallsShort).filter(|f| f.grade.is_grave()).cloned().collect()
    };
    let at = |map: &BTreeMap<(String, String, String), Outcome>, f: &Finding| {
        let (a, b, c) = key(f);
        map.get(&(a.to_owned(), b.to_owned(), c.to_owned())).copied()
    };
    let name = |f: &Finding| {
        if f.subject.is_empty() { f.statement.clone() } else { format!("{}, {}", f.statement, f.subject) }
    };
    let mut changes = Vec::new();
    for finding in short(new) {
        let was = match at(&before, &finding) {
            Some(Outcome::FallsShort) => continue,
            Some(outcome) => format!("was: {}", outcome.words()),
            None => "no such part before".to_owned(),
        };
        changes.push(Change {
            outcome: Outcome::FallsShort,
            text: format!("▼ now falls short ({was}): {}", name(&finding)),
        });
    }
    for finding in short(old) {
        let (outcome, now) = match at(&after, &finding) {
            Some(Outcome::FallsShort) => continue,
            Some(outcome) => (outcome, format!("now: {}", outcome.words())),
            None => (Outcome::NotDecided, "no such part now".to_owned()),
        };
        changes.push(Change {
            outcome,
            text: format!("{} fell short ({now}): {}", outcome.shape(), name(&finding)),
        });
    }
    changes
}
