//! Why a rating went down or up between two records, as far as the records can say.
//!
//! The question is put to the higher of the two ratings. It is explained by an element when the record that carries the
//! higher rating supports it in every recorded element, and the other record does not, because of that element. Where
//! every recorded element carries as much as before, the rating alone changed. Where the record with the higher rating
//! does not carry it itself, no element explains anything. Where a permissible current is not known, or lies within its
//! uncertainty of the rating, or a path is not said to be complete, nothing is decided and what is missing is listed.
//! What a maker had in mind is in no record and is never said.

use serde::Serialize;

use super::difference::{ChangeKind, FieldChange, Names, Nature, numbers, signed};
use crate::judge::rules::{Outcome, at_least};
use crate::units::words;
use crate::units::{Amount, Dimension, SourceId, Uncertain, show, significant};

/// What the two records say of the change of rating.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, schemars::JsonSchema)]
pub enum RatingOutcome {
    /// The rating is the same.
    #[serde(rename = "rating unchanged")]
    Unchanged,
    /// An element explains it.
    #[serde(rename = "explained by an element")]
    Element,
    /// Every recorded element carries as much as before.
    #[serde(rename = "the rating alone changed")]
    RatingAlone,
    /// No recorded element explains it.
    #[serde(rename = "no recorded element explains it")]
    NoElement,
    /// Facts are missing.
    #[serde(rename = "not decided")]
    #[default]
    NotDecided,
}

/// The answer for two records, with its working.
#[derive(Debug, Clone, Default, PartialEq, Serialize, schemars::JsonSchema)]
pub struct RatingAnswer {
    /// Name of the first record.
    pub from: String,
    /// Name of the second record.
    pub to: String,
    /// The two ratings and their difference.
    pub rating: String,
    /// What is said.
    pub outcome: RatingOutcome,
    /// The answer in a sentence or two.
    pub answer: String,
    /// The elements the answer names.
    pub elements: Vec<String>,
    /// The working, line by line.
    pub working: Vec<String>,
    /// What is missing for a decision.
    pub missing: Vec<String>,
}

/// A record as far as the question goes.
#[derive(Debug, Clone)]
pub(crate) struct Rated {
    pub(crate) name: String,
    /// Rated continuous current.
    pub(crate) current: Option<Amount>,
    /// Whether the inspector says that the path is complete.
    pub(crate) complete: bool,
}

/// An element in one of the records.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum PermissibleCurrent {
    /// The record has no such element.
    NotThere,
    /// Its continuous permissible current.
    Known(Amount),
    /// It cannot be worked out from the record.
    Unknown,
}

/// An element across the two records.
#[derive(Debug, Clone)]
pub(crate) struct Matched {
    /// What it is called in each of them.
    pub(crate) labels: [String; 2],
    pub(crate) permissible_current: [PermissibleCurrent; 2],
}

impl Matched {
    /// What it is called in both, "bar to the fuse → bar to the cut-off" where each has a name of its own.
    fn label(&self) -> String {
        let [first, second] = &self.labels;
        if first == second { first.clone() } else { format!("{first} → {second}") }
    }
}

/// Whether something carries a current: the rules' own comparison. A rating of one record and a permissible current of
/// another share no source of uncertainty, so the rating gets a source of its own.
fn carries(permissible_current: &Amount, current: &Amount) -> Outcome {
    let number = Uncertain::new(current.value(), SourceId::MAX, current.number.standard());
    at_least(permissible_current, &Amount { number, dimension: current.dimension })
}

/// Answers the question for two records.
pub(crate) fn explain(records: &[Rated; 2], elements: &[Matched]) -> RatingAnswer {
    let [first, second] = records;
    let (from, to) = (first.name.clone(), second.name.clone());
    let mut answer = RatingAnswer { from, to, ..RatingAnswer::default() };
    let (Some(old), Some(new)) = (&first.current, &second.current) else {
        for record in records.iter().filter(|record| record.current.is_none()) {
            answer.missing.push(format!("the rated continuous current of {}", record.name));
        }
        answer.rating = "not known in both".to_owned();
        answer.answer = format!("Not decided: {} is not recorded.", words::list(&answer.missing, "and"));
        return answer;
    };
    let names = Names { first: &first.name, second: &second.name };
    let changes: Vec<Option<FieldChange>> = elements.iter().map(|element| change(element, names)).collect();
    if old.value() == new.value() {
        unchanged(&mut answer, records, elements, &changes, old);
        Question { records, elements, changes: &changes, up: false }.show_working(&mut answer, old);
        return answer;
    }
    let by = new.value() - old.value();
    answer.rating = format!(
        "{} in {}, {} in {}: {} ({})",
        old.show(),
        first.name,
        new.show(),
        second.name,
        signed(by, |d| show(d, Dimension::CURRENT)),
        signed(100.0 * by / old.value(), |p| format!("{} %", significant(p, 3)))
    );
    Question { records, elements, changes: &changes, up: by > 0.0 }.answer(&mut answer);
    answer
}

