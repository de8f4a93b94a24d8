//! What is shown of a rig: its elements by the current they carry, the weakest of them, and the verdict in words.

use std::collections::BTreeMap;

use serde::Serialize;

use super::branch::Branch;
use super::check::RigCheck;
use crate::judge::facts::{Side, Subject};
use crate::judge::rules::{Finding, Grade, Outcome};
use crate::record::parts::ElementTrait;
use crate::units::{Amount, Dimension, show, significant};

/// An element of the rig.
#[derive(Debug, Clone, Serialize, schemars::JsonSchema)]
pub struct RigElementRow {
    /// As a person would name it.
    pub label: String,
    /// What it carries continuously.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub permissible_current: Option<String>,
    /// Its share of the test current over what it carries.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub used: Option<String>,
    /// Predicted temperature at its share, where the physics gives one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub temperature: Option<String>,
    /// Voltage drop at its share.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub drop: Option<String>,
    /// Whether it carries its share; nothing where a house turned that rule off.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub outcome: Option<Outcome>,
    #[serde(skip)]
    share: Option<f64>,
    #[serde(skip)]
    pub(super) is_lead: bool,
}

/// Elements that carry one current.
#[derive(Debug, Clone, Serialize, schemars::JsonSchema)]
pub struct BranchView {
    /// "the whole current", or the load whose share it is.
    pub name: String,
    /// Equal branches side by side.
    pub count: u32,
    /// The current of one of them.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub current: Option<String>,
    /// The drop over the known resistances at this current.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub drop: Option<String>,
    /// True when resistances are missing, so that the drop is larger than what is shown.
    pub drop_is_at_least: bool,
    /// The elements in order.
    pub elements: Vec<RigElementRow>,
}

/// The rig, judged.
#[derive(Debug, Clone, Serialize, schemars::JsonSchema)]
pub struct RigView {
    /// True when something of a rig is recorded.
    pub recorded: bool,
    /// The outcome for the rig as a whole.
    pub outcome: Outcome,
    /// The outcome in words.
    pub sentence: String,
    /// The current that the rig was judged at.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub test_current: Option<String>,
    /// That current, A.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub test_current_si: Option<f64>,
    /// The elements by the current they carry.
    pub branches: Vec<BranchView>,
    /// The weakest element among those whose permissible current is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub weakest: Option<String>,
    /// The weakest lead among those whose permissible current is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub weakest_lead: Option<String>,
    /// Elements whose permissible current, or whose share of the current, is not known.
    pub not_known: Vec<String>,
    /// The checks.
    pub checks: Vec<RigCheck>,
    /// What a check does not say.
    pub notes: Vec<String>,
    /// Said where nothing that is listed fuses it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unfused: Option<String>,
}

impl RigView {
    /// Circuits with what the rules say of them at a current in A; [`conclude`] finds the words.
    pub(super) fn of(
        mut branches: Vec<BranchView>,
        current: Option<f64>,
        recorded: bool,
        mut findings: Vec<Finding>,
    ) -> Self {
        branches.retain(|branch| !branch.elements.is_empty());
        findings.sort_by_key(|finding| (finding.outcome, finding.grade));
        // What nobody recorded has no checks.
        findings.retain(|_| recorded);
        let graded = findings.iter().filter(|finding| finding.grade != Grade::Custom);
        Self {
            recorded,
            outcome: Outcome::together(graded.map(|finding| finding.outcome)),
            sentence: String::new(),
            test_current: current.map(|current| show(current, Dimension::CURRENT)),
            test_current_si: current,
            weakest: weakest(&branches, |_| true),
            weakest_lead: weakest(&branches, |row| row.is_lead),
            not_known: not_known(&branches),
            branches,
            checks: findings.into_iter().map(RigCheck::from).collect(),
            notes: Vec::new(),
            unfused: None,
        }
    }

    /// The checks with an outcome; customs are no checks but opinion.
    pub fn with_outcome(&self, outcome: Outcome) -> impl Iterator<Item = &RigCheck> {
        self.checks.iter().filter(move |check| check.outcome == outcome && check.grade != Grade::Custom)
    }

    /// Customs of the trade that are not kept, or not decided.
    pub fn customs(&self) -> impl Iterator<Item = &RigCheck> {
        self.checks.iter().filter(|check| check.outcome != Outcome::Meets && check.grade == Grade::Custom)
    }
}

/// The rule that says whether an element carries its current.
const CARRIES: &str = "rig-element-carries";

