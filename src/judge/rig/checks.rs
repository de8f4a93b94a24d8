//! The checks of a rig's elements: what each has to do, held against what it does.
//!
//! A check ends as *meets*, *falls short* or *not decided*, by the same guard band as every rule.

use serde::Serialize;

use super::branch::{Branch, Carries, no_ambient};
use super::withstand::{self, Fault, Quickest};
use crate::judge::facts::{Answer, Missing, Reason, field_info};
use crate::judge::rules::expr::Relation;
use crate::judge::rules::{Outcome, guarded};
use crate::physics::fuse::RespondsTo;
use crate::record::parts::ElementTrait;
use crate::record::{FieldInfo, Kind};
use crate::units::{Amount, Dimension};

/// Something that is not recorded, with the line that would tell it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, schemars::JsonSchema)]
pub struct Lacking {
    /// What is missing, as a person would say it.
    pub what: String,
    /// A right line of the record, where a line would tell it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub write: Option<String>,
}

impl From<&Missing> for Lacking {
    fn from(missing: &Missing) -> Self {
        // Absent or unseen things need no line: somebody wrote one.
        let write = matches!(missing.reason, Reason::NotRecorded).then(|| line_for(&missing.name)).flatten();
        Self { what: missing.what.clone(), write }
    }
}

/// A right line of the record for a fact by its name in expressions, with its table.
pub(super) fn line_for(name: &str) -> Option<String> {
    let info = field_info(name)?;
    let (head, _) = name.split_once('.')?;
    let table = match head {
        "element" => "[[rig.element]] or [[rig.load.element]] or [[rig.source.element]]".to_owned(),
        "load" | "meter" | "clearing" => format!("[[rig.{head}]]"),
        "source" => "[rig.source]".to_owned(),
        "instrument" => "[[instrument]]".to_owned(),
        _ => format!("[{head}]"),
    };
    Some(format!("{} (in {table})", example_line(info)))
}

fn example_line(info: &FieldInfo) -> String {
    match info.kind {
        Kind::Count => format!("{} = {}", info.name, info.example),
        _ => format!("{} = \"{}\"", info.name, info.example),
    }
}

/// One check.
#[derive(Debug, Clone, Serialize, schemars::JsonSchema)]
pub struct Check {
    /// Its name, the same for every part that it is made of.
    pub check: &'static str,
    /// What it requires, in a line.
    pub title: &'static str,
    /// The part, as a person would name it.
    pub part: String,
    /// The outcome.
    pub outcome: Outcome,
    /// Both sides with the relation between them.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub numbers: Option<String>,
    /// By how much it is met or missed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub margin: Option<String>,
    /// How the uncertainty decided.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub decision: Option<String>,
    /// What is missing where it is not decided.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub missing: Vec<Lacking>,
    /// The working.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub steps: Vec<String>,
    /// What was assumed.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub assumed: Vec<String>,
    /// Where the requirement comes from.
    pub basis: &'static str,
    /// What to do when it falls short.
    pub remedy: &'static str,
}

/// Missing facts that one check tells at most.
const MOST_MISSING: usize = 12;

/// What a check requires, without numbers.
#[derive(Debug, Clone, Copy)]
pub(super) struct Asked {
    pub(super) check: &'static str,
    pub(super) title: &'static str,
    pub(super) basis: &'static str,
    pub(super) remedy: &'static str,
}

impl Asked {
    pub(super) fn of(self, part: &str, outcome: Outcome) -> Check {
        let Self { check, title, basis, remedy } = self;
        Check {
            check,
            title,
            part: part.to_owned(),
            outcome,
            numbers: None,
            margin: None,
            decision: None,
            missing: Vec::new(),
            steps: Vec::new(),
            assumed: Vec::new(),
            basis,
            remedy,
        }
    }

    pub(super) fn open(self, part: &str, missing: &[Missing]) -> Check {
        let mut check = self.of(part, Outcome::NotDecided);
        for (number, one) in missing.iter().enumerate() {
            let lacking = Lacking::from(one);
            if check.missing.contains(&lacking) {
                continue;
            }
            if check.missing.len() == MOST_MISSING {
                let what = format!("and {} more", missing.len() - number);
                check.missing.push(Lacking { what, write: None });
                break;
            }
            check.missing.push(lacking);
        }
        check
    }