fn change(element: &Matched, names: Names<'_>) -> Option<FieldChange> {
    match &element.permissible_current {
        [PermissibleCurrent::Known(a), PermissibleCurrent::Known(b)] => {
            Some(numbers(a, b, names, Nature::Recorded))
        }
        _ => None,
    }
}

struct Question<'a> {
    records: &'a [Rated; 2],
    elements: &'a [Matched],
    changes: &'a [Option<FieldChange>],
    up: bool,
}

impl Question<'_> {
    /// The record with the higher rating, and the other.
    const fn sides(&self) -> (usize, usize) {
        if self.up { (1, 0) } else { (0, 1) }
    }

    fn answer(&self, answer: &mut RatingAnswer) {
        let (high, low) = self.sides();
        let Some(rating) = &self.records[high].current else { return };
        let shown = rating.show();
        let higher = if self.up { "higher" } else { "lower" };
        let (above, below) = (self.failing(high, rating), self.failing(low, rating));
        let open = [self.open(high, rating), self.open(low, rating)];
        answer.working.push(format!(
            "The question is put to the higher rating, {shown} in {}: which recorded element carries it in one record and not in the other?",
            self.records[high].name
        ));
        self.show_working(answer, rating);
        if self.all_as_before() {
            answer.outcome = RatingOutcome::RatingAlone;
            answer.answer =
                "Every recorded element carries as much as before; the rating alone changed.".to_owned();
            if let Some(worst) = self.weakest_of(&above, high) {
                let name = &self.records[high].name;
                answer
                    .answer
                    .push_str(&format!(" In {name}, {worst}, less than the {shown} it is rated for."));
            }
            return;
        }
        if !above.is_empty() {
            answer.outcome = RatingOutcome::NoElement;
            let worst = self.weakest_of(&above, high).unwrap_or_default();
            let name = &self.records[high].name;
            let more = match above.len() - 1 {
                0 => String::new(),
                n => format!(
                    ", and {} less than that",
                    words::count(n, "more element carries", "more elements carry")
                ),
            };
            answer.answer = if self.up {
                format!(
                    "No recorded element explains the {higher} rating: in {name}, {worst}, less than its {shown}{more}."
                )
            } else {
                format!(
                    "No recorded element explains the {higher} rating: {name} did not carry its {shown} either, {worst}{more}."
                )
            };
            answer.elements = above.iter().map(|at| self.elements[*at].labels[high].clone()).collect();
            return;
        }
        let [open_high, open_low] = open;
        // One element that falls short settles a record; what is not known of it then no longer matters.
        let mut missing = open_high;
        if below.is_empty() {
            missing.extend(open_low);
        }
        if !missing.is_empty() {
            answer.outcome = RatingOutcome::NotDecided;
            let more = missing.len().saturating_sub(3);
            let mut named: Vec<String> = missing.iter().take(3).cloned().collect();
            if more > 0 {
                named.push(format!("{more} more"));
            }
            answer.answer = format!("Not decided: {}.", words::list(&named, "and"));
            answer.missing = missing;
            return;
        }
        if below.is_empty() {
            answer.outcome = RatingOutcome::NoElement;
            answer.answer = format!(
                "No recorded element explains the {higher} rating: every recorded element carries {shown} in both."
            );
            return;
        }
        answer.outcome = RatingOutcome::Element;
        answer.elements = below.iter().map(|at| self.elements[*at].label()).collect();
        let said: Vec<String> = below.iter().take(3).map(|at| self.crossing(*at, &shown)).collect();
        let more = match below.len().saturating_sub(3) {
            0 => String::new(),
            n => format!(" And {n} more."),
        };
        answer.answer = format!("The {higher} rating is explained by {}.{more}", said.join("; "));
    }

    /// An element that carries the higher rating in one record and not in the other.
    fn crossing(&self, at: usize, rating: &str) -> String {
        let (high, low) = self.sides();
        let element = &self.elements[at];
        let names = [&self.records[low].name, &self.records[high].name];
        match (&element.permissible_current[low], &element.permissible_current[high]) {
            (PermissibleCurrent::Known(less), PermissibleCurrent::Known(more)) if self.up => format!(
                "{}, which carried {} in {}, less than {rating}, and carries {} in {}",
                element.label(),
                less.show(),
                names[0],
                more.show(),
                names[1]
            ),
            (PermissibleCurrent::Known(less), PermissibleCurrent::Known(more)) => format!(
                "{}, which carried {} in {} and carries {} in {}, less than {rating}",
                element.label(),
                more.show(),
                names[1],
                less.show(),
                names[0]
            ),
            (PermissibleCurrent::Known(less), _) => format!(
                "{}, which is only in {} and carries {}, less than {rating}",
                element.labels[low],
                names[0],
                less.show()
            ),
            _ => element.label(),
        }
    }

    /// Elements of a record that surely do not carry a current.
    fn failing(&self, record: usize, current: &Amount) -> Vec<usize> {
        let short = |element: &Matched| match &element.permissible_current[record] {
            PermissibleCurrent::Known(permissible_current) => {
                carries(permissible_current, current) == Outcome::FallsShort
            }
            _ => false,
        };
        (0..self.elements.len()).filter(|at| short(&self.elements[*at])).collect()
    }

    /// What leaves open whether a record carries a current.
    fn open(&self, record: usize, current: &Amount) -> Vec<String> {
        let name = &self.records[record].name;
        let mut open = Vec::new();
        for element in self.elements {
            match &element.permissible_current[record] {
                PermissibleCurrent::Unknown => {
                    open.push(format!(
                        "the permissible current of {} is not known in {name}",
                        element.labels[record]
                    ));
                }
                PermissibleCurrent::Known(permissible_current)
                    if carries(permissible_current, current) == Outcome::NotDecided =>
                {
                    open.push(format!(
                        "{} carries {} in {name}, which lies within its uncertainty of {}",
                        element.labels[record],
                        permissible_current.show(),
                        current.show()
                    ));
                }
                _ => {}
            }
        }
        if self
            .elements
            .iter()
            .all(|element| element.permissible_current[record] == PermissibleCurrent::NotThere)
        {
            open.push(format!("no element of the path is recorded in {name}"));
        }
        if !self.records[record].complete {
            open.push(format!("the path of {name} is not said to be complete"));
        }
        open
    }

    /// True when both paths are complete and every element is in both and shows no difference.
    fn all_as_before(&self) -> bool {
        self.records.iter().all(|record| record.complete)
            && !self.elements.is_empty()
            && self.changes.iter().all(|change| {
                change
                    .as_ref()
                    .is_some_and(|c| matches!(c.kind, ChangeKind::Same | ChangeKind::NoDifferenceShown))
            })
    }

    fn weakest_of(&self, some: &[usize], record: usize) -> Option<String> {
        let known = some.iter().filter_map(|at| match &self.elements[*at].permissible_current[record] {
            PermissibleCurrent::Known(permissible_current) => Some((*at, permissible_current)),
            _ => None,
        });
        let (at, permissible_current) = known.min_by(|a, b| a.1.value().total_cmp(&b.1.value()))?;
        Some(format!("{} carries {}", self.elements[at].labels[record], permissible_current.show()))
    }

    fn show_working(&self, answer: &mut RatingAnswer, rating: &Amount) {
        for (element, change) in self.elements.iter().zip(self.changes) {
            let say = |record: usize| {
                let name = &self.records[record].name;
                match &element.permissible_current[record] {
                    PermissibleCurrent::NotThere => format!("not in {name}"),
                    PermissibleCurrent::Unknown => format!("not known in {name}"),
                    PermissibleCurrent::Known(permissible_current) => {
                        let outcome = carries(permissible_current, rating).words();
                        format!("{} in {name} ({outcome})", permissible_current.show())
                    }
                }
            };
            let change = change.as_ref().map(|c| format!(": {}", c.words)).unwrap_or_default();
            answer.working.push(format!("{}: {}, {}{change}", element.label(), say(0), say(1)));
        }
    }
}

