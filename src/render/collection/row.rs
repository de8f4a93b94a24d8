//! What is kept of a judged inspection: a row for the table, its findings and its path elements. Everything else is
//! let go as soon as its page is written, so that ten thousand inspections fit into memory.

use serde::{Deserialize, Serialize};

use crate::judge::facts::{Answer, Missing};
use crate::judge::inspection::Inspection;
use crate::judge::rules::{Finding, Grade, Outcome};
use crate::render::write_up::{ElementView, View, Worth};
use crate::units::price::Price;

const COULOMBS_PER_AMPERE_HOUR: f64 = 3600.0;
const JOULES_PER_WATT_HOUR: f64 = 3600.0;
const MILLI: f64 = 1e3;

/// An inspection in the table. SI values are already in the units that the columns name.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
#[allow(missing_docs)] // What each field is stands beside its column, in `tables`.
pub struct PackRow {
    #[serde(skip)]
    pub folder: String,
    #[serde(skip)]
    pub problem: Option<String>,
    #[serde(skip)]
    pub page: Option<String>,
    pub rules: Option<String>,
    pub title: Option<String>,
    pub maker: Option<String>,
    pub model: Option<String>,
    pub revision: Option<String>,
    pub kind: Option<String>,
    pub invented: Option<bool>,
    pub date: Option<String>,
    pub chemistry: Option<String>,
    pub cell_format: Option<String>,
    pub series: Option<u32>,
    pub parallel: Option<u32>,
    pub nominal_voltage: Option<f64>,
    pub rated_current: Option<f64>,
    pub weakest: Option<String>,
    pub permissible_current: Option<f64>,
    pub permissible_current_expanded: Option<f64>,
    pub margin: Option<f64>,
    pub margin_percent: Option<f64>,
    pub margin_bound: Option<bool>,
    pub elements: Option<u32>,
    pub elements_not_known: Option<u32>,
    pub path_complete: Option<bool>,
    pub resistance: Option<f64>,
    pub heat: Option<f64>,
    pub short_circuit: Option<f64>,
    pub fuse_kind: Option<String>,
    pub fuse_rating: Option<f64>,
    pub thermal_cutoffs: Option<u32>,
    pub claimed_capacity: Option<f64>,
    pub measured_capacity: Option<f64>,
    pub measured_capacity_expanded: Option<f64>,
    pub measured_share: Option<f64>,
    pub capacity_at_least: Option<f64>,
    pub claimed_energy: Option<f64>,
    pub measured_energy: Option<f64>,
    pub mass: Option<f64>,
    pub mass_is_claimed: Option<bool>,
    pub claimed_specific: Option<f64>,
    pub measured_specific: Option<f64>,
    pub price: Option<String>,
    pub price_amount: Option<f64>,
    pub price_currency: Option<String>,
    pub price_per_claimed_wh: Option<f64>,
    pub price_per_measured_wh: Option<f64>,
    pub critical: Option<u32>,
    pub major: Option<u32>,
    pub minor: Option<u32>,
    pub not_decided: Option<u32>,
    pub grave_not_decided: Option<u32>,
    pub meets: Option<u32>,
    pub customs_short: Option<u32>,
    pub not_applied: Option<u32>,
    pub verdict: Option<String>,
}

/// A finding in the table of findings.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(from = "FindingTuple", into = "FindingTuple")]
pub struct FindingRow {
    /// Rules beside the built-in ones.
    pub rules: Option<String>,
    /// Id of the rule.
    pub rule: String,
    /// The part it is about.
    pub part: String,
    /// What it was applied to.
    pub subject: String,
    /// Grade of the rule.
    pub grade: Grade,
    /// Outcome.
    pub outcome: Outcome,
    /// True where it rests on a claim.
    pub rests_on_claims: bool,
    /// What is missing.
    pub missing: String,
}

/// A finding as the cache keeps it: short, because there are a hundred of them in each inspection.
type FindingTuple = (Option<String>, String, String, String, u8, u8, bool, String);

impl From<FindingRow> for FindingTuple {
    fn from(row: FindingRow) -> Self {
        let grade = Grade::ALL.iter().position(|grade| *grade == row.grade).unwrap_or(0);
        let outcome = OUTCOMES.iter().position(|outcome| *outcome == row.outcome).unwrap_or(0);
        #[expect(clippy::cast_possible_truncation, reason = "an index into three or four")]
        let (grade, outcome) = (grade as u8, outcome as u8);
        (row.rules, row.rule, row.part, row.subject, grade, outcome, row.rests_on_claims, row.missing)
    }
}

impl From<FindingTuple> for FindingRow {
    fn from(tuple: FindingTuple) -> Self {
        let (rules, rule, part, subject, grade, outcome, rests_on_claims, missing) = tuple;
        let grade = Grade::ALL.get(usize::from(grade)).copied().unwrap_or(Grade::Critical);
        let outcome = OUTCOMES.get(usize::from(outcome)).copied().unwrap_or(Outcome::NotDecided);
        Self { rules, rule, part, subject, grade, outcome, rests_on_claims, missing }
    }
}

