//! The sheet: everything that is planned and checked, finished for the writers. Nothing that prints it judges.

use std::collections::BTreeMap;

use serde::Serialize;

use super::checks::Lacking;
use super::claims::{FromRecord, Given};
use super::judged::Basis;
use super::proposals::Leads;
use super::view::RigView;
use super::workup::Workup;
use crate::judge::facts::Derived;
use crate::judge::rules::Outcome;
use crate::logs::plan::{NoPlan, propose};
use crate::record::Record;
use crate::units::{Amount, Dimension, Quantity, show, significant};

/// Durations from here on are told in hours, s.
const TWO_HOURS: f64 = 7_200.0;
/// Longer ones are told in days, s.
const FOUR_DAYS: f64 = 345_600.0;

/// A named value.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct Line {
    /// Its name.
    pub name: String,
    /// Its value, for people.
    pub value: String,
    /// Its value in SI units.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub si: Option<f64>,
    /// The unit of that.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub si_unit: Option<String>,
}

impl Line {
    pub(super) fn words(name: &str, value: &str) -> Self {
        Self { name: name.to_owned(), value: value.to_owned(), si: None, si_unit: None }
    }

    pub(super) fn of(name: &str, value: f64, dimension: Dimension) -> Self {
        Self {
            name: name.to_owned(),
            value: show(value, dimension),
            si: Some(value),
            si_unit: Some(dimension.to_string()),
        }
    }

    pub(super) fn recorded(name: &str, quantity: &Quantity) -> Self {
        Self { value: quantity.text.clone(), ..Self::of(name, quantity.value, quantity.dimension) }
    }

    /// A duration; from two hours on in hours, as a clock at the bench shows it.
    pub(super) fn duration(name: &str, seconds: f64) -> Self {
        let mut line = Self::of(name, seconds, Dimension::TIME);
        if (TWO_HOURS..FOUR_DAYS).contains(&seconds) {
            line.value = format!("{} h", significant(seconds / 3600.0, 3));
        }
        line
    }

    pub(super) fn and(mut self, more: &str) -> Self {
        self.value.push_str(more);
        self
    }
}

/// One step of the session, in its order.
#[derive(Debug, Clone, Serialize, schemars::JsonSchema)]
pub struct Planned {
    /// Its name for machines.
    pub id: &'static str,
    /// Its title.
    pub title: &'static str,
    /// What to set, and what to expect.
    pub settings: Vec<Line>,
    /// What to do, in order.
    pub steps: Vec<String>,
    /// What to write down.
    pub note: Vec<String>,
    /// Where it is dangerous.
    pub cautions: Vec<String>,
}

/// The whole sheet.
#[derive(Debug, Clone, Serialize, schemars::JsonSchema)]
pub struct Sheet {
    /// Version of this shape.
    pub format: u32,
    /// Which program made it.
    pub program: &'static str,
    /// Which pack.
    pub title: String,
    /// True for an invented example.
    pub invented: bool,
    /// What it was planned from.
    pub planned_from: Vec<Line>,
    /// What the record lacks, with the lines that would tell.
    pub missing: Vec<Lacking>,
    /// What was assumed for the plan.
    pub assumed: Vec<String>,
    /// Claims that ask for a second look before anything is connected.
    pub second_look: Vec<String>,
    /// The session, in order.
    pub session: Vec<Planned>,
    /// Leads that the session needs.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub leads: Option<Leads>,
    /// The rig: loads, and what carries their current.
    pub rig: RigView,
    /// The source, and what carries its current.
    pub charging: RigView,
    /// The tool's general caution.
    pub caution: &'static str,
}

impl Sheet {
    /// Plans the session of a record and checks its rig; `limits` are the rule book's.
    ///
    /// # Errors
    /// Refuses claims that contradict each other, and loads that would be needed in absurd numbers.
    pub fn plan(record: &Record, limits: &BTreeMap<String, Amount>, given: &Given) -> Result<Self, NoPlan> {
        let mut from = FromRecord::read(record);
        let plan = propose(&from.claims)?;
        from.against_the_usual(plan.series);
        for (what, quantity) in [("power", &given.load_power), ("current", &given.load_current)] {
            if let Some(quantity) = quantity {
                from.assumed.push(format!(
                    "{what} of a load {}, from the command line, where the record does not say",
                    quantity.text
                ));
            }
        }
        let derived = Derived::of(record, limits);
        let basis = Basis { record, derived: &derived, limits, plan: &plan, given };
        let judged = basis.judge();
        let equal = match judged.set {
            Some(set) => basis.equal_loads(set).map_err(NoPlan)?,
            None => None,
        };
        let leads = basis.leads(judged.set, &judged.shares, equal.as_ref());
        let charging = basis.charging();
        let workup = Workup { basis: &basis, judged: &judged, charging: &charging, equal: equal.as_ref() };
        let session = workup.session();
        let inspection = &record.inspection;
        let title = inspection.title.text().or(inspection.model.text()).unwrap_or("a pack without a title");
        Ok(Self {
            format: 1,
            program: env!("CARGO_PKG_VERSION"),
            title: title.to_owned(),
            invented: inspection.invented.yes() == Some(true),
            planned_from: from.lines,
            missing: from.missing,
            assumed: from.assumed,
            second_look: from.cautions,
            session,
            leads,
            rig: judged.view,
            charging: charging.view,
            caution: crate::units::words::CAUTION,
        })
    }

    /// True when a check of the rig or of the charging leads falls short.
    #[must_use]
    pub fn falls_short(&self) -> bool {
        [&self.rig, &self.charging].iter().any(|view| view.outcome == Outcome::FallsShort)
    }
}