fn unchanged(
    answer: &mut RatingAnswer,
    records: &[Rated; 2],
    elements: &[Matched],
    changes: &[Option<FieldChange>],
    rating: &Amount,
) {
    answer.outcome = RatingOutcome::Unchanged;
    answer.rating = format!("{} in both", rating.show());
    let weakest = |record: usize| {
        let known = elements.iter().enumerate().filter_map(|(at, element)| {
            match &element.permissible_current[record] {
                PermissibleCurrent::Known(permissible_current) => Some((at, permissible_current)),
                _ => None,
            }
        });
        known.min_by(|a, b| a.1.value().total_cmp(&b.1.value()))
    };
    let same = format!("The rating is the same, {}.", rating.show());
    answer.answer = match (weakest(0), weakest(1)) {
        (Some((a, of_a)), Some((b, of_b))) if a == b => {
            answer.elements.push(elements[a].label());
            let what = changes[a].as_ref().map_or("", |change| change.words.as_str());
            format!(
                "{same} The weakest element known is the same, {}: {} in {}, {} in {} ({what}).",
                elements[a].label(),
                of_a.show(),
                records[0].name,
                of_b.show(),
                records[1].name
            )
        }
        (Some((a, of_a)), Some((b, of_b))) => {
            answer.elements.extend([elements[a].labels[0].clone(), elements[b].labels[1].clone()]);
            format!(
                "{same} The weakest element known is another: {} with {} in {}, {} with {} in {}.",
                elements[a].labels[0],
                of_a.show(),
                records[0].name,
                elements[b].labels[1],
                of_b.show(),
                records[1].name
            )
        }
        _ => format!(
            "{same} No permissible current is known in one of the records, so the weakest elements are not compared."
        ),
    };
    for (record, side) in records.iter().zip(0..) {
        let unknown =
            elements.iter().filter(|e| matches!(e.permissible_current[side], PermissibleCurrent::Unknown));
        answer.missing.extend(unknown.map(|e| {
            format!("the permissible current of {} is not known in {}", e.labels[side], record.name)
        }));
    }
}

#[cfg(test)]
mod tests;