const OUTCOMES: [Outcome; 3] = [Outcome::FallsShort, Outcome::NotDecided, Outcome::Meets];

/// An element in the table of path elements.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
#[allow(missing_docs)] // What each field is stands beside its column, in `tables`.
pub struct ElementRow {
    pub rules: Option<String>,
    pub position: u32,
    pub element: Option<String>,
    pub kind: Option<String>,
    pub leg: Option<String>,
    pub weakest: bool,
    pub permissible_current: Option<f64>,
    pub permissible_current_expanded: Option<f64>,
    pub margin_percent: Option<f64>,
    pub resistance: Option<f64>,
    pub drop: Option<f64>,
    pub heat: Option<f64>,
    pub responds_to: Option<String>,
    pub fuse_kind: Option<String>,
    pub fuse_rating: Option<f64>,
    pub missing: Option<String>,
}

/// Everything that is kept of an inspection.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct PackEntry {
    /// Its row.
    pub row: PackRow,
    /// Its findings.
    pub findings: Vec<FindingRow>,
    /// Its path elements.
    pub elements: Vec<ElementRow>,
}

impl PackEntry {
    /// What is kept of an inspection.
    #[must_use]
    pub fn of(inspection: &Inspection, view: &View) -> Self {
        let rules = some(&view.rules_told());
        let elements: Vec<ElementRow> = view
            .path
            .elements
            .iter()
            .enumerate()
            .map(|(index, element)| ElementRow {
                rules: rules.clone(),
                ..element_row(inspection, index, element, view.rated_current_si)
            })
            .collect();
        Self {
            row: pack_row(inspection, view, &elements),
            findings: view.findings.iter().map(|finding| finding_row(finding, rules.as_deref())).collect(),
            elements,
        }
    }
}

fn number(count: usize) -> Option<u32> {
    u32::try_from(count).ok()
}

fn some(text: &str) -> Option<String> {
    (!text.is_empty()).then(|| text.to_owned())
}

fn percent(part: Option<f64>, whole: Option<f64>) -> Option<f64> {
    over(part, whole).map(|ratio| 100.0 * ratio)
}

fn over(part: Option<f64>, whole: Option<f64>) -> Option<f64> {
    part.zip(whole).filter(|(_, whole)| *whole > 0.0).map(|(part, whole)| part / whole)
}

fn words(missing: &[Missing]) -> String {
    let words: Vec<&str> = missing.iter().map(|missing| missing.what.as_str()).collect();
    words.join("; ")
}

fn finding_row(finding: &Finding, rules: Option<&str>) -> FindingRow {
    FindingRow {
        rules: rules.map(str::to_owned),
        rule: finding.rule.clone(),
        part: finding.part.clone(),
        subject: finding.subject.clone(),
        grade: finding.grade,
        outcome: finding.outcome,
        rests_on_claims: finding.rests_on_claims,
        missing: words(&finding.missing),
    }
}

fn element_row(inspection: &Inspection, index: usize, view: &ElementView, rated: Option<f64>) -> ElementRow {
    let recorded = inspection.record.path.element.get(index);
    let milli = |worth: &Worth| worth.si.map(|si| si * MILLI);
    ElementRow {
        rules: None,
        position: number(index + 1).unwrap_or(u32::MAX),
        element: some(&view.id),
        kind: some(&view.kind),
        leg: some(&view.leg),
        weakest: view.weakest,
        permissible_current: view.permissible_current.si,
        permissible_current_expanded: view.permissible_current.expanded_si,
        margin_percent: percent(view.permissible_current.si.zip(rated).map(|(c, r)| c - r), rated),
        resistance: milli(&view.resistance),
        drop: milli(&view.drop),
        heat: view.heat.si,
        responds_to: view.responds_to.clone(),
        fuse_kind: recorded.and_then(|element| element.fuse.word()).map(str::to_owned),
        fuse_rating: view.fuse_rating_si,
        missing: some(&words(&view.permissible_current.missing)),
    }
}

