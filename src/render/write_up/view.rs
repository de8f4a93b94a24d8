//! The view model: everything the outputs show, in words and SI numbers.

use std::f64::consts::PI;
use std::sync::Arc;

use serde::Serialize;

use crate::judge::bench_test::TestResult;
use crate::judge::facts::{Answer, Derived, Missing, Reason, Subject, Val, element_label};
use crate::judge::inspection::Inspection;
use crate::judge::next::{Judged, MOST, Next, Waiting, waiting};
use crate::judge::rules::{Change, Finding, Grade, NotApplied, Outcome, RuleFile};
use crate::judge::support::{Support, supports};
use crate::physics::ZERO_CELSIUS;
use crate::record::field::Doubt;
use crate::record::parts::{Element, ElementKind, Issue, TestKind};
use crate::record::{Found, Part, Record, State, Value};
use crate::render::draw::glyph::{Form, Glyph, Section};
use crate::units::words::list;
use crate::units::{Amount, Dimension, show, show_difference, show_range};

use super::causes::{CauseView, causes};
use super::claims::{ClaimView, claims};
use super::looks::looks_of;

/// Version of the JSON shape; it changes when a key changes its meaning or goes away.
pub const FORMAT: u32 = 2;

/// Rules that say of each part whether it carries the rated current.
const CARRY: [&str; 3] = ["element-carries-rated-current", "place-stays-below-limit", "bms-rating"];
/// Critical causes that the headline names; further ones it counts.
const HEADLINE: usize = 3;

/// A derived value for display, or what is missing for it.
#[derive(Debug, Clone, Default, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Worth {
    /// The value as a person would read it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub value: Option<String>,
    /// The value in SI units.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub si: Option<f64>,
    /// Its expanded uncertainty (k = 2) in SI units, where it has one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub expanded_si: Option<f64>,
    /// The working, line by line.
    pub steps: Vec<String>,
    /// Sources of the physics.
    pub sources: Vec<String>,
    /// What was assumed.
    pub assumed: Vec<String>,
    /// What is missing.
    pub missing: Vec<Missing>,
    /// Set where the true value is not below ("at least") or not above ("at most") this one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bound: Option<&'static str>,
}

impl Worth {
    /// The value as a person would read it, a bound as one.
    pub(crate) fn said(&self) -> Option<String> {
        let value = self.value.as_deref()?;
        Some(self.bound.map_or_else(|| value.to_owned(), |bound| format!("{bound} {value}")))
    }

    fn of(answer: Option<&Answer>) -> Self {
        match answer {
            None => Self::default(),
            Some(Err(missing)) => Self { missing: missing.clone(), ..Self::default() },
            Some(Ok(worked)) => {
                let amount = worked.value.amount();
                Self {
                    value: Some(worked.value.show()),
                    si: amount.map(Amount::value),
                    expanded_si: amount.filter(|a| !a.number.is_exact()).map(|a| a.number.expanded()),
                    steps: worked.steps.clone(),
                    sources: worked.sources.clone(),
                    assumed: worked.assumed.clone(),
                    missing: Vec::new(),
                    bound: worked.bound.as_ref().and_then(|bound| bound.side.words()),
                }
            }
        }
    }
}

/// How warm a place of the path becomes, for display.
#[derive(Debug, Clone, Default, PartialEq, Serialize, schemars::JsonSchema)]
pub struct PlaceView {
    /// What of the element; empty for the element itself.
    #[serde(skip_serializing_if = "str::is_empty")]
    pub what: &'static str,
    /// Temperature after one full discharge at rated continuous current.
    pub temperature: Worth,
    /// The same in words, as a range.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub temperature_range: Option<String>,
    /// The highest temperature that the place may have.
    pub temperature_limit: Worth,
    /// The highest temperature that was read, brought to rated current and the ambient of the rating.
    pub measured_temperature: Worth,
    /// What the rules say of the temperature.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub temperature_outcome: Option<Outcome>,
    /// What the rules say of the measured temperature.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub measured_outcome: Option<Outcome>,
}

