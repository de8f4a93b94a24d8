//! Makes the inspection that outputs for others get: fields taken out before anything is judged, what would be another
//! value or finding without them not decided, texts replaced, photos and parts renamed.

use std::collections::BTreeMap;

use super::field::FieldRef;
use super::fold::Wanted;
use super::plan::Plan;
use super::{SHORTEST_VALUE, Withheld, program_says};
use crate::judge::bench_test::{TestResult, results};
use crate::judge::facts::{Derived, Missing, Reason, Val};
use crate::judge::inspection::Inspection;
use crate::judge::rules::{Finding, Judgement, Outcome};
use crate::record::field::WITHHELD;
use crate::record::parts::Withhold;
use crate::record::{AnyPart, Found, Record, State, Value};

/// The inspection without what its record withholds.
pub(crate) fn publish(inspection: Inspection, plan: &Plan) -> Inspection {
    if plan.is_empty() {
        return inspection;
    }
    let mut withheld = Withheld::default();
    texts_of(plan, &inspection.record, &mut withheld);
    withheld.areas.clone_from(&plan.areas);

    // The same record under the names that are published, so that what is worked out from both can be compared.
    let names = Names::of(&inspection.record, plan, &withheld);
    let mut hidden = inspection.record.clone();
    for (_, field) in &plan.fields {
        field.each(&mut hidden, &mut |part| withhold(part, field));
    }
    names.rename(&mut hidden);
    let truth = if names.parts.is_empty() && names.photos.is_empty() {
        (inspection.bench_tests, inspection.derived, inspection.judgement)
    } else {
        let mut record = inspection.record.clone();
        names.rename(&mut record);
        crate::judge::inspection::worked_out(&inspection.folder, &record, &inspection.book)
    };
    let (true_results, true_derived, true_judgement) = truth;

    let limits = inspection.book.limit_amounts();
    let with_logs = hidden_but_logs(&hidden, &inspection.record);
    let mut bench_tests = results(&inspection.folder, &with_logs, &limits);
    let facts = bench_tests.iter().map(|result| result.facts.clone()).collect();
    let mut derived = Derived::with_tests(&hidden, &limits, facts);
    derived.withhold_differences(&true_derived);
    let mut judgement = crate::judge::rules::judge(&hidden, &derived, &inspection.book);
    let findings = withhold_findings(&mut judgement, &true_judgement);
    for (index, result) in bench_tests.iter_mut().enumerate() {
        withhold_figures(result, true_results.get(index), plan);
        derived.facts_of_test(index).clone_into(&mut result.facts);
    }

    withheld.record(&mut hidden);
    bench_tests.iter_mut().for_each(|result| withheld.test_result(result));
    withheld.derived(&mut derived);
    withheld.judgement(&mut judgement);
    hidden.withhold = Withhold::default();

    withheld.to_look_at = to_look_at(&inspection.record, plan, &names);
    withheld.originals = names.photos.iter().map(|(original, new)| (new.clone(), original.clone())).collect();
    withheld.summary = super::Summary {
        fields: plan.fields.iter().map(|(key, _)| withheld.apply(key)).collect(),
        texts: plan.texts.len(),
        areas: plan.areas.iter().map(|(photo, areas)| (withheld.published(photo), areas.len())).collect(),
        renamed_photos: names.photos.len(),
        findings,
    };
    let (folder, book) = (inspection.folder, inspection.book);
    Inspection {
        folder,
        text: String::new(),
        record: hidden,
        book,
        bench_tests,
        derived,
        judgement,
        withheld,
    }
}

/// Literal texts, and the values of named fields that are worth searching.
fn texts_of(plan: &Plan, record: &Record, withheld: &mut Withheld) {
    for (number, text) in plan.texts.iter().enumerate() {
        withheld.withhold(text, format!("text {} of `[withhold] texts`", number + 1));
    }
    let mut record = record.clone();
    let mut found: Vec<(&str, String)> = Vec::new();
    for (key, field) in &plan.fields {
        field.each(&mut record, &mut |part| {
            found.extend(values_of(part, field.field).into_iter().map(|value| (key.as_str(), value)));
        });
    }
    let values: Vec<String> = found.iter().map(|(_, value)| value.clone()).collect();
    let own = program_says(&values);
    for (key, value) in found {
        if Wanted::of(&value).letters() >= SHORTEST_VALUE && !own.contains(&value) {
            withheld.withhold(&value, format!("the value of `{key}`"));
        }
    }
    // A key may itself hold what is withheld: the id of the part it chooses.
    withheld.which = withheld.which.iter().map(|which| withheld.apply(which)).collect();
}

/// The texts of a field: its value, and a remark on it.
fn values_of(part: &mut dyn AnyPart, key: &str) -> Vec<String> {
    if let Some(found) = part.field(key) {
        let values = match found.value() {
            Some(Value::Text(text)) => vec![text.clone()],
            Some(Value::Date(date)) => vec![date.to_string()],
            Some(Value::List(items)) => items.clone(),
            _ => Vec::new(),
        };
        return values.into_iter().chain(found.note.clone()).collect();
    }
    let own = part.own_of();
    match key {
        "note" => own.note.iter().cloned().collect(),
        "video" => own.video.iter().cloned().collect(),
        "with" => own.with.iter().cloned().collect(),
        "photos" => own.photos.clone(),
        _ => Vec::new(),
    }
}

