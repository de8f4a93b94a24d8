//! The questions that a reader has first, answered from what the judge gives: outcomes, causes and figures.

use std::collections::BTreeMap;

use super::causes::CauseView;
use super::claims::in_plain_names;
use super::view::{AnswerView, ElementView, View};
use crate::judge::facts::Subject;
use crate::judge::inspection::Inspection;
use crate::judge::next::{Headline, Judged, headline_of};
use crate::judge::rules::{Finding, Grade, Outcome};
use crate::units::words::{at_the_beginning, in_a_sentence, list};

/// The topic of the rules on what opens a short circuit or an overload.
const PROTECTION: &str = "overcurrent protection";
/// Places of a cause that a line names; further ones it counts.
const PLACES: usize = 2;
/// The claim that the pack is judged against.
const RATING: &str = "continuous_current";

impl View {
    /// The view of an inspection.
    #[must_use]
    pub fn of(inspection: &Inspection) -> Self {
        let view = Self::unanswered(inspection);
        let named = |text: &mut String, view: &Self| *text = view.by_name(text);
        let (mut causes, mut claims) = (view.causes.clone(), view.claims.clone());
        for cause in &mut causes {
            named(&mut cause.working, &view);
            // Why a claim is contradicted, in the inspector's words.
            if let (Subject::Statement(at), [_]) = (cause.head.at, cause.places.as_slice())
                && let Some(statement) = inspection.record.claims.statement.get(at)
            {
                cause.found = statement.because.text().unwrap_or_default().to_owned();
            }
        }
        claims.iter_mut().for_each(|claim| named(&mut claim.found, &view));
        Self { answers: answers(&view, inspection), causes, claims, ..view }
    }
}

impl View {
    /// A text with the elements by the names that people have for them.
    pub(crate) fn by_name(&self, text: &str) -> String {
        let named =
            self.path.elements.iter().map(|element| (element.label.as_str(), element.called.as_str()));
        let names: BTreeMap<&str, &str> =
            named.filter(|(label, _)| !label.is_empty() && text.contains(label)).collect();
        if names.is_empty() {
            return text.to_owned();
        }
        // In one pass, so that a name which holds a label is not taken apart again.
        let (mut out, mut rest) = (String::with_capacity(text.len()), text);
        let first = |rest: &str| {
            let places = names.iter().filter_map(|(label, name)| Some((rest.find(label)?, *label, *name)));
            places.min_by_key(|(at, label, _)| (*at, usize::MAX - label.len()))
        };
        while let Some((at, label, name)) = first(rest) {
            out.push_str(&rest[..at]);
            out.push_str(name);
            rest = &rest[at + label.len()..];
        }
        out + rest
    }

    /// Where a cause is found and what was found there, the places by the names that people have for them.
    pub(crate) fn found(&self, cause: &CauseView) -> String {
        let mut places: Vec<String> =
            cause.places.iter().take(PLACES).map(|label| self.by_name(label)).collect();
        if cause.places.len() > PLACES {
            places.push(format!("{} more", cause.places.len() - PLACES));
        }
        let between = if places.is_empty() || cause.found.is_empty() { "" } else { ": " };
        format!("{}{between}{}", list(&places, "and"), cause.found)
    }
}

/// What was claimed, whether it holds, what limits it, what protects it, what to do.
fn answers(view: &View, inspection: &Inspection) -> Vec<AnswerView> {
    let Inspection { record, derived, book, judgement, .. } = inspection;
    let judged = Judged { record, derived, book, findings: &judgement.findings };
    let headline = |id| headline_of(judged, &judgement.causes, id);
    let (holds, held) = held(view, [headline("limit"), headline("measurement")]);
    let protects = headline("protection").map(|headline| headline.answered.outcome());
    let protected = protection(view, protects);
    let answer = |question, outcome: Option<Outcome>, said| AnswerView {
        question,
        outcome,
        shape: outcome.map_or("", Outcome::shape),
        said,
    };
    vec![
        answer("What is claimed?", None, vec![claimed(view)]),
        answer("Does it hold?", holds, held),
        answer("What limits it?", None, limit(view)),
        answer("Is there protection?", protects, protected),
        answer("What should I do?", None, to_do(view)),
    ]
}

fn claimed(view: &View) -> String {
    let named = view.claimed.iter().map(|(name, value)| match name.as_str() {
        "continuous current" => format!("{value} continuous"),
        "capacity" | "energy" => value.clone(),
        name => format!("{value} {}", name.strip_suffix(" voltage").unwrap_or(name)),
    });
    let named: Vec<String> = named.collect();
    if named.is_empty() {
        return "No rating is recorded.".to_owned();
    }
    let current = if view.rated_current.is_some() { "" } else { " No continuous current is recorded." };
    format!("{}.{current}", named.join(", "))
}