impl PlaceView {
    /// The places of an element, the one that the rules speak of first; of several alike the hottest.
    pub(crate) fn all(derived: &Derived, findings: &[Finding], index: usize) -> Vec<Self> {
        let fact = |name: &str| derived.of_element(index, name);
        let outcome = |name: &str| {
            let of_it = findings.iter().filter(|finding| finding.at == Subject::Element(index));
            let about = of_it.filter(|finding| finding.working.used.iter().any(|used| used.name == name));
            about.map(|finding| finding.outcome).min()
        };
        let one = |what, temperature: Option<&Answer>, limit: Option<&Answer>, measured: Option<&Answer>| {
            let temperature = Worth::of(temperature);
            Self {
                what,
                temperature_range: range(&temperature),
                temperature,
                temperature_limit: Worth::of(limit),
                temperature_outcome: None,
                measured_outcome: measured.and_then(|_| outcome("element.measured_temperature")),
                measured_temperature: Worth::of(measured),
            }
        };
        let judged = fact("element.temperature_at_rated");
        let mut views: Vec<Self> = Vec::new();
        for place in derived.places().iter().filter(|place| place.element == index) {
            let view = one(place.what, Some(&place.at_rated), Some(&place.limit), place.measured.as_ref());
            match views.iter_mut().find(|known| known.what == view.what) {
                Some(known) if known.temperature.si < view.temperature.si => *known = view,
                Some(_) => {}
                None => views.push(view),
            }
        }
        if views.is_empty() {
            let measured = fact("element.measured_temperature");
            views.push(one("", judged, fact("element.temperature_limit"), measured));
        }
        let judged = Worth::of(judged).si;
        views.sort_by_key(|view| view.temperature.si != judged);
        if let Some(first) = views.first_mut() {
            first.temperature_outcome = outcome("element.temperature_at_rated");
        }
        views
    }
}

/// The range of a temperature in words; where it is only a lower bound its lower end counts.
fn range(worth: &Worth) -> Option<String> {
    let (middle, half) = (worth.si?, worth.expanded_si.unwrap_or_default());
    let range = show_range(middle - half, middle + half, Dimension::TEMPERATURE);
    Some(match worth.bound {
        Some("at least") => {
            let low = (middle - half - ZERO_CELSIUS).round() + ZERO_CELSIUS;
            format!("at least {}", show(low, Dimension::TEMPERATURE))
        }
        _ => range,
    })
}

/// A value with what it is of, for display.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Told {
    /// What it is of.
    pub of: String,
    /// The value.
    pub worth: Worth,
}

/// A question and its answer.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct AnswerView {
    /// The question.
    pub question: &'static str,
    /// The gravest outcome of the rules that bear on it; none where none does.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub outcome: Option<Outcome>,
    /// A shape for the outcome; empty without one.
    pub shape: &'static str,
    /// The answer, a sentence each.
    pub said: Vec<String>,
}

/// Permissible currents of the pack, and the time until the first limit.
const CURRENTS: [(&str, &str); 6] = [
    ("permissible for one full discharge", "path.permissible_for_discharge"),
    ("permissible without end", "path.permissible_without_end"),
    ("permissible for the claimed duration of the peak", "path.permissible_peak"),
    ("permissible for one full discharge in a hot room", "path.permissible_when_hot"),
    ("permissible for one full discharge at the hottest the maker allows", "path.permissible_at_hottest"),
    ("time until the first limit at rated current", "path.time_to_limit"),
];
/// Temperatures of an element at rated current.
const TEMPERATURES: [(&str, &str); 5] = [
    ("after a quarter of an hour", "element.temperature_quarter_hour"),
    ("after one full discharge", "element.temperature_at_rated"),
    ("without end", "element.temperature_steady"),
    ("limit", "element.temperature_limit"),
    ("measured", "element.measured_temperature"),
];

