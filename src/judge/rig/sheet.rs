//! The sheet: everything that is planned and checked, finished for the writers. Nothing that prints it judges.

use serde::Serialize;

use super::check::Lacking;
use super::claims::{FromRecord, Given};
use super::judged::Basis;
use super::line::{Line, Planned};
use super::plan::{NoPlan, propose};
use super::proposals::Leads;
use super::view::RigView;
use super::workup::{HOLD, Workup};
use crate::judge::facts::Derived;
use crate::judge::rules::{Book, Change, Outcome, doubts};
use crate::record::Record;

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
    /// What a house changed in the rule book.
    pub changes: Vec<Change>,
    /// The tool's general caution.
    pub caution: &'static str,
}

impl Sheet {
    /// Plans the session of a record and judges its rig by a book.
    ///
    /// # Errors
    /// Refuses claims that contradict each other, and loads that would be needed in absurd numbers.
    pub fn plan(record: &Record, book: &Book, given: &Given) -> Result<Self, NoPlan> {
        let limits = &book.limit_amounts();
        let mut record = given.filled_in(record.clone());
        doubts::mark(&mut record, book);
        let record = &record;
        let mut from = FromRecord::read(record);
        from.claims.hold = limits.get(HOLD).map(|hold| hold.value());
        let plan = propose(&from.claims)?;
        from.against_the_usual(plan.series, limits);
        for (what, quantity) in [("power", &given.load_power), ("current", &given.load_current)] {
            if let Some(quantity) = quantity {
                from.assumed.push(format!(
                    "{what} of a load {}, from the command line, where the record does not say",
                    quantity.text
                ));
            }
        }
        let derived = Derived::of(record, limits);
        let basis = Basis { record, derived: &derived, book, limits, plan: &plan, given };
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
            format: 2,
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
            changes: book.changes.clone(),
            caution: crate::units::words::CAUTION,
        })
    }

    /// True when a critical or major rule falls short, of the rig or of the charging leads.
    pub fn falls_short(&self) -> bool {
        let mut checks = self.rig.checks.iter().chain(&self.charging.checks);
        checks.any(|check| check.outcome == Outcome::FallsShort && check.grade.is_grave())
    }
}