    /// Holds two amounts against each other.
    pub(super) fn compare(self, part: &str, left: &Amount, relation: Relation, right: &Amount) -> Check {
        let (outcome, compared) = guarded(relation, left, right);
        let sign = if relation == Relation::AtMost { "≤" } else { "≥" };
        let mut check = self.of(part, outcome);
        check.numbers = Some(format!("{} {sign} {}", compared.left.value, compared.right.value));
        check.margin = compared.margin;
        check.decision = compared.decision;
        check
    }

    /// Holds a worked answer against an amount, with its working.
    pub(super) fn answer(self, part: &str, left: &Answer, relation: Relation, right: &Amount) -> Check {
        match left {
            Ok(worked) => match worked.value.amount() {
                Some(amount) => {
                    let mut check = self.compare(part, amount, relation, right);
                    check.steps.clone_from(&worked.steps);
                    check.assumed.clone_from(&worked.assumed);
                    check
                }
                None => self.open(part, &[Missing::refused("a fact has the wrong kind")]),
            },
            Err(missing) => self.open(part, missing),
        }
    }
}

const CARRIES: Asked = Asked {
    check: "carries",
    title: "Carries its share of the test current",
    basis: "per kind of element: heat balance (bars), 33 CFR 183.425 table 5 (cables), rating (fuses), marking (others)",
    remedy: "Use a larger one, put a second beside it, or share the current out over more loads.",
};

const FUSE_RESPONDS: Asked = Asked {
    check: "fuse-responds",
    title: "Responds to current",
    basis: "IEC 60691: a thermal cut-off opens on temperature (from memory)",
    remedy: "Use a fuse whose kind is known.",
};

const VOLTAGE: Asked = Asked {
    check: "part-voltage",
    title: "Is rated for the pack's highest voltage",
    basis: "IEC 60269-1 and ISO 8820-1: rated voltage not below the circuit's voltage (from memory)",
    remedy: "Use a part with a rated direct voltage above the charge limit of the pack.",
};

const INTERRUPTS: Asked = Asked {
    check: "fuse-interrupts",
    title: "Interrupts the pack's prospective short-circuit current",
    basis: "IEC 60364-4-43, 434.5.1",
    remedy: "Use a fuse whose interrupting rating for direct current is above it, such as class T.",
};

const NEAR: Asked = Asked {
    check: "fuse-near",
    title: "Sits close to the pack's terminal",
    basis: "33 CFR 183.460 asks for 7 inches (178 mm) with exceptions (from memory)",
    remedy: "Put the fuse at the pack's positive terminal: what lies before it is not protected.",
};

const PROTECTED: Asked = Asked {
    check: "protected",
    title: "Is protected by a fuse of the rig",
    basis: "IEC 60364-4-43, 433.1: rating of the device not above the ampacity of the conductor (from memory)",
    remedy: "Use a smaller fuse where the current allows it, a thicker lead, or a fuse for this branch alone.",
};

const HAS_FUSE: Asked = Asked {
    check: "fuse-present",
    title: "A fuse that responds to current carries the whole current",
    basis: "IEC 60364-4-43, 430.3 and 434: a protective device in every circuit (from memory)",
    remedy: "Put a fuse with enough interrupting rating at the pack's positive terminal before anything is connected.",
};

/// What the checks need to know of the pack.
pub(super) struct Pack {
    /// Highest voltage of the pack.
    pub(super) highest: Result<Amount, Vec<Missing>>,
    /// Prospective short-circuit current at its terminals.
    pub(super) fault: Answer,
    /// Longest way from the terminal to the first fuse.
    pub(super) fuse_distance: Option<Amount>,
    /// Time that stands in for the clearing time of a fuse that does not say its own.
    pub(super) withstand_time: Option<Amount>,
}

/// The checks of every element.
pub(super) fn of_elements(trunk: &Branch, loads: &[Branch], pack: &Pack) -> Vec<Check> {
    let mut checks = vec![fuse_present(trunk)];
    let (all_listed, of_trunk) = (complete(trunk), Fuses::of(trunk));
    for branch in std::iter::once(trunk).chain(loads) {
        let fuses = if matches!(branch.carries, Carries::Share(_)) {
            of_trunk.and(&Fuses::of(branch))
        } else {
            of_trunk.and(&Fuses::none())
        };
        for index in 0..branch.elements().len() {
            checks.push(carries(branch, index));
            if branch.has(index, ElementTrait::OpensCircuit) {
                checks.push(voltage(branch, index, pack));
            }
            if branch.has(index, ElementTrait::InterruptsFault) {
                of_fuse(branch, index, pack, &mut checks);
            }
            if branch.has(index, ElementTrait::Conductor) {
                checks.push(protected(&fuses, all_listed, branch, index));
                let fault = Fault { current: &pack.fault, stand_in: pack.withstand_time.as_ref() };
                checks.push(withstand::of(&fuses, all_listed, branch, index, &fault));
            }
        }
    }
    checks
}

