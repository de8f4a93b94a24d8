//! What the page is sent: every question with what is recorded, the sections, the findings as they stand.

use serde::Serialize;
use sha2::{Digest, Sha256};

use crate::fill::FillSession;
use crate::fill::answer::unit_of;
use crate::fill::checklist::{Adds, Fills, PhotoWanted, Scope};
use crate::fill::first;
use crate::fill::journal::Confirmed;
use crate::fill::lines::words_of;
use crate::fill::question::{Applies, Question};
use crate::fill::same::likes;
use crate::fill::sight::{Ask, Sight};
use crate::fill::subject::instruments;
use crate::fill::terminal::now;
use crate::judge::next::{Answered, Look, MOST};
use crate::judge::rules::Outcome;
use crate::judge::support::CAUTION;
use crate::record::parts::{ElementKind, ElementTrait};
use crate::record::{How, Kind};
use crate::render::write_up::{causes, decides_line, look_line, photos_line};
use crate::units::Dimension;

/// To see what there is, s.
const GLANCE: f64 = 5.0;
/// Fields that a code on a label may say.
const CODED: [&str; 7] = [
    "bms.device_marking",
    "bms.marking",
    "cells.marking",
    "element.marking",
    "inspection.serial",
    "instrument.serial",
    "reading.code",
];

#[derive(Serialize)]
pub(super) struct PageState {
    record: String,
    revision: String,
    title: String,
    /// Which rules and checklists judge and ask, and which were left aside.
    told: Vec<String>,
    /// True while a long log is being read.
    beside: bool,
    counts: PageCounts,
    sections: Vec<PageSection>,
    questions: Vec<PageQuestion>,
    findings: Vec<PageFinding>,
    /// What the first look asks, in order.
    first: Vec<PageAsk>,
    headlines: Vec<PageHeadline>,
    /// The instruments: id, and what each is and reads.
    instruments: Vec<(String, String)>,
    hows: Vec<&'static str>,
    element_kinds: Vec<&'static str>,
}

impl PageState {
    /// What the page shows of a record.
    pub(super) fn of(session: &FillSession, record: &str, sight: &Sight) -> Self {
        let with = |outcome| sight.judgement.count(outcome);
        let sections = match session.lists.of_kind(&sight.kind) {
            Some(list) => list
                .sections
                .iter()
                .map(|section| PageSection {
                    id: section.id.clone(),
                    title: section.title.clone(),
                    about: section.about.clone(),
                    caution: section.caution.clone(),
                })
                .collect(),
            None => Vec::new(),
        };
        let likes = likes(sight);
        let lost = session.lost(sight);
        Self {
            record: record.to_owned(),
            revision: short(sight.revision().as_bytes()),
            title: sight.record.inspection.title.text().unwrap_or("no title yet").to_owned(),
            told: session.told.clone(),
            beside: sight.beside,
            counts: PageCounts {
                falls_short: sight.judgement.defects(),
                not_decided: with(Outcome::NotDecided),
                meets: with(Outcome::Meets),
            },
            sections,
            questions: sight
                .questions
                .iter()
                .map(|question| {
                    let like = likes.get(&question.key.part).cloned().unwrap_or_default();
                    let lost = lost.get(&question.key.to_string());
                    page_question(question, like, lost.map(PageLost::of))
                })
                .collect(),
            findings: causes(&sight.judgement)
                .into_iter()
                .map(|cause| PageFinding {
                    shape: Outcome::FallsShort.shape(),
                    numbers: cause.lines().into_iter().map(|(line, _)| line).collect(),
                    title: cause.statement,
                    grade: cause.grade.word(),
                    subject: cause.of,
                })
                .collect(),
            first: sight
                .first()
                .asks
                .iter()
                .map(|Ask { key, look }| PageAsk {
                    key: key.to_string(),
                    decides: look.as_ref().map(decides_line).unwrap_or_default(),
                    effort: look.as_ref().map_or("glance", |look| &look.effort).to_owned(),
                    time_s: look.as_ref().map_or(GLANCE, |look| look.time_s),
                    caution: look.as_ref().map(|look| look.caution.clone()).unwrap_or_default(),
                })
                .collect(),
            headlines: sight
                .first()
                .headlines
                .iter()
                .map(|one| PageHeadline {
                    line: first::told(one, sight.first().asks.is_empty()),
                    settled: one.answered != Answered::Open,
                })
                .collect(),
            instruments: instruments(&sight.record),
            hows: How::ALL.map(How::word).to_vec(),
            element_kinds: ElementKind::ALL.map(ElementKind::word).to_vec(),
        }
    }
}

/// What to look at next of all that is not decided; worked out only when somebody wants to see it.
#[derive(Serialize)]
pub(super) struct PageNext {
    looks: Vec<PageLook>,
    /// How many more facts are worth a look, and how many checks no single fact or pair decides.
    more: usize,
    closed: usize,
    /// What a photo is still wanted of.
    photos: String,
    /// What would make the claims true that fall short, and what goes before it.
    supports: Vec<String>,
    supports_caution: &'static str,
}