/// An element of the path for display.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct ElementView {
    /// Its id.
    pub id: String,
    /// Its kind and id.
    pub label: String,
    /// Its kind.
    pub kind: String,
    /// The leg it belongs to.
    pub leg: String,
    /// Its description.
    pub name: String,
    /// What people call it: its description, or its id and kind in words where it has none.
    pub called: String,
    /// What was recorded of it, key and value.
    pub found: Vec<(String, String)>,
    /// How warm it becomes.
    #[serde(flatten)]
    pub place: PlaceView,
    /// Further places of it: the posts of the cells.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub further_places: Vec<PlaceView>,
    /// Continuous permissible current.
    pub permissible_current: Worth,
    /// Permissible current less rated continuous current, in words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub margin: Option<String>,
    /// Resistance.
    pub resistance: Worth,
    /// Drop at rated continuous current.
    pub drop: Worth,
    /// Heat at rated continuous current.
    pub heat: Worth,
    /// Temperatures at rated current, the limit and what was measured; in this order; none of an element without any.
    pub temperatures: Vec<Told>,
    /// What it responds to, for protective elements.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub responds_to: Option<String>,
    /// Rating of a fuse, SI.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fuse_rating_si: Option<f64>,
    /// True for the weakest element.
    pub weakest: bool,
    /// Photos of it.
    pub photos: Vec<String>,
    /// What it looks like, with its sizes; its pattern is that of its place.
    #[serde(skip)]
    pub(crate) glyph: Glyph,
    /// Time in the video.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub video: Option<String>,
    /// The inspector's remark, Markdown.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

/// What people call an element without a description.
fn called(kind: &str, id: &str) -> String {
    let (kind_words, words) = (kind.replace('-', " "), id.replace('-', " "));
    match kind {
        "bms" => "BMS".to_owned(),
        _ if kind_words.split(' ').any(|word| words.contains(word)) => words,
        _ => format!("{kind_words} {words}").trim().to_owned(),
    }
}

/// The path for display.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct PathView {
    /// Elements in the order of the current.
    pub elements: Vec<ElementView>,
    /// Whether the inspector says that the list is complete.
    pub complete: Option<bool>,
    /// Permissible current of the weakest element that is known.
    pub permissible_current: Worth,
    /// The weakest element that is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub weakest: Option<String>,
    /// Weakest permissible current less rated current, in words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub margin: Option<String>,
    /// Currents of the pack with their time, from its network.
    pub currents: Vec<Told>,
    /// Elements whose permissible current is not known.
    pub undecided: Vec<String>,
    /// Total resistance.
    pub resistance: Worth,
    /// Total drop at rated continuous current.
    pub drop: Worth,
    /// Total heat at rated continuous current.
    pub heat: Worth,
    /// Prospective short-circuit current.
    pub short_circuit_current: Worth,
    /// A sentence that says which use nobody recorded, so that the protection is not judged for it; else empty.
    pub use_not_recorded: String,
    /// Smallest rating among the fuses and circuit breakers.
    pub fuse_rating: Worth,
}

/// How much of each kind there is: what falls short is counted by cause, everything else by rule.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, schemars::JsonSchema)]
pub struct FindingCounts {
    /// Critical causes.
    pub critical: usize,
    /// Major causes.
    pub major: usize,
    /// Minor causes.
    pub minor: usize,
    /// Not decided.
    pub not_decided: usize,
    /// Not decided among the critical and major rules.
    pub grave_not_decided: usize,
    /// Met.
    pub meets: usize,
    /// Customs of the trade, which are counted nowhere else.
    pub customs: usize,
    /// Those of them that fall short.
    pub customs_short: usize,
}

/// An issue of the write-up.
#[derive(Debug, Clone, Serialize, schemars::JsonSchema)]
pub struct IssueView {
    /// Its day.
    pub date: Option<String>,
    /// What changed.
    pub changed: Option<String>,
}

