//! A finding on the rig as its sheet shows it, and what would tell what is missing.

use serde::Serialize;

use crate::judge::facts::{Missing, Reason, field_info};
use crate::judge::rules::{Class, Finding, Grade, Outcome};
use crate::record::{FieldInfo, Kind};

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
    let of = if head == "clearing" { ", whose `of` is the id of the fuse" } else { "" };
    Some(format!("{} (in {table}){of}", example_line(info)))
}

fn example_line(info: &FieldInfo) -> String {
    match info.kind {
        Kind::Count => format!("{} = {}", info.name, info.example),
        _ => format!("{} = \"{}\"", info.name, info.example),
    }
}

/// What a rule says of a part of the rig.
#[derive(Debug, Clone, Serialize, schemars::JsonSchema)]
pub struct RigCheck {
    /// The rule's id.
    pub rule: String,
    /// What it requires, in a line.
    pub title: String,
    /// The part, as a person would name it.
    pub part: String,
    /// The outcome.
    pub outcome: Outcome,
    /// Grade of the nonconformity, if it is one.
    pub grade: Grade,
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
    /// What its threshold rests on.
    pub class: Class,
    /// How it rests on it.
    pub basis: String,
    /// The sources that it cites.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub sources: Vec<String>,
    /// What to do when it falls short.
    pub advice: String,
}

/// Missing facts that one check tells at most.
const MOST_MISSING: usize = 12;

impl From<Finding> for RigCheck {
    fn from(finding: Finding) -> Self {
        let working = finding.working;
        let mut missing: Vec<Lacking> = Vec::new();
        for one in &finding.missing {
            let lacking = Lacking::from(one);
            if !missing.contains(&lacking) {
                missing.push(lacking);
            }
        }
        if let Some(more) = missing.len().checked_sub(MOST_MISSING).filter(|more| *more > 0) {
            missing.truncate(MOST_MISSING);
            missing.push(Lacking { what: format!("and {more} more"), write: None });
        }
        let quantities =
            working.left.as_ref().zip(working.right.as_ref()).is_some_and(|(l, r)| l.si.and(r.si).is_some());
        let (mut steps, mut assumed) = (Vec::new(), Vec::new());
        for used in &working.used {
            add(&mut steps, &used.steps);
            add(&mut assumed, &used.assumed);
        }
        Self {
            rule: finding.rule,
            title: finding.title,
            part: finding.subject,
            outcome: finding.outcome,
            grade: finding.grade,
            numbers: quantities.then_some(working.numbers),
            margin: working.margin,
            decision: working.decision,
            missing,
            steps,
            assumed,
            class: finding.class,
            basis: finding.basis,
            sources: finding.sources,
            advice: finding.advice,
        }
    }
}

fn add(lines: &mut Vec<String>, more: &[String]) {
    for line in more {
        if !lines.contains(line) {
            lines.push(line.clone());
        }
    }
}
