//! What is kept of a judged inspection: a row for the table, its findings and its path elements. Everything else is
//! let go as soon as its page is written, so that ten thousand inspections fit into memory.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::tables::{ElementRow, FindingRow, PackRow};
use crate::judge::facts::{Answer, Missing};
use crate::judge::inspection::Inspection;
use crate::judge::rules::{Cause, Finding, Judgement};
use crate::render::write_up::{AnswerView, ElementView, View, Worth};
use crate::units::price::Price;

const COULOMBS_PER_AMPERE_HOUR: f64 = 3600.0;
const JOULES_PER_WATT_HOUR: f64 = 3600.0;
const MILLI: f64 = 1e3;

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

/// A cause, and how many packs it falls short in.
#[derive(Debug, Clone, Default, Serialize)]
pub struct CommonCause {
    /// What is said of a pack.
    pub said: String,
    /// The packs.
    pub packs: usize,
    /// Whether it is critical or major in one of them.
    pub grave: bool,
}

impl PackEntry {
    /// What is kept of an inspection.
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
            findings: finding_rows(&inspection.judgement, rules.as_deref()),
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

fn finding_rows(judgement: &Judgement, rules: Option<&str>) -> Vec<FindingRow> {
    let causes: BTreeMap<usize, &Cause> = judgement
        .causes
        .iter()
        .flat_map(|cause| cause.findings.iter().map(move |index| (*index, cause)))
        .collect();
    let rows = judgement.findings.iter().enumerate();
    rows.map(|(index, finding)| finding_row(finding, causes.get(&index).copied(), rules)).collect()
}

fn finding_row(finding: &Finding, cause: Option<&Cause>, rules: Option<&str>) -> FindingRow {
    FindingRow {
        rules: rules.map(str::to_owned),
        rule: finding.rule.clone(),
        cause: cause.map(|cause| cause.id.clone()),
        said: cause.map(|cause| cause.statement.clone()),
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
        element_kind: some(&view.kind),
        leg: some(&view.leg),
        weakest: view.weakest,
        permissible_current_a: view.permissible_current.si,
        permissible_current_expanded_a: view.permissible_current.expanded_si,
        margin_percent: percent(view.permissible_current.si.zip(rated).map(|(c, r)| c - r), rated),
        resistance_mohm: milli(&view.resistance),
        drop_mv: milli(&view.drop),
        heat_w: view.heat.si,
        responds_to: view.responds_to.clone(),
        fuse_kind: recorded.and_then(|element| element.fuse.word()).map(str::to_owned),
        fuse_rating_a: view.fuse_rating_si,
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
        rules: some(&view.rules_told()),
        from_write_up: Some(false),
        title: some(&view.title),
        maker: text(head.maker.text()),
        model: text(head.model.text()),
        revision: text(head.revision.text()),
        pack_kind: text(head.kind.word()),
        invented: Some(view.invented),
        date: head.date.date(),
        chemistry: text(cells.chemistry.word()),
        cell_format: text(cells.format.word()),
        series: cells.series.count(),
        parallel: cells.parallel.count(),
        nominal_voltage_v: claims.nominal_voltage.quantity().map(|q| q.value),
        rated_current_a: rated,
        weakest_element: view.path.weakest.clone(),
        weakest_permissible_current_a: view.path.permissible_current.si,
        weakest_permissible_current_expanded_a: view.path.permissible_current.expanded_si,
        margin_a: margin,
        margin_percent: percent(margin, rated),
        margin_is_upper_bound: margin.map(|_| open > 0 || view.path.complete != Some(true)),
        elements: number(elements.len()),
        elements_not_known: number(open),
        path_complete: view.path.complete,
        path_resistance_mohm: view.path.resistance.si.map(|si| si * MILLI),
        path_heat_w: view.path.heat.si,
        short_circuit_current_a: view.path.short_circuit_current.si,
        fuse_kind: fuse_kinds(inspection, elements),
        fuse_rating_a: view.path.fuse_rating.si,
        thermal_cutoffs: number(
            elements.iter().filter(|e| e.element_kind.as_deref() == Some("thermal-cutoff")).count(),
        ),
        measured_capacity_ah: capacity.whole,
        measured_capacity_expanded_ah: capacity.expanded,
        measured_share_percent: percent(capacity.whole, claimed_capacity),
        capacity_at_least_ah: capacity.at_least,
        claimed_capacity_ah: claimed_capacity,
        measured_energy_wh: capacity.energy,
        mass_kg,
        mass_is_claimed: mass.map(|_| found_mass.is_none()),
        claimed_wh_per_kg: specific_energy(inspection),
        measured_wh_per_kg: over(capacity.energy, mass_kg),
        price: text(head.price.text()),
        price_amount: amount,
        price_currency: price.map(|price| price.currency),
        price_per_claimed_wh: over(amount, claimed_energy),
        price_per_measured_wh: over(amount, capacity.energy),
        claimed_energy_wh: claimed_energy,
        holds: outcome(&view.answers, 1),
        protection: outcome(&view.answers, 3),
        gravest: view.causes.first().map(|cause| view.by_name(&cause.line())),
        critical: number(counts.critical),
        major: number(counts.major),
        minor: number(counts.minor),
        not_decided: number(counts.not_decided),
        grave_not_decided: number(counts.grave_not_decided),
        meets: number(counts.meets),
        customs_short: number(counts.customs_short),
        not_applied: number(view.not_applied.len()),
        verdict: Some(view.verdict()),
        // Where it lies, and how it stands against its seal.
        ..PackRow::default()
    }
}

/// What the rules say to one of a reader's first questions.
fn outcome(answers: &[AnswerView], question: usize) -> Option<String> {
    answers.get(question)?.outcome.map(|outcome| outcome.words().to_owned())
}

fn specific_energy(inspection: &Inspection) -> Option<f64> {
    let worked = inspection.derived.of_pack("pack.specific_energy")?.as_ref().ok()?;
    worked.value.amount().map(|amount| amount.value() / JOULES_PER_WATT_HOUR)
}

/// Kinds of the elements that respond to current; `none` only where the list is complete and holds none.
fn fuse_kinds(inspection: &Inspection, elements: &[ElementRow]) -> Option<String> {
    let mut kinds: Vec<&str> = Vec::new();
    for element in elements.iter().filter(|element| element.responds_to.as_deref() == Some("current")) {
        let kind = element.fuse_kind.as_deref().or(element.element_kind.as_deref()).unwrap_or_default();
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