/// Everything the outputs show.
#[derive(Debug, Clone, Serialize, schemars::JsonSchema)]
pub struct View {
    /// Version of this shape.
    pub format: u32,
    /// Version of the program.
    pub program: &'static str,
    /// Title.
    pub title: String,
    /// Maker, model and revision.
    pub pack: String,
    /// True for an invented example.
    pub invented: bool,
    /// What was recorded of the inspection, key and value.
    pub inspection: Vec<(String, String)>,
    /// The issues of the write-up, the first one first.
    pub issues: Vec<IssueView>,
    /// Rated continuous current.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rated_current: Option<String>,
    /// Rated continuous current in amperes.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rated_current_si: Option<f64>,
    /// Current of the full-load test in amperes, when one is recorded.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tested_current_si: Option<f64>,
    /// Headline claims.
    pub claimed: Vec<(String, String)>,
    /// The first questions of a reader, answered.
    pub answers: Vec<AnswerView>,
    /// Counts by grade and outcome.
    pub counts: FindingCounts,
    /// The path.
    pub path: PathView,
    /// What falls short, by cause, gravest first.
    pub causes: Vec<CauseView>,
    /// Customs of the trade that are not kept, grouped alike: opinion.
    pub opinions: Vec<CauseView>,
    /// Findings rule by rule, gravest first.
    pub findings: Arc<Vec<Finding>>,
    /// What is not decided, by what is missing: what is worth looking at most comes first where that was asked for.
    pub waiting: Vec<Waiting>,
    /// What to look at next, where it was asked for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub next: Option<Next>,
    /// What would make the claims true that fall short, where it was asked for.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub supports: Vec<Support>,
    /// Rules not applied.
    pub not_applied: Vec<NotApplied>,
    /// What a house changed.
    pub changes: Vec<Change>,
    /// Values that are not taken as they stand.
    pub doubts: Vec<Doubt>,
    /// The bench tests with their figures.
    pub bench_tests: Vec<TestResult>,
    /// Files of rules beside the built-in ones: those that judged, with what they changed, and those that were left aside.
    pub rule_files: Vec<RuleFile>,
    /// What the tests at full load showed, each in a sentence.
    pub shown_by_test: Vec<String>,
    /// Claims against findings.
    pub claims: Vec<ClaimView>,
    /// The inspector's notes, Markdown.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub notes: Option<String>,
}

impl View {
    /// The view of an inspection, before the first questions of a reader are answered.
    pub(super) fn unanswered(inspection: &Inspection) -> Self {
        let Inspection { record, derived, judgement, .. } = inspection;
        let head = &record.inspection;
        let text = |entry: Option<&str>| entry.unwrap_or_default().to_owned();
        let pack: Vec<String> = [
            head.maker.text().map(str::to_owned),
            head.model.text().map(str::to_owned),
            head.revision.text().map(|revision| format!("revision {revision}")),
        ]
        .into_iter()
        .flatten()
        .collect();
        let pack = if pack.is_empty() { "unnamed pack".to_owned() } else { pack.join(", ") };
        let rated = record.claims.continuous_current.quantity();
        let (opinions, causes): (Vec<_>, Vec<_>) =
            causes(judgement).into_iter().partition(|cause| cause.grade == Grade::Custom);
        Self {
            format: FORMAT,
            program: env!("CARGO_PKG_VERSION"),
            title: head.title.text().map_or_else(|| pack.clone(), str::to_owned),
            pack,
            invented: head.invented.yes() == Some(true),
            inspection: recorded(head, &["title", "invented"]),
            issues: inspection.record.issue.iter().map(IssueView::of).collect(),
            rated_current: rated.map(|q| q.text.clone()).or_else(|| {
                let found = record.claims.continuous_current.found();
                (found.state == State::Withheld).then(|| found.show())
            }),
            rated_current_si: rated.map(|q| q.value),
            tested_current_si: record
                .test
                .iter()
                .filter(|test| test.kind.known() == Some(TestKind::FullLoad))
                .filter_map(|test| test.current.quantity())
                .map(|q| q.value)
                .reduce(f64::max),
            claimed: headline(record),
            counts: counts(&causes, &judgement.findings),
            path: path(record, derived, &judgement.findings),
            causes,
            opinions,
            findings: Arc::clone(&judgement.findings),
            waiting: waiting(judgement.findings.iter().filter(|f| f.grade != Grade::Custom), &[]),
            next: None,
            supports: Vec::new(),
            not_applied: judgement.not_applied.clone(),
            changes: judgement.changes.clone(),
            doubts: judgement.doubts.clone(),
            bench_tests: inspection.bench_tests.iter().map(TestResult::without_curves).collect(),
            rule_files: inspection.book.files.clone(),
            shown_by_test: shown_by_test(inspection),
            claims: claims(record, &judgement.findings),
            notes: Some(text(record.notes.text())).filter(|notes| !notes.is_empty()),
            answers: Vec::new(),
        }
    }