/// Takes the value of a field out of a part. An id and a photo's file are renamed instead, see [`Names`].
fn withhold(part: &mut dyn AnyPart, field: &FieldRef) {
    if field.is_name() {
        return;
    }
    if let Some(found) = part.field_mut(field.field) {
        if found.state != State::NotLooked {
            found.state = State::Withheld;
            found.note = None;
        }
        return;
    }
    let own = part.own_of();
    match field.field {
        "note" if own.note.is_some() => own.note = Some(WITHHELD.to_owned()),
        "video" => own.video = None,
        "with" => own.with = None,
        "photos" => own.photos.clear(),
        _ => {}
    }
}

/// Listed photos that a withheld field, or the part that holds it, names, and that have no area; by published name.
fn to_look_at(record: &Record, plan: &Plan, names: &Names) -> Vec<String> {
    let mut copy = record.clone();
    let mut named: Vec<String> = Vec::new();
    for (_, field) in &plan.fields {
        field.each(&mut copy, &mut |part| {
            named.extend(part.field(field.field).into_iter().flat_map(|found| found.photos.clone()));
            named.extend(part.own_of().photos.iter().cloned());
        });
    }
    let mut shown: Vec<String> = record
        .photo
        .iter()
        .filter_map(|photo| photo.file.text())
        .filter(|file| named.iter().any(|name| name == file || file.rsplit('/').next() == Some(name)))
        .filter(|file| !plan.areas.contains_key(*file))
        .map(|file| names.photos.get(file).cloned().unwrap_or_else(|| file.to_owned()))
        .collect();
    shown.dedup();
    shown
}

/// Logs are read from where they are, also when their name is withheld.
fn hidden_but_logs(hidden: &Record, record: &Record) -> Record {
    let mut with_logs = hidden.clone();
    for (test, original) in with_logs.test.iter_mut().zip(&record.test) {
        *test.log.found_mut() = original.log.found().clone();
        for (branch, original) in test.branch.iter_mut().zip(&original.branch) {
            *branch.log.found_mut() = original.log.found().clone();
        }
    }
    with_logs
}

/// New names for parts and photos whose own name must not appear.
#[derive(Default)]
struct Names {
    /// Kind of part and id, and the new id.
    parts: BTreeMap<(&'static str, String), String>,
    /// A photo's file, and its new name.
    photos: BTreeMap<String, String>,
}

impl Names {
    fn of(record: &Record, plan: &Plan, withheld: &Withheld) -> Self {
        let mut names = Self::default();
        let mut copy = record.clone();
        let mut named: Vec<String> = Vec::new();
        for (_, field) in plan.fields.iter().filter(|(_, field)| field.is_name()) {
            field.each(&mut copy, &mut |part| named.extend(part.field(field.field).map(Found::show)));
        }
        let withheld = |name: &str| named.iter().any(|known| known == name) || withheld.concerns(name);
        names.collect(&mut copy, &withheld);
        names
    }

    fn collect(&mut self, part: &mut dyn AnyPart, withheld: &dyn Fn(&str) -> bool) {
        for inner in part.parts_inside() {
            let number = inner.index.map_or(1, |index| index + 1);
            if let Some(Value::Text(id)) = inner.part.field("id").and_then(Found::value)
                && withheld(id)
            {
                let key = (inner.name, id.clone());
                // Elements of the pack, of the rig and of its loads are numbered each for themselves.
                let taken =
                    |name: &String| self.parts.iter().any(|(known, new)| *known != key && new == name);
                let new =
                    (number..).map(|number| format!("{}-{number}", inner.name)).find(|name| !taken(name));
                self.parts.insert(key, new.unwrap_or_default());
            }
            if let ("photo", Some(Value::Text(file))) =
                (inner.name, inner.part.field("file").and_then(Found::value))
                && withheld(file)
            {
                self.photos.insert(file.clone(), neutral(file, number));
            }
            self.collect(inner.part, withheld);
        }
    }

    fn rename(&self, record: &mut Record) {
        if !(self.parts.is_empty() && self.photos.is_empty()) {
            self.rename_in("", record);
        }
    }

