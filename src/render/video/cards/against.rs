//! The card that sets two inspections side by side: what each claims and holds, and which grave causes changed.
//!
//! It does not say which pack is better, and a cause that went with its part is told as no improvement.

use super::super::measure::Weight;
use super::flow::{Area, Block, Format};
use super::{Card, said};
use crate::judge::facts::Subject;
use crate::render::write_up::{CauseView, View};

/// Most changes that are listed; more would not be read.
const MOST: usize = 4;

/// Draws the card of `view`, set against an `other` inspection.
pub(super) fn card(view: &View, other: &View, format: Format) -> Card {
    let (mut card, area) = Card::framed("against", "against".to_owned(), view, format);
    card.title = said(&format!("{} set against {}", view.title, other.title));
    let share = if format == Format::Wide { 0.46 } else { 0.48 };
    let (columns, rest) =
        (Area { height: area.height * share, ..area }, area.below(area.height * (share + 0.02)));
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
    let mut blocks: Vec<Block> = changes
        .iter()
        .take(MOST)
        .map(|(class, text)| Block::new(&said(text), class, Weight::Bold, 46.0).lines(3).gap(0.15).spare())
        .collect();
    if blocks.is_empty() {
        blocks.push(Block::new("No critical or major cause changed.", "ink", Weight::Bold, 54.0));
    }
    card.write(&blocks, rest);
    card
}

fn column(view: &View) -> Vec<Block> {
    let rated =
        view.rated_current.as_ref().map_or("No rating".to_owned(), |rated| format!("{rated} claimed"));
    let holds = view.answers.get(1);
    let outcome = holds.and_then(|answer| answer.outcome);
    let words =
        outcome.map_or_else(String::new, |outcome| format!("{} {}", outcome.shape(), outcome.words()));
    let class = match outcome {
        Some(crate::judge::rules::Outcome::FallsShort) => "bad",
        Some(crate::judge::rules::Outcome::Meets) => "good",
        _ => "open",
    };
    let told = holds.and_then(|answer| answer.said.first()).cloned().unwrap_or_default();
    vec![
        Block::new(&said(&view.title), "soft", Weight::Bold, 45.0).lines(2).gap(0.3),
        Block::new(&said(&rated), "lead", Weight::Bold, 72.0).lines(2).gap(0.1),
        Block::new(&words, class, Weight::Bold, 54.0).lines(1).gap(0.2),
        Block::new(&said(&told), "ink", Weight::Book, 45.0).lines(5).gap(0.1),
    ]
}

/// Grave causes that are found in one and not in the other, gravest first: class and words.
fn changes(old: &View, new: &View) -> Vec<(&'static str, String)> {
    let only = |view: &'_ View, other: &View| -> Vec<CauseView> {
        let grave = view.causes.iter().filter(|cause| cause.grade.is_grave());
        grave.filter(|cause| !other.causes.iter().any(|known| known.id == cause.id)).cloned().collect()
    };
    let gone = |cause: &CauseView| {
        let label = match cause.head.at {
            Subject::Element(at) => old.path.elements.get(at).map(|element| &element.label),
            _ => None,
        };
        label.is_some_and(|label| !new.path.elements.iter().any(|element| element.label == *label))
    };
    let mut changes: Vec<(&'static str, String)> =
        only(new, old).iter().map(|cause| ("bad", format!("▼ new: {}", cause.statement))).collect();
    // What went stands before the last of what is new: each has its place.
    changes.truncate(MOST - 1);
    changes.extend(only(old, new).iter().map(|cause| {
        let gone = if gone(cause) { "the part is gone, no improvement" } else { "not found" };
        ("ink", format!("– {gone}: {}", cause.statement))
    }));
    changes
}