    /// The view with what to look at next.
    #[must_use]
    pub fn with_next(inspection: &Inspection) -> Self {
        let (view, next) = rayon::join(|| Self::of(inspection), || looks_of(inspection, MOST));
        let waiting = waiting(view.findings.iter().filter(|f| f.grade != Grade::Custom), &next.looks);
        Self { waiting, next: Some(next), ..view }
    }

    /// The view with what to look at next, and what would make the claims true, which takes longer than all the rest.
    #[must_use]
    pub fn in_full(inspection: &Inspection) -> Self {
        let Inspection { record, derived, book, judgement, .. } = inspection;
        let judged = Judged { record, derived, book, findings: &judgement.findings };
        let (view, supports) = rayon::join(|| Self::with_next(inspection), || supports(judged));
        Self { supports, ..view }
    }

    /// What there is to say of the rules, before everything else that an output says; empty where only the built-in rules
    /// judged and none lay in the folder.
    #[must_use]
    pub fn rules_told(&self) -> String {
        let told: Vec<&str> = self.rule_files.iter().map(|file| file.told.as_str()).collect();
        told.join(" ")
    }

    /// True when something critical or major falls short.
    #[must_use]
    pub fn falls_short(&self) -> bool {
        self.counts.critical + self.counts.major > 0
    }

    /// Findings of one outcome, gravest first; customs are no findings but opinion.
    pub fn with_outcome(&self, outcome: Outcome) -> impl Iterator<Item = &Finding> {
        self.findings
            .iter()
            .filter(move |finding| finding.outcome == outcome && finding.grade != Grade::Custom)
    }

    /// What customs of the trade say, those that fall short first.
    pub fn customs(&self) -> impl Iterator<Item = &Finding> {
        self.findings.iter().filter(|finding| finding.grade == Grade::Custom)
    }

    /// The summary: the gravest of what falls short, what a test showed, then the place that limits the current.
    #[must_use]
    pub fn verdict(&self) -> String {
        let gravest = self.causes.first().map_or(Grade::Minor, |cause| cause.grade);
        let mut said: Vec<String> = Vec::new();
        if gravest != Grade::Minor {
            let of_grade: Vec<&CauseView> =
                self.causes.iter().filter(|cause| cause.grade == gravest).collect();
            let named = if gravest == Grade::Critical { HEADLINE } else { 1 };
            said.extend(of_grade.iter().take(named).map(|cause| format!("{}.", cause.line())));
            if of_grade.len() > named {
                let more = of_grade.len() - named;
                said.push(format!(
                    "{more} more {} {}.",
                    gravest.word(),
                    if more == 1 { "finding" } else { "findings" }
                ));
            }
        }
        said.extend(self.shown_by_test.first().cloned());
        said.push(format!("{}{}", self.of_the_path(), self.path.use_not_recorded));
        self.by_name(&said.join(" "))
    }