fn pack_row(inspection: &Inspection, view: &View, elements: &[ElementRow]) -> PackRow {
    let record = &inspection.record;
    let (head, claims, cells) = (&record.inspection, &record.claims, &record.cells);
    let text = |text: Option<&str>| text.and_then(some);
    let capacity = Capacity::of(inspection);
    let claimed_capacity = claims.capacity.quantity().map(|q| q.value / COULOMBS_PER_AMPERE_HOUR);
    let claimed_energy = claims.energy.quantity().map(|q| q.value / JOULES_PER_WATT_HOUR);
    let found_mass = head.mass.quantity();
    let mass = found_mass.or_else(|| claims.mass.quantity());
    let mass_kg = mass.map(|q| q.value);
    let price = head.price.text().and_then(Price::read);
    let amount = price.as_ref().map(|price| price.amount);
    let counts = view.counts;
    let rated = view.rated_current_si;
    let margin = view
        .path
        .permissible_current
        .si
        .zip(rated)
        .map(|(permissible_current, rated)| permissible_current - rated);
    let open = view.path.undecided.len();
    PackRow {
        folder: String::new(),
        problem: None,
        page: None,
        rules: some(&view.rules_told()),
        title: some(&view.title),
        maker: text(head.maker.text()),
        model: text(head.model.text()),
        revision: text(head.revision.text()),
        kind: text(head.kind.word()),
        invented: Some(view.invented),
        date: head.date.date().map(|date| date.to_string()),
        chemistry: text(cells.chemistry.word()),
        cell_format: text(cells.format.word()),
        series: cells.series.count(),
        parallel: cells.parallel.count(),
        nominal_voltage: claims.nominal_voltage.quantity().map(|q| q.value),
        rated_current: rated,
        weakest: view.path.weakest.clone(),
        permissible_current: view.path.permissible_current.si,
        permissible_current_expanded: view.path.permissible_current.expanded_si,
        margin,
        margin_percent: percent(margin, rated),
        margin_bound: margin.map(|_| open > 0 || view.path.complete != Some(true)),
        elements: number(elements.len()),
        elements_not_known: number(open),
        path_complete: view.path.complete,
        resistance: view.path.resistance.si.map(|si| si * MILLI),
        heat: view.path.heat.si,
        short_circuit: view.path.short_circuit_current.si,
        fuse_kind: fuse_kinds(inspection, elements),
        fuse_rating: view.path.fuse_rating.si,
        thermal_cutoffs: number(
            elements.iter().filter(|e| e.kind.as_deref() == Some("thermal-cutoff")).count(),
        ),
        measured_capacity: capacity.whole,
        measured_capacity_expanded: capacity.expanded,
        measured_share: percent(capacity.whole, claimed_capacity),
        capacity_at_least: capacity.at_least,
        claimed_capacity,
        measured_energy: capacity.energy,
        mass: mass_kg,
        mass_is_claimed: mass.map(|_| found_mass.is_none()),
        claimed_specific: specific_energy(inspection),
        measured_specific: over(capacity.energy, mass_kg),
        price: text(head.price.text()),
        price_amount: amount,
        price_currency: price.map(|price| price.currency),
        price_per_claimed_wh: over(amount, claimed_energy),
        price_per_measured_wh: over(amount, capacity.energy),
        claimed_energy,
        critical: number(counts.critical),
        major: number(counts.major),
        minor: number(counts.minor),
        not_decided: number(counts.not_decided),
        grave_not_decided: number(counts.grave_not_decided),
        meets: number(counts.meets),
        customs_short: number(counts.customs_short),
        not_applied: number(view.not_applied.len()),
        verdict: Some(view.verdict()),
    }
}

fn specific_energy(inspection: &Inspection) -> Option<f64> {
    let worked = inspection.derived.of_pack("pack.specific_energy")?.as_ref().ok()?;
    worked.value.amount().map(|amount| amount.value() / JOULES_PER_WATT_HOUR)
}

/// Kinds of the elements that respond to current; `none` only where the list is complete and holds none.
fn fuse_kinds(inspection: &Inspection, elements: &[ElementRow]) -> Option<String> {
    let mut kinds: Vec<&str> = Vec::new();
    for element in elements.iter().filter(|element| element.responds_to.as_deref() == Some("current")) {
        let kind = element.fuse_kind.as_deref().or(element.kind.as_deref()).unwrap_or_default();
        if !kinds.contains(&kind) {
            kinds.push(kind);
        }
    }
    if !kinds.is_empty() {
        return Some(kinds.join("; "));
    }
    let fuses = inspection.derived.of_pack("path.overcurrent_devices")?.as_ref().ok()?;
    fuses.value.amount().filter(|amount| amount.value() == 0.0).map(|_| "none".to_owned())
}

/// What the capacity tests of a record show.
#[derive(Default)]
struct Capacity {
    whole: Option<f64>,
    expanded: Option<f64>,
    energy: Option<f64>,
    at_least: Option<f64>,
}

impl Capacity {
    fn of(inspection: &Inspection) -> Self {
        let mut found = Self::default();
        for index in 0..inspection.record.test.len() {
            let Some(Ok(worked)) = inspection.derived.of_test(index, "test.capacity_found") else { continue };
            let Some(amount) = worked.value.amount() else { continue };
            let value = amount.value() / COULOMBS_PER_AMPERE_HOUR;
            if worked.bound.is_some() {
                found.at_least = Some(found.at_least.map_or(value, |least: f64| least.max(value)));
            } else if found.whole.is_none_or(|whole| value > whole) {
                let expanded = amount.number.expanded() / COULOMBS_PER_AMPERE_HOUR;
                found.whole = Some(value);
                found.expanded = (!amount.number.is_exact()).then_some(expanded);
                found.energy = energy(inspection.derived.of_test(index, "test.energy_found"));
            }
        }
        found
    }
}

fn energy(answer: Option<&Answer>) -> Option<f64> {
    let worked = answer?.as_ref().ok().filter(|worked| worked.bound.is_none())?;
    worked.value.amount().map(|amount| amount.value() / JOULES_PER_WATT_HOUR)
}