/// A current without uncertainty.
fn amperes(value: f64) -> Amount {
    Amount::exact(value, Dimension::CURRENT)
}

pub(super) fn carries(branch: &Branch, index: usize) -> Check {
    let label = branch.label(index);
    let permissible_current = branch.fact(index, "element.permissible_current");
    let Some(current) = branch.current else {
        let mut missing = permissible_current.err().unwrap_or_default();
        missing.push(no_current(branch));
        return CARRIES.open(&label, &missing);
    };
    let check = CARRIES.answer(&label, &permissible_current, Relation::AtLeast, &amperes(current));
    without_ambient(check, branch, index)
}

/// What rests on a stand-in for the ambient decides nothing.
pub(super) fn without_ambient(mut check: Check, branch: &Branch, index: usize) -> Check {
    if check.outcome != Outcome::NotDecided && !branch.ambient_known(index) {
        check.outcome = Outcome::NotDecided;
        check.decision = None;
        check.missing.push(Lacking::from(&no_ambient()));
    }
    check
}

fn no_current(branch: &Branch) -> Missing {
    let (name, what) = match &branch.carries {
        Carries::Share(load) => {
            ("load.set_current", format!("the share of the current that falls to {load} does not follow"))
        }
        Carries::Whole => {
            ("claims.continuous_current", "the current of the full-load test is not known".to_owned())
        }
        Carries::Charge => ("source.current", "the current of the source is not known".to_owned()),
    };
    Missing { name: name.to_owned(), what, reason: Reason::NotRecorded }
}

fn voltage(branch: &Branch, index: usize, pack: &Pack) -> Check {
    let label = branch.label(index);
    let name = if branch.has(index, ElementTrait::Protective) {
        "element.voltage_found"
    } else {
        "element.rated_voltage"
    };
    let rated = branch.fact(index, name);
    match &pack.highest {
        Ok(highest) => VOLTAGE.answer(&label, &rated, Relation::AtLeast, highest),
        Err(missing) => {
            let mut all = rated.err().unwrap_or_default();
            all.extend(missing.iter().cloned());
            VOLTAGE.open(&label, &all)
        }
    }
}

fn of_fuse(branch: &Branch, index: usize, pack: &Pack, checks: &mut Vec<Check>) {
    let label = branch.label(index);
    match branch.responds_to(index) {
        Ok(RespondsTo::Current) => {}
        Ok(RespondsTo::Temperature | RespondsTo::Command) => {
            checks.push(FUSE_RESPONDS.of(&label, Outcome::FallsShort));
            return;
        }
        Err(missing) => {
            checks.push(FUSE_RESPONDS.open(&label, &missing));
            return;
        }
    }
    let interrupting = branch.fact(index, "element.interrupting_found");
    checks.push(match pack.fault.as_ref().map(|worked| (worked, worked.value.amount())) {
        Ok((worked, Some(fault))) => {
            let mut check = INTERRUPTS.answer(&label, &interrupting, Relation::AtLeast, fault);
            check.steps.extend(worked.steps.iter().cloned());
            check.assumed.extend(worked.assumed.iter().cloned());
            check
        }
        Ok((_, None)) => INTERRUPTS.open(&label, &[Missing::refused("a fact has the wrong kind")]),
        Err(missing) => {
            let mut all = interrupting.err().unwrap_or_default();
            all.push(Missing::fact("rig.fault_current", "", Reason::NotRecorded));
            all.extend(missing.iter().cloned());
            INTERRUPTS.open(&label, &all)
        }
    });
    if !matches!(branch.carries, Carries::Share(_))
        && let Some(limit) = &pack.fuse_distance
    {
        let distance = branch.fact(index, "element.distance_from_cells");
        checks.push(NEAR.answer(&label, &distance, Relation::AtMost, limit));
    }
}

pub(super) fn fuses(branch: &Branch) -> impl Iterator<Item = usize> {
    (0..branch.elements().len()).filter(|index| branch.has(*index, ElementTrait::InterruptsFault))
}