    /// What limits the current, and by how much it carries or does not carry what is rated.
    fn of_the_path(&self) -> String {
        let Some(rated) = &self.rated_current else {
            return "The rated continuous current is not recorded, so the build cannot be judged against it."
                .to_owned();
        };
        if self.rated_current_si.is_none() {
            return format!(
                "The rated continuous current is {rated}, so the build is not judged against it here."
            );
        }
        let missing = &self.path.permissible_current.missing;
        let withheld = missing.iter().any(|missing| missing.reason == Reason::Withheld);
        match (&self.path.weakest, &self.path.permissible_current.value) {
            (Some(weakest), Some(permissible_current)) => {
                let open = match self.path.undecided.len() {
                    0 => String::new(),
                    1 => " What one further part carries is not known.".to_owned(),
                    n => format!(" What {n} further parts carry is not known."),
                };
                let of_path = self.findings.iter().filter(|finding| CARRY.contains(&finding.rule.as_str()));
                let outcome = of_path.map(|finding| finding.outcome).min().unwrap_or(Outcome::NotDecided);
                let said = self.path.permissible_current.said();
                let permissible_current = said
                    .filter(|_| outcome == Outcome::NotDecided)
                    .unwrap_or_else(|| permissible_current.clone());
                match outcome {
                    Outcome::FallsShort => format!(
                        "Rated {rated}; the weakest part known, {weakest}, carries {permissible_current}.{open}"
                    ),
                    Outcome::NotDecided => format!(
                        "Rated {rated}. The weakest part known, {weakest}, carries {permissible_current}: not decided.{open}"
                    ),
                    Outcome::Meets => format!(
                        "Rated {rated}; every part known carries that, the weakest, {weakest}, {permissible_current}.{open}"
                    ),
                }
            }
            _ if withheld => {
                format!(
                    "Rated {rated}; which element is the weakest is not said here, because it rests on something withheld."
                )
            }
            _ => format!("Rated {rated}; no element of the path has a known permissible current."),
        }
    }
}

fn counts(causes: &[CauseView], findings: &[Finding]) -> FindingCounts {
    let mut counts = FindingCounts::default();
    for cause in causes {
        match cause.grade {
            Grade::Critical => counts.critical += 1,
            Grade::Major => counts.major += 1,
            Grade::Minor | Grade::Custom => counts.minor += 1,
        }
    }
    for finding in findings {
        match finding.outcome {
            outcome if finding.grade == Grade::Custom => {
                counts.customs += 1;
                counts.customs_short += usize::from(outcome == Outcome::FallsShort);
            }
            Outcome::FallsShort => {}
            Outcome::NotDecided => {
                counts.not_decided += 1;
                counts.grave_not_decided += usize::from(finding.grade.is_grave());
            }
            Outcome::Meets => counts.meets += 1,
        }
    }
    counts
}

/// What each test at full load showed, the gravest first, in the words of its own figures.
fn shown_by_test(inspection: &Inspection) -> Vec<String> {
    let mut shown = Vec::new();
    for finding in inspection.judgement.findings.iter() {
        let Subject::Test(index) = finding.at else { continue };
        let test = inspection.record.test.get(index);
        let full_load = test.is_some_and(|test| test.kind.known() == Some(TestKind::FullLoad));
        let (Some(result), true) = (inspection.bench_tests.get(index), full_load) else { continue };
        let figure = |name: &str| result.figures.iter().find(|figure| figure.name == name).map(|f| f.text());
        let Some(end) = figure("end").filter(|_| finding.grade != Grade::Minor) else { continue };
        let current = figure("mean current").map(|current| format!(" at {current}")).unwrap_or_default();
        let held = figure("time under load").map(|held| format!(" after {held}")).unwrap_or_default();
        let sentence = format!("In a test{current} {end}{held}.");
        if !shown.contains(&sentence) {
            shown.push(sentence);
        }
    }
    shown
}