    fn rename_in(&self, name: &'static str, part: &mut dyn AnyPart) {
        let own = part.own_of();
        self.references("instrument", own.with.iter_mut());
        self.photo_names(&mut own.photos);
        for field in part.shape().fields {
            let Some(found) = part.field_mut(field.name) else { continue };
            self.references("instrument", found.with.iter_mut());
            self.photo_names(&mut found.photos);
            match (&mut found.state, field.name) {
                (State::Known(Value::Text(id)), "id") => {
                    if let Some(new) = self.parts.get(&(name, id.clone())) {
                        id.clone_from(new);
                    }
                }
                (State::Known(Value::Text(id)), "of" | "part") => self.references("element", [id]),
                (State::Known(Value::Text(id)), "instrument") => self.references("instrument", [id]),
                (State::Known(Value::Text(id)), "load") => self.references("load", [id]),
                (State::Known(Value::Text(id)), "capacity_test") => self.references("test", [id]),
                (State::Known(Value::Text(file)), "file") if name == "photo" => {
                    self.photo_names(std::slice::from_mut(file));
                }
                (State::Known(Value::List(shows)), "shows") => self.references("element", shows),
                _ => {}
            }
        }
        for inner in part.parts_inside() {
            self.rename_in(inner.name, inner.part);
        }
    }

    /// Renames what refers to a part by its id; several instruments stand in one text, parted by commas.
    fn references<'a>(&self, kind: &'static str, texts: impl IntoIterator<Item = &'a mut String>) {
        for text in texts {
            let renamed: Vec<String> = text
                .split(',')
                .map(str::trim)
                .map(|id| self.parts.get(&(kind, id.to_owned())).cloned().unwrap_or_else(|| id.to_owned()))
                .collect();
            let renamed = renamed.join(", ");
            if renamed != *text {
                *text = renamed;
            }
        }
    }

    /// Photos are named by their file, or by its last part.
    fn photo_names(&self, files: &mut [String]) {
        for file in files {
            let last = |path: &str| path.rsplit('/').next().unwrap_or(path).to_owned();
            if let Some(new) = self.photos.get(file) {
                file.clone_from(new);
            } else if let Some((_, new)) = self.photos.iter().find(|(known, _)| last(known) == *file) {
                *file = last(new);
            }
        }
    }
}

/// A name that says no more than which photo it is and what kind of file.
fn neutral(file: &str, number: usize) -> String {
    let extension = file
        .rsplit_once('.')
        .map(|(_, extension)| extension.to_ascii_lowercase())
        .filter(|extension| {
            (1..=4).contains(&extension.len()) && extension.bytes().all(|b| b.is_ascii_alphanumeric())
        })
        .map_or_else(String::new, |extension| format!(".{extension}"));
    format!("photos/renamed-{number}{extension}")
}

impl FieldRef {
    /// True for a field that is renamed rather than taken out, because other parts refer to it.
    fn is_name(&self) -> bool {
        matches!(self.field, "id" | "file")
    }
}

/// Figures of a test that would be others, were nothing withheld.
fn withhold_figures(result: &mut TestResult, truth: Option<&TestResult>, plan: &Plan) {
    let Some(truth) = truth else { return };
    for figure in &mut result.figures {
        if !truth.figures.contains(figure) {
            figure.value = Val::Text(format!("{WITHHELD}: {}", Missing::withheld().what));
            figure.note.clear();
        }
    }
    // A log that is read without a withheld setting may be read wrongly.
    result.curves.retain(|curve| {
        truth.curves.iter().any(|known| known.name == curve.name && known.series == curve.series)
    });
    for (told, truth) in [(&mut result.layout, &truth.layout), (&mut result.account, &truth.account)] {
        if told != truth {
            *told = told.is_some().then(|| WITHHELD.to_owned());
        }
    }
    // The words for what is missing do not know that it is there.
    if let Some(problem) = &mut result.problem {
        for (key, _) in &plan.fields {
            *problem = problem.replace(&format!("`{key}` is not recorded"), &format!("`{key}` is withheld"));
        }
    }
}

/// Findings that would be others, were nothing withheld: they are not decided. How many there are.
fn withhold_findings(judgement: &mut Judgement, truth: &Judgement) -> usize {
    let rests = |finding: &Finding| finding.missing.iter().any(|missing| missing.reason == Reason::Withheld);
    for finding in &mut judgement.findings {
        let same = truth.findings.iter().find(|other| other.rule == finding.rule && other.at == finding.at);
        if !rests(finding) && same != Some(finding) {
            undecide(finding);
        }
    }
    // A rule that no longer applies only because of what is withheld is not decided either.
    for other in &truth.findings {
        let applied =
            judgement.findings.iter().any(|finding| finding.rule == other.rule && finding.at == other.at);
        if !applied {
            let mut finding = other.clone();
            undecide(&mut finding);
            judgement.not_applied.retain(|rule| rule.rule != finding.rule);
            judgement.findings.push(finding);
        }
    }
    judgement.findings.sort_by_key(|finding| (finding.outcome, finding.grade));
    judgement.findings.iter().filter(|finding| rests(finding)).count()
}

fn undecide(finding: &mut Finding) {
    finding.outcome = Outcome::NotDecided;
    finding.statement.clone_from(&finding.title);
    finding.missing = vec![Missing::withheld()];
    finding.rests_on_claims = false;
    finding.claimed_facts.clear();
    let working = &mut finding.working;
    working.numbers.clone_from(&working.expression);
    working.used.clear();
    (working.left, working.right, working.margin, working.decision) = (None, None, None, None);
}