fn fuse_present(trunk: &Branch) -> Check {
    let part = if trunk.carries == Carries::Charge { "the charging leads" } else { "the rig" };
    let mut missing = Vec::new();
    for index in fuses(trunk) {
        match trunk.responds_to(index) {
            Ok(RespondsTo::Current) => return HAS_FUSE.of(part, Outcome::Meets),
            Ok(RespondsTo::Temperature | RespondsTo::Command) => {}
            Err(more) => missing.extend(more),
        }
    }
    if missing.is_empty() && complete(trunk) {
        return HAS_FUSE.of(part, Outcome::FallsShort);
    }
    if missing.is_empty() {
        missing.push(incomplete());
    }
    HAS_FUSE.open(part, &missing)
}

/// True when the user says that every element is listed.
pub(super) fn complete(trunk: &Branch) -> bool {
    trunk.fact(0, "path.complete").is_ok_and(|worked| worked.value == crate::judge::facts::Val::YesNo(true))
}

/// The lack of a statement that the rig's list is complete.
pub(super) fn incomplete() -> Missing {
    let what = "`rig.complete` does not say yes, so there may be more elements".to_owned();
    Missing { name: "rig.complete".to_owned(), what, reason: Reason::NotRecorded }
}

/// Missing facts of fuses that are told at each conductor at most.
const TOLD: usize = 3;

/// The fuses of one group, as far as they protect what is in series with them.
pub(super) struct Fuses {
    smallest: Option<(Amount, String)>,
    pub(super) quickest: Quickest,
    pub(super) missing: Vec<Missing>,
}

impl Fuses {
    const fn none() -> Self {
        Self { smallest: None, quickest: Quickest::none(), missing: Vec::new() }
    }

    fn of(branch: &Branch) -> Self {
        let mut found = Self::none();
        for fuse in fuses(branch) {
            match (branch.responds_to(fuse), branch.fact(fuse, "element.rating")) {
                (Ok(RespondsTo::Current), Ok(rating)) => {
                    if let Some(rating) = rating.value.amount() {
                        found.offer(rating, &branch.label(fuse));
                        found.quickest.offer(branch, fuse, rating);
                    }
                }
                (Ok(RespondsTo::Current), Err(more)) | (Err(more), _) => found.missing.extend(more),
                (Ok(RespondsTo::Temperature | RespondsTo::Command), _) => {}
            }
        }
        found.missing.truncate(TOLD);
        found
    }

    fn offer(&mut self, rating: &Amount, name: &str) {
        if self.smallest.as_ref().is_none_or(|(least, _)| rating.value() < least.value()) {
            self.smallest = Some((rating.clone(), name.to_owned()));
        }
    }

    /// These and others in series.
    fn and(&self, other: &Self) -> Self {
        let mut both = Self {
            smallest: self.smallest.clone(),
            quickest: self.quickest.and(&other.quickest),
            missing: self.missing.clone(),
        };
        if let Some((rating, name)) = &other.smallest {
            both.offer(rating, name);
        }
        both.missing.extend(other.missing.iter().cloned());
        both
    }
}

/// Whether one of the fuses in series with a conductor has a rating that the conductor carries.
fn protected(fuses: &Fuses, all_listed: bool, branch: &Branch, index: usize) -> Check {
    let label = branch.label(index);
    let permissible_current = branch.fact(index, "element.permissible_current");
    let mut missing = fuses.missing.clone();
    let mut check = match (&fuses.smallest, &permissible_current) {
        (Some((rating, name)), Ok(_)) => {
            let mut check = PROTECTED.answer(&label, &permissible_current, Relation::AtLeast, rating);
            check.steps = vec![format!("rating of {name}: {}", rating.show())];
            if check.outcome == Outcome::FallsShort && !missing.is_empty() {
                // A fuse that nobody read may be smaller.
                check.outcome = Outcome::NotDecided;
                check.missing.extend(missing.iter().map(Lacking::from));
            }
            check
        }
        (None, Ok(_)) if missing.is_empty() && all_listed => PROTECTED.of(&label, Outcome::FallsShort),
        (_, permissible_current) => {
            missing.extend(permissible_current.as_ref().err().cloned().unwrap_or_default());
            if missing.is_empty() {
                missing.push(incomplete());
            }
            PROTECTED.open(&label, &missing)
        }
    };
    check.assumed.push("the pack's own fuse and BMS are not counted: they are under test".to_owned());
    without_ambient(check, branch, index)
}