/// Recorded fields of a part as key and value, in the order of the schema.
pub(crate) fn recorded<P: Part>(part: &P, without: &[&str]) -> Vec<(String, String)> {
    P::SHAPE
        .fields
        .iter()
        .filter(|field| !without.contains(&field.name))
        .filter_map(|field| {
            let found = part.found(field.name)?;
            if found.state == State::NotLooked {
                return None;
            }
            let mut shown = found.show();
            if let Some(how) = found.how {
                shown = match &found.with {
                    Some(with) => format!("{shown} ({}, {with})", how.word()),
                    None => format!("{shown} ({})", how.word()),
                };
            }
            if let Some(note) = &found.note {
                shown = format!("{shown}; {note}");
            }
            Some((crate::units::words::of_fact(field.name), shown))
        })
        .collect()
}

impl IssueView {
    fn of(issue: &Issue) -> Self {
        let shown = |found: &Found| found.value().map(|value| value.show());
        Self { date: shown(issue.date.found()), changed: shown(issue.changed.found()) }
    }
}

fn headline(record: &Record) -> Vec<(String, String)> {
    let claims = &record.claims;
    [
        ("continuous current", claims.continuous_current.found()),
        ("capacity", claims.capacity.found()),
        ("energy", claims.energy.found()),
        ("nominal voltage", claims.nominal_voltage.found()),
    ]
    .into_iter()
    .filter_map(|(name, found)| found.value().map(|value| (name.to_owned(), value.show())))
    .collect()
}

fn path(record: &Record, derived: &Derived, findings: &[Finding]) -> PathView {
    let weakest = match derived.of_pack("path.weakest") {
        Some(Ok(worked)) => match &worked.value {
            Val::Text(label) => Some(label.clone()),
            _ => None,
        },
        _ => None,
    };
    let rated = record.claims.continuous_current.quantity().map(|q| q.value);
    let elements: Vec<ElementView> = (0..record.path.element.len())
        .map(|index| element(record, (derived, findings), index, weakest.as_deref(), rated))
        .collect();
    let permissible_current = Worth::of(derived.of_pack("path.permissible_current"));
    PathView {
        complete: record.path.complete.yes(),
        margin: margin(&permissible_current, rated),
        undecided: elements
            .iter()
            .filter(|e| e.permissible_current.value.is_none())
            .map(|e| e.label.clone())
            .collect(),
        permissible_current,
        weakest,
        currents: told(&CURRENTS, |name| derived.of_pack(name)),
        resistance: Worth::of(derived.of_pack("path.resistance")),
        drop: Worth::of(derived.of_pack("path.drop")),
        heat: Worth::of(derived.of_pack("path.heat")),
        short_circuit_current: Worth::of(derived.of_pack("path.short_circuit_current")),
        use_not_recorded: use_not_recorded(record),
        fuse_rating: Worth::of(derived.of_pack("path.overcurrent_rating")),
        elements,
    }
}

fn told<'a>(facts: &[(&str, &str)], answer: impl Fn(&str) -> Option<&'a Answer>) -> Vec<Told> {
    if facts.iter().all(|(_, name)| answer(name).is_none()) {
        return Vec::new();
    }
    facts.iter().map(|(of, name)| Told { of: (*of).to_owned(), worth: Worth::of(answer(name)) }).collect()
}

/// Which use the record says nothing of.
fn use_not_recorded(record: &Record) -> String {
    let claims = [(&record.claims.max_in_series, "series"), (&record.claims.max_in_parallel, "parallel")];
    let open = |found: &Found| matches!(found.state(), State::NotLooked | State::NotVisible);
    let uses: Vec<&str> =
        claims.iter().filter(|(claim, _)| open(claim.found())).map(|(_, word)| *word).collect();
    if uses.is_empty() {
        return String::new();
    }
    format!(
        " Nothing is recorded about packs in {}: the protection is not judged for such use.",
        list(&uses, "or")
    )
}