/// What a test showed, and the hottest place that was measured.
fn held(view: &View, headlines: [Option<Headline>; 2]) -> (Option<Outcome>, Vec<String>) {
    let about = |finding: &&Finding| finding.tests_claim == RATING && finding.grade != Grade::Custom;
    let bearing: Vec<&Finding> = view.findings.iter().filter(about).collect();
    if bearing.is_empty() {
        return (None, vec![not_judged(view)]);
    }
    let outcomes = || headlines.iter().flatten().map(|headline| headline.answered.outcome());
    let Some(outcome) = outcomes().min() else { return (None, vec![not_judged(view)]) };
    let mut said: Vec<String> = view.shown_by_test.first().cloned().into_iter().collect();
    let measured = |element: &&ElementView| element.place.measured_outcome == Some(Outcome::FallsShort);
    let hottest = view.path.elements.iter().filter(measured).max_by(|a, b| {
        let read = |element: &ElementView| element.place.measured_temperature.si.unwrap_or_default();
        read(a).total_cmp(&read(b))
    });
    if let Some((place, read)) = hottest.and_then(|element| {
        let place = &element.place;
        let value = place.measured_temperature.value.as_ref()?;
        Some((element, format!("{} {value}", place.measured_temperature.bound.unwrap_or_default())))
    }) {
        let limit = place.place.temperature_limit.value.as_deref().unwrap_or("not known");
        let rated = view.rated_current.as_deref().unwrap_or("rated current");
        said.push(format!(
            "The {}, measured and brought to {rated}: {}; its limit is {limit}.",
            place.called,
            read.trim_start()
        ));
    }
    if let Some(finding) = bearing.iter().find(|finding| finding.outcome == outcome && said.is_empty()) {
        let lacking = finding.missing.first().filter(|_| outcome == Outcome::NotDecided);
        said.push(match lacking {
            Some(lacking) => {
                let what = view.by_name(&in_plain_names(&lacking.what));
                let title = in_a_sentence(&finding.title);
                format!("{}, so “{title}” is open.", at_the_beginning(&what))
            }
            None => format!("{}.", finding.statement),
        });
    }
    // Nothing that bears on it is open, but neither does a measurement support it.
    if said.is_empty() {
        let open = |headline: &&Headline| headline.answered.outcome() == outcome;
        let cause = |headline: &Headline| {
            let cause = view.causes.iter().find(|cause| headline.cause.as_ref() == Some(&cause.id))?;
            Some(format!("{}.", view.by_name(&cause.line())))
        };
        let told = |headline: &Headline| {
            let told = headline.told.trim_end_matches('.');
            format!("{}.", view.by_name(&at_the_beginning(told)))
        };
        let headline = headlines.iter().flatten().find(open);
        said.extend(headline.map(|headline| cause(headline).unwrap_or_else(|| told(headline))));
    }
    (Some(outcome), said)
}

fn not_judged(view: &View) -> String {
    match &view.rated_current {
        None => "No rated continuous current is recorded to judge the pack against.".to_owned(),
        Some(_) => "No rule could be applied to it.".to_owned(),
    }
}

/// The weakest place that is known.
fn limit(view: &View) -> Vec<String> {
    let path = &view.path;
    let weakest = path.elements.iter().find(|element| element.weakest);
    let (Some(weakest), Some(current)) = (weakest, &path.permissible_current.value) else {
        return vec!["Nothing of the current path is known well enough to say.".to_owned()];
    };
    let bound = path.permissible_current.bound.map(|bound| format!("{bound} ")).unwrap_or_default();
    let claimed = view.rated_current.as_ref().map(|rated| format!("; {rated} claimed"));
    let mut said =
        vec![format!("The {}: it carries {bound}{current}{}.", weakest.called, claimed.unwrap_or_default())];
    match path.undecided.as_slice() {
        [] => {}
        [_] => said.push("What one part carries is not known.".to_owned()),
        several => said.push(format!("What {} parts carry is not known.", several.len())),
    }
    said
}

/// What falls short of what opens a short circuit; where protection as a whole does not, first what does open it.
fn protection(view: &View, outcome: Option<Outcome>) -> Vec<String> {
    let about = |finding: &&Finding| finding.topic == PROTECTION && finding.grade != Grade::Custom;
    let short = view.causes.iter().filter(|cause| about(&&cause.head)).take(2);
    let short = short.map(|cause| view.by_name(&cause.line())).collect::<Vec<_>>();
    let mut said = Vec::new();
    if outcome == Some(Outcome::FallsShort) && !short.is_empty() {
        said.extend(short.iter().map(|cause| format!("{cause}.")));
    } else {
        let opens = |element: &&ElementView| element.responds_to.as_deref() == Some("current");
        let opening: Vec<&str> =
            view.path.elements.iter().filter(opens).map(|element| element.called.as_str()).collect();
        said.push(match opening.as_slice() {
            [] => "No part that opens by itself on overcurrent is recorded.".to_owned(),
            [one] => format!("The {one} opens on overcurrent."),
            several => format!("The {} open on overcurrent.", list(several, "and")),
        });
        said.extend(short.iter().map(|cause| format!("Found against it: {}.", in_a_sentence(cause))));
    }
    if let Some(current) = &view.path.short_circuit_current.value {
        said.push(format!("Into a short circuit the pack feeds {current}."));
    }
    said
}

/// The advice of what is gravest.
fn to_do(view: &View) -> Vec<String> {
    match view.causes.iter().find(|cause| !cause.advice.is_empty()) {
        Some(cause) => vec![cause.advice.clone()],
        None if view.counts.not_decided > 0 => {
            vec!["Look at what is not decided before the pack is used.".to_owned()]
        }
        None => {
            vec!["Nothing that was recorded falls short. That does not say that the pack is safe.".to_owned()]
        }
    }
}
