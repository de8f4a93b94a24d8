//! The leads between the source and the pack, judged like those of the loads at the current that the source feeds.
//!
//! They are a current path too, and the pack feeds a short circuit in them as it would in any other. Where the source is
//! connected through the leads of the loads the record says so; a source that says neither that nor what its own leads
//! are is not decided. The drop of the leads is no fault: a charge slows down earlier, and the drop goes away as the current
//! falls. It must not be made up for at the source, because then the pack sees all of it.

use super::branch::{Branch, Carries};
use super::circuit::{self, Fuses};
use super::equipment;
use super::judged::Basis;
use super::view::{RigView, Verdict, branch_view, conclude};
use crate::judge::facts::Subject;
use crate::judge::rules::Scope;
use crate::record::parts::Element;
use crate::units::Amount;

/// The charging side of the rig.
pub(super) struct Charging {
    pub(super) view: RigView,
    /// Current of the charge, A.
    pub(super) current: Option<f64>,
    /// Resistance of the leads there and back, as far as it is known.
    pub(super) resistance: Option<Amount>,
    /// True where elements without a known resistance are left out of it.
    pub(super) more: bool,
}

const VERDICT: Verdict = Verdict {
    subject: "the charging leads and the source",
    forbids: "Do not charge with them as they are.",
    meets: "Every recorded part between source and pack meets its checks",
    not_recorded: "Not decided: neither a source nor its leads are recorded, so nothing between source and pack was checked.",
    note: "Record the source under [rig.source], and its leads: a [[rig.source.element]] for each, or shares_leads = \"yes\" where \
           it is connected through the leads of the loads.",
};

impl Basis<'_> {
    /// The current that the leads of the source carry: what it feeds, else what is claimed.
    pub(super) fn charge_current(&self) -> Option<f64> {
        let source = self.record.rig.source.current.quantity();
        source.or(self.record.claims.charge_current.quantity()).map(|quantity| quantity.value)
    }

    /// Judges the charging side.
    pub(super) fn charging(&self) -> Charging {
        let source = &self.record.rig.source;
        let current = self.charge_current();
        let shares = source.shares_leads.yes();
        let mut elements: Vec<Element> = Vec::new();
        if shares == Some(true) {
            elements.extend(self.record.rig.element.iter().cloned());
        }
        elements.extend(source.element.iter().cloned());
        let branch = Branch::new(self.record, &elements, Carries::Charge, current, 1, self.limits);
        let fault_current = self.fault();
        let fault = self.fault_of(&fault_current);
        let common = self.common(&Fuses::of(&branch, &fault), &fault);
        let mut facts = self.facts(&branch);
        let fuses = if elements.is_empty() {
            Err(vec![equipment::not_connected()])
        } else {
            branch.of_path("path.overcurrent_devices")
        };
        facts.insert("source.overcurrent_devices", fuses);
        facts.insert("source.listed", equipment::charging_listed(self.record, &elements));
        let mut derived = self.derived.clone();
        derived.add_rig(facts.clone(), Vec::new(), Vec::new());
        let mut findings = self.apply(&derived, |scope| match scope {
            Scope::Source => vec![Subject::Source],
            _ => Vec::new(),
        });
        let judged = branch.judge(self.book, &facts, &common, &fault);
        let circuit = branch_view(&branch, &judged);
        findings.extend(judged);
        let recorded = source.kind.is_recorded()
            || source.name.is_recorded()
            || source.voltage.is_recorded()
            || source.current.is_recorded()
            || shares.is_some()
            || !elements.is_empty();
        let (resistance, more) = match branch.of_path("path.resistance") {
            Ok(worked) if !elements.is_empty() => (worked.value.amount().cloned(), worked.bound.is_some()),
            _ => (None, true),
        };
        let mut view = RigView::of(vec![circuit], current, recorded, findings);
        view.unfused = circuit::unfused(&[&branch], &fault_current);
        conclude(&mut view, &VERDICT);
        Charging { view, current, resistance, more }
    }
}

impl Charging {
    /// The drop at the charge current, and the voltage that is left of the source's.
    pub(super) fn drop(&self, source: Option<f64>) -> Option<(f64, Option<f64>)> {
        let drop = self.resistance.as_ref()?.value() * self.current?;
        Some((drop, source.map(|source| source - drop)))
    }
}