fn margin(permissible_current: &Worth, rated: Option<f64>) -> Option<String> {
    let (si, rated) = permissible_current.si.zip(rated).filter(|(_, rated)| *rated > 0.0)?;
    let expanded = permissible_current.expanded_si.unwrap_or_default();
    Some(show_difference(si - rated, expanded, Dimension::CURRENT, Some(rated)))
}

fn element(
    record: &Record,
    (derived, findings): (&Derived, &[Finding]),
    index: usize,
    weakest: Option<&str>,
    rated: Option<f64>,
) -> ElementView {
    let default = Element::default();
    let element = record.path.element.get(index).unwrap_or(&default);
    let worth = |name: &str| Worth::of(derived.of_element(index, name));
    let label = element_label(record, index);
    let mut places = PlaceView::all(derived, findings, index).into_iter();
    let place = places.next().unwrap_or_default();
    let permissible_current = worth("element.permissible_current");
    let id = element.id.text().unwrap_or_default().to_owned();
    let mut photos = element.own.photos.clone();
    for index in derived.photos_of(&id) {
        let Some(file) = record.photo.get(*index).and_then(|photo| photo.file.text()) else { continue };
        let name = file.rsplit('/').next().unwrap_or(file);
        if !photos.iter().any(|known| known == name) {
            photos.push(name.to_owned());
        }
    }
    ElementView {
        kind: element.kind.word().unwrap_or_default().to_owned(),
        leg: element.leg.word().unwrap_or_default().to_owned(),
        called: match element.name.text() {
            Some(name) if !name.is_empty() => name.to_owned(),
            _ => called(element.kind.word().unwrap_or_default(), &id),
        },
        name: element.name.text().unwrap_or_default().to_owned(),
        found: recorded(element, &["id", "kind", "leg", "name"]),
        margin: margin(&permissible_current, rated),
        resistance: worth("element.resistance_found"),
        drop: worth("element.drop_at_rated"),
        heat: worth("element.heat"),
        temperatures: told(&TEMPERATURES, |name| derived.of_element(index, name)),
        responds_to: worth("element.responds_to").value,
        glyph: glyph(record, element),
        fuse_rating_si: element.rating.quantity().map(|q| q.value),
        weakest: weakest == Some(label.as_str()),
        photos,
        place,
        further_places: places.collect(),
        video: element.own.video.clone(),
        note: element.own.note.clone(),
        permissible_current,
        label,
        id,
    }
}

/// What an element looks like, with the sizes that are recorded.
fn glyph(record: &Record, element: &Element) -> Glyph {
    let mm = |metres: f64| 1e3 * metres;
    let form = match element.kind() {
        Some(ElementKind::Terminal) => Form::Terminal,
        Some(ElementKind::Joint | ElementKind::Connector) => Form::Joint,
        Some(ElementKind::Fuse) => Form::Fuse,
        Some(ElementKind::CircuitBreaker | ElementKind::ThermalCutoff | ElementKind::Contactor) => {
            Form::Switch
        }
        Some(ElementKind::Shunt) => Form::Shunt,
        Some(ElementKind::Bms) => Form::Board,
        Some(ElementKind::CellStack) => Form::Cells(record.cells.series.count().unwrap_or(1)),
        Some(ElementKind::Busbar | ElementKind::Cable) | None => Form::Conductor,
    };
    let flat = match element.section.found().value() {
        Some(Value::Section([width, thickness])) => Some(Section::Flat(mm(width.value), mm(thickness.value))),
        _ => None,
    };
    let round = element.size.quantity().map(|area| Section::Round(mm((4.0 * area.value / PI).sqrt())));
    Glyph {
        form,
        length: element.length.quantity().map(|length| mm(length.value)),
        section: flat.or(round),
        ..Glyph::default()
    }
}