/// A circuit with what the rules say of its elements.
pub(super) fn branch_view(branch: &Branch, judged: &[Finding]) -> BranchView {
    let path_drop = branch.of_path("path.drop").ok();
    let carries: BTreeMap<usize, Outcome> = judged
        .iter()
        .filter(|finding| finding.rule == CARRIES)
        .filter_map(|finding| match finding.at {
            Subject::Element(index) => Some((index, finding.outcome)),
            _ => None,
        })
        .collect();
    let row = |index| row(branch, index, carries.get(&index).copied());
    let elements = (0..branch.elements().len()).map(row).collect();
    BranchView {
        name: branch.name().to_owned(),
        count: branch.count,
        current: branch.current.map(|current| show(current, Dimension::CURRENT)),
        drop_is_at_least: path_drop
            .as_ref()
            .is_some_and(|worked| worked.bound.as_ref().is_some_and(|bound| bound.side == Side::AtLeast)),
        drop: path_drop.and_then(|worked| worked.value.amount().map(Amount::show)),
        elements,
    }
}

fn row(branch: &Branch, index: usize, outcome: Option<Outcome>) -> RigElementRow {
    let permissible_current = branch.amount(index, "element.permissible_current");
    let share =
        branch.current.zip(permissible_current.as_ref()).map(|(current, amount)| current / amount.value());
    let text = |name: &str| branch.amount(index, name).map(|amount| amount.show());
    RigElementRow {
        label: branch.label(index),
        permissible_current: permissible_current.map(|amount| amount.show()),
        used: share.map(|share| format!("{} %", significant(share * 100.0, 3))),
        temperature: text("element.temperature_at_rated"),
        drop: text("element.drop_at_rated"),
        outcome,
        share,
        is_lead: branch.has(index, ElementTrait::Conductor),
    }
}

fn weakest(views: &[BranchView], wanted: impl Fn(&RigElementRow) -> bool) -> Option<String> {
    let rows = views.iter().flat_map(|view| &view.elements).filter(|row| wanted(row));
    let mut worst: Option<(f64, &RigElementRow)> = None;
    for row in rows {
        // Of equal ones the first counts, so that the name does not jump about.
        if let Some(share) = row.share.filter(|share| share.is_finite())
            && worst.is_none_or(|(most, _)| share > most)
        {
            worst = Some((share, row));
        }
    }
    let (_, row) = worst?;
    let (used, permissible_current) = (row.used.as_deref()?, row.permissible_current.as_deref()?);
    Some(format!("{}: carries {permissible_current}, the test takes {used} of it", row.label))
}

fn not_known(views: &[BranchView]) -> Vec<String> {
    let rows = views.iter().flat_map(|view| &view.elements);
    rows.filter(|row| row.share.is_none()).map(|row| row.label.clone()).collect()
}

/// The words of a verdict.
pub(super) struct Verdict {
    /// What is judged.
    pub(super) subject: &'static str,
    /// What not to do when it falls short.
    pub(super) forbids: &'static str,
    /// What is said when every check is met, without its current.
    pub(super) meets: &'static str,
    /// What is said when nothing of it is recorded.
    pub(super) not_recorded: &'static str,
    /// How it is recorded.
    pub(super) note: &'static str,
}

/// The verdict on the loads and their leads.
pub(super) const FULL_LOAD: Verdict = Verdict {
    subject: "the rig",
    forbids: "Do not apply full load with it as it is.",
    meets: "Every recorded part of the rig meets its checks",
    not_recorded: "Not decided: no test rig is recorded, so no lead, fuse or load was checked.",
    note: "Record it under [rig]: a [[rig.element]] for each lead, lug, shunt and fuse, a [[rig.load]] for each load, a \
           [[rig.meter]] for each instrument. The record that `underlid new` writes lists the keys.",
};

/// Counts the checks and says what they come to.
pub(super) fn conclude(view: &mut RigView, verdict: &Verdict) {
    let Verdict { subject, forbids, meets, not_recorded, note } = verdict;
    if !view.recorded {
        view.sentence = (*not_recorded).to_owned();
        view.notes.push((*note).to_owned());
        return;
    }
    let number = |outcome| view.with_outcome(outcome).count();
    let (short, open) = (number(Outcome::FallsShort), number(Outcome::NotDecided));
    let at = view.test_current.as_ref().map_or_else(String::new, |current| format!(" at {current}"));
    let checks = |number| crate::units::words::count(number, "check", "checks");
    view.sentence = match view.outcome {
        Outcome::FallsShort => {
            let grave = view.with_outcome(Outcome::FallsShort).any(|check| check.grade.is_grave());
            let forbids = if grave { *forbids } else { "All of them are minor." };
            format!("Falls short{at} in {}. {forbids}", checks(short))
        }
        Outcome::NotDecided => {
            let lack = if open == 1 { "lacks" } else { "lack" };
            format!("Not decided{at}: {} of {subject} {lack} something.", checks(open))
        }
        Outcome::Meets => format!("{meets}{at}. That does not make the test safe."),
    };
}