#[derive(Serialize)]
struct PageLook {
    title: String,
    lines: Vec<String>,
    caution: String,
}

impl PageNext {
    pub(super) fn of(sight: &Sight) -> Self {
        let next = sight.next();
        let look = |look: &Look| PageLook {
            title: look_line(look),
            lines: [format!("Decides: {}", decides_line(look)), look.turns.join("; "), look.how.clone()]
                .into_iter()
                .filter(|line| !line.is_empty())
                .collect(),
            caution: look.caution.clone(),
        };
        Self {
            looks: next.looks.iter().take(MOST).map(look).collect(),
            more: next.looks.len().saturating_sub(MOST),
            closed: next.closed.iter().map(|waiting| waiting.checks.len()).sum(),
            photos: photos_line(&next).unwrap_or_default(),
            supports: sight.supports().iter().map(|one| format!("{}: {}", one.claim, one.told)).collect(),
            supports_caution: CAUTION,
        }
    }
}

#[derive(Serialize)]
struct PageCounts {
    falls_short: usize,
    not_decided: usize,
    meets: usize,
}

#[derive(Serialize)]
struct PageSection {
    id: String,
    title: String,
    about: String,
    caution: String,
}

#[derive(Serialize)]
struct PageFinding {
    shape: &'static str,
    title: String,
    grade: &'static str,
    subject: String,
    numbers: Vec<String>,
}

/// A question of the first look.
#[derive(Serialize)]
struct PageAsk {
    key: String,
    decides: String,
    /// How it is come by, and how long that takes, s.
    effort: String,
    time_s: f64,
    caution: String,
}

/// A headline question with its answer, and whether it is settled.
#[derive(Serialize)]
struct PageHeadline {
    line: String,
    settled: bool,
}

#[derive(Serialize)]
struct PageChoice {
    word: &'static str,
    about: &'static str,
}

#[derive(Serialize)]
struct PageQuestion {
    key: String,
    number: String,
    section: String,
    of: String,
    prompt: String,
    why: String,
    look: String,
    caution: String,
    photo: &'static str,
    kind: &'static str,
    /// Words offered at a touch for the parts that an answer adds.
    chips: Vec<&'static str>,
    choices: Vec<PageChoice>,
    units: Vec<&'static str>,
    /// The sides of a size, each typed by itself.
    sides: &'static [&'static str],
    /// What they are now, where that is recorded.
    #[cfg(feature = "measuring")]
    side_values: Vec<String>,
    expected: String,
    /// The word that is recorded, where there are choices.
    chosen: String,
    now: String,
    open: bool,
    how: &'static str,
    default_how: &'static str,
    with: String,
    note: String,
    part_photos: Vec<String>,
    /// The instruments of a test, with commas between.
    part_with: String,
    rev: String,
    applies: &'static str,
    because: String,
    /// True when the walk does not stop at it.
    aside: bool,
    /// What it is read off, where that is asked on one screen.
    card: String,
    /// True when it is asked of a cell.
    cell: bool,
    /// True when it is asked of a bench test.
    test: bool,
    /// True when parts of its kind can be added behind it.
    element: bool,
    /// True when it asks for lengths, which may be measured in a photo.
    measures: bool,
    /// True when it asks for what a code on a label may say.
    codes: bool,
    /// The part before of the same kind, when this one may be answered as it was.
    like: String,
    lost: Option<PageLost>,
}

/// An answer that was confirmed and that the record holds no more.
#[derive(Serialize)]
struct PageLost {
    value: String,
    at: String,
    device: String,
}

impl PageLost {
    fn of(was: &Confirmed) -> Self {
        let value = was.value.clone().unwrap_or_default();
        Self { value, at: was.at.strftime("%Y-%m-%d %H:%M").to_string(), device: was.device.clone() }
    }
}

fn page_question(question: &Question, like: String, lost: Option<PageLost>) -> PageQuestion {
    let item = &question.item;
    let kind = question.kind();
    let choices = match kind {
        Kind::YesNo => vec![PageChoice { word: "yes", about: "" }, PageChoice { word: "no", about: "" }],
        Kind::Word(words) => words.iter().map(|w| PageChoice { word: w.word, about: w.about }).collect(),
        _ => Vec::new(),
    };
    let (applies, because) = match &question.applies {
        Applies::Yes => ("yes", String::new()),
        Applies::No(because) => ("no", because.clone()),
        Applies::Waits(what) => ("waits", what.clone()),
    };
    PageQuestion {
        key: question.key.to_string(),
        number: question.number.clone(),
        section: question.section.clone(),
        of: question.of.clone(),
        prompt: item.prompt.clone(),
        why: item.why.clone(),
        look: item.look.clone(),
        caution: item.caution.clone(),
        photo: item.photo.map_or("", PhotoWanted::word),
        kind: match kind {
            _ if matches!(item.fills, Fills::Adds(_)) => "adds",
            Kind::YesNo => "yesno",
            Kind::Word(_) => "choice",
            Kind::Count => "count",
            Kind::Text | Kind::Markdown | Kind::List => "text",
            _ => "value",
        },
        chips: chips(&item.fills),
        chosen: if choices.is_empty() { String::new() } else { question.found.show() },
        choices,
        units: units_of(question),
        sides: match &item.fills {
            Fills::Field { info, .. } => info.sides(),
            _ => &[],
        },
        #[cfg(feature = "measuring")]
        side_values: crate::fill::measured::sides(&question.found),
        expected: question.expected(),
        now: now(question),
        open: question.is_open(),
        how: question.found.how.map_or("", How::word),
        default_how: item.how.map_or("", How::word),
        with: question.found.with.clone().unwrap_or_default(),
        note: question.found.note.clone().unwrap_or_default(),
        part_photos: question.part_photos.clone(),
        part_with: question.part_with.clone(),
        rev: question.revision(),
        applies,
        because,
        aside: question.aside,
        card: item.card.clone().unwrap_or_default(),
        cell: item.scope == Scope::Readings,
        test: item.scope == Scope::Tests,
        element: matches!(item.scope, Scope::Elements(_) | Scope::RigElements(_)),
        measures: cfg!(feature = "measuring")
            && matches!(kind, Kind::Quantity(Dimension::LENGTH) | Kind::Section | Kind::Size),
        codes: cfg!(feature = "measuring")
            && matches!(&item.fills, Fills::Field { name, .. } if CODED.contains(&name.as_str())),
        like,
        lost,
    }
}

/// Kinds offered at a touch where an answer adds parts of kinds.
fn chips(fills: &Fills) -> Vec<&'static str> {
    match fills {
        Fills::Adds(Adds::Elements) => ElementKind::ALL.map(ElementKind::word).to_vec(),
        Fills::Adds(Adds::RigElements) => {
            ElementKind::with(ElementTrait::InRig).map(ElementKind::word).collect()
        }
        Fills::Adds(Adds::Tests) => words_of("test.kind"),
        Fills::Adds(Adds::Loads) => words_of("load.kind"),
        _ => Vec::new(),
    }
}

/// Units offered of a question, the usual one first.
fn units_of(question: &Question) -> Vec<&'static str> {
    let mut units = units(question.kind());
    if let Fills::Field { info, .. } = &question.item.fills
        && let Some(usual) = units.iter().position(|unit| *unit == unit_of(info.example))
    {
        units[..=usual].rotate_right(1);
    }
    units
}

/// Units offered at a touch; any other spelling may be typed.
fn units(kind: Kind) -> Vec<&'static str> {
    const UNITS: &[(Dimension, &[&str])] = &[
        (Dimension::CURRENT, &["A", "mA", "kA"]),
        (Dimension::VOLTAGE, &["V", "mV"]),
        (Dimension::RESISTANCE, &["mΩ", "µΩ", "Ω"]),
        (Dimension::CHARGE, &["Ah"]),
        (Dimension::ENERGY, &["Wh", "kWh"]),
        (Dimension::POWER, &["W"]),
        (Dimension::LENGTH, &["mm", "in"]),
        (Dimension::AREA, &["mm2", "AWG", "cm2"]),
        (Dimension::MASS, &["kg", "g", "lb"]),
        (Dimension::TIME, &["s", "ms", "us", "min", "h"]),
        (Dimension::TEMPERATURE, &["degC", "degF"]),
        (Dimension::TEMPERATURE_DIFFERENCE, &["K"]),
        (Dimension::TORQUE, &["N·m"]),
        (Dimension::RATE, &["C"]),
        (Dimension::THERMAL_RESISTANCE, &["K/W"]),
        (Dimension::CONDUCTIVITY, &["W/(m·K)"]),
    ];
    match kind {
        Kind::Quantity(dimension) => UNITS
            .iter()
            .find(|(known, _)| *known == dimension)
            .map(|(_, units)| units.to_vec())
            .unwrap_or_default(),
        Kind::Section | Kind::Size => vec!["mm", "in"],
        _ => Vec::new(),
    }
}

/// A short fingerprint, for revisions that a page sends back.
pub(super) fn short(bytes: &[u8]) -> String {
    use std::fmt::Write;
    let mut short = String::new();
    for byte in Sha256::digest(bytes).iter().take(8) {
        let _ = write!(short, "{byte:02x}");
    }
    short
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_unit_offered_is_one_that_reads() {
        for dimension in [
            Dimension::CURRENT,
            Dimension::VOLTAGE,
            Dimension::RESISTANCE,
            Dimension::CHARGE,
            Dimension::ENERGY,
            Dimension::POWER,
            Dimension::LENGTH,
            Dimension::AREA,
            Dimension::MASS,
            Dimension::TIME,
            Dimension::TEMPERATURE,
            Dimension::TEMPERATURE_DIFFERENCE,
            Dimension::TORQUE,
            Dimension::RATE,
            Dimension::THERMAL_RESISTANCE,
            Dimension::CONDUCTIVITY,
        ] {
            let offered = units(Kind::Quantity(dimension));
            assert!(!offered.is_empty());
            for unit in offered {
                let read = crate::units::parse(&format!("3 {unit}")).unwrap();
                assert_eq!(read.dimension, dimension, "{unit}");
            }
        }
    }
}
