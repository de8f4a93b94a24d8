//! The rig, judged: the current it is to carry, how that is shared out, what each element does, and every check.

use std::collections::BTreeMap;

use super::branch::{Branch, Carries};
use super::circuit::{self, Common, Fault, Fuses};
use super::claims::Given;
use super::equipment::{self, LeadDrop, amount};
use super::plan::{Limits, Plan, current_to_set, split};
use super::view::{FULL_LOAD, RigView, branch_view, conclude};
use crate::judge::facts::{
    Answer, Bound, Derived, Facts, Missing, Reason, Side, Subject, Val, Values, Worked,
};
use crate::judge::rules::{Book, Finding, Scope, judge_rig};
use crate::record::Record;
use crate::record::field::How;
use crate::record::parts::{LoadKind, Reads, RigLoad, RigMeter, Sense};
use crate::units::{Amount, Dimension, show, significant};

/// What falls to a load.
pub(super) struct LoadShare {
    pub(super) name: String,
    pub(super) count: u32,
    pub(super) current: Option<f64>,
    pub(super) each: Option<f64>,
    /// Resistance of the leads of one of them alone, Ω, as far as it is known.
    pub(super) leads: Option<f64>,
}

/// What the session needs of the rig besides its view.
pub(super) struct Judged {
    pub(super) view: RigView,
    /// The current to set in the full-load test, A.
    pub(super) set: Option<f64>,
    /// The current that would do, A: what is set by hand may be more.
    pub(super) needed: Option<f64>,
    /// Expanded uncertainty of the reading of that current, A.
    pub(super) uncertainty: Option<f64>,
    pub(super) shares: Vec<LoadShare>,
    /// Drop of the leads at the capacity test's current.
    pub(super) drop: LeadDrop,
}

/// What the judgement rests on.
pub(super) struct Basis<'a> {
    pub(super) record: &'a Record,
    pub(super) derived: &'a Derived,
    pub(super) book: &'a Book,
    pub(super) limits: &'a BTreeMap<String, Amount>,
    pub(super) plan: &'a Plan,
    pub(super) given: &'a Given,
}

pub(super) fn lack(name: &str) -> Vec<Missing> {
    vec![Missing::fact(name, "", Reason::NotRecorded)]
}

impl Basis<'_> {
    /// Judges the rig.
    pub(super) fn judge(&self) -> Judged {
        let rig = &self.record.rig;
        let names: Vec<String> =
            rig.load.iter().enumerate().map(|(index, load)| equipment::load_name(load, index)).collect();
        let loads = self.load_limits();
        let rated = self.plan.full_load.map(|session| session.current);
        let (needed, uncertainty) = match rated {
            Some(rated) => self.needed(rated, &names, &loads),
            None => (None, None),
        };
        let amps_set = || loads.iter().map(|load| load.set);
        let all_set: Option<f64> = amps_set().sum::<Option<f64>>().filter(|_| !loads.is_empty());
        // The trunk carries what is set even where that is more than the test needs.
        let at_least: f64 = amps_set().flatten().sum();
        let set = needed.map(|needed| needed.max(at_least)).or(all_set);
        let shares = set.and_then(|set| split(set, self.plan.full, &loads));
        let mut shares: Vec<LoadShare> = names
            .iter()
            .zip(&loads)
            .enumerate()
            .map(|(index, (name, load))| {
                let share = shares.as_ref().and_then(|shares| shares.get(index));
                let of_one = load.set;
                LoadShare {
                    name: name.clone(),
                    count: load.count,
                    current: share.map(|share| share.current).or(of_one),
                    each: share.map(|share| share.each).or(of_one.map(|i| i / f64::from(load.count))),
                    leads: None,
                }
            })
            .collect();
        let trunk = Branch::new(self.record, &rig.element, Carries::Whole, set, 1, self.limits);
        let branches: Vec<Branch> = rig
            .load
            .iter()
            .zip(&shares)
            .map(|(load, share)| {
                let carries = Carries::Share(share.name.clone());
                Branch::new(self.record, &load.element, carries, share.each, share.count, self.limits)
            })
            .collect();
        for (share, branch) in shares.iter_mut().zip(&branches) {
            let known = |worked: Worked| worked.value.amount().map(Amount::value);
            share.leads = branch.of_path("path.resistance").ok().and_then(known);
        }
        let drop = self.drop_in_capacity_test(&trunk, &branches);
        let (loads, meters) = (self.facts_of_loads(&shares, needed), self.facts_of_meters(&shares, set));
        let mut facts = self.facts(&trunk);
        facts.extend(self.facts_of_the_whole(needed, all_set, &names, &drop));
        let mut derived = self.derived.clone();
        derived.add_rig(facts.clone(), loads, meters);
        let mut findings = self.apply(&derived, |scope| match scope {
            Scope::Rig => vec![Subject::Rig],
            Scope::Loads => (0..rig.load.len()).map(Subject::Load).collect(),
            Scope::Meters => (0..rig.meter.len()).map(Subject::Meter).collect(),
            _ => Vec::new(),
        });
        let fault_current = self.fault();
        let fault = self.fault_of(&fault_current);
        let fuses = Fuses::of(&trunk, &fault);
        let all: Vec<&Branch> = std::iter::once(&trunk).chain(&branches).collect();
        let mut circuits = Vec::new();
        for branch in &all {
            let in_series = match branch.carries {
                Carries::Share(_) => fuses.and(&Fuses::of(branch, &fault)),
                Carries::Whole | Carries::Charge => fuses.clone(),
            };
            let judged = branch.judge(self.book, &facts, &self.common(&in_series, &fault), &fault);
            circuits.push(branch_view(branch, &judged));
            findings.extend(judged);
        }
        let recorded = !(rig.element.is_empty() && rig.load.is_empty() && rig.meter.is_empty());
        let mut view = RigView::of(circuits, set, recorded, findings);
        view.notes = self.notes(&branches);
        view.unfused = circuit::unfused(&all, &fault_current);
        conclude(&mut view, &FULL_LOAD);
        Judged { view, set, needed, uncertainty, shares, drop }
    }

    fn load_limits(&self) -> Vec<Limits> {
        let of = |load: &RigLoad| Limits {
            power: load.power.quantity().map(|quantity| quantity.value),
            current: load.current.quantity().map(|quantity| quantity.value),
            count: load.count.count().unwrap_or(1).max(1),
            set: load.set_current.quantity().map(|quantity| quantity.value),
        };
        self.record.rig.load.iter().map(of).collect()
    }

    /// The current to set so that the rated one is shown beyond the uncertainty of what reads it, and that uncertainty.
    fn needed(&self, rated: f64, names: &[String], loads: &[Limits]) -> (Option<f64>, Option<f64>) {
        let expanded =
            |current: f64| self.whole_reading(current, names, loads).map(|reading| reading.number.expanded());
        if expanded(rated).is_none() {
            return (Some(rated), None);
        }
        let set = current_to_set(rated, |i| expanded(i).unwrap_or(0.0));
        (Some(set), expanded(set))
    }

    /// The reading of the whole current: by one instrument, or the sum of those of all branches.
    fn whole_reading(&self, current: f64, names: &[String], loads: &[Limits]) -> Option<Amount> {
        let meters = &self.record.rig.meter;
        let read =
            |id: &str, amperes| equipment::reading(self.record, &self.derived.sources, id, amperes).ok();
        let whole = meters.iter().find(|meter| meter.reads.known() == Some(Reads::WholeCurrent));
        if let Some(reading) = whole.and_then(|meter| read(meter.instrument.text()?, current)) {
            return Some(reading);
        }
        let shares = split(current, self.plan.full, loads)?;
        let readings: Option<Vec<Amount>> = names
            .iter()
            .zip(&shares)
            .map(|(name, share)| {
                let meter = meters.iter().find(|meter| {
                    meter.reads.known() == Some(Reads::BranchCurrent)
                        && meter.load.text() == Some(name.as_str())
                })?;
                read(meter.instrument.text()?, share.current)
            })
            .collect();
        readings.filter(|readings| !readings.is_empty()).map(|readings| equipment::sum(&readings))
    }

    pub(super) fn highest(&self) -> Result<Amount, Vec<Missing>> {
        match self.plan.charge_limit {
            Some(limit) => Ok(Amount::exact(limit, Dimension::VOLTAGE)),
            None => Err(lack("claims.charge_voltage")),
        }
    }

    fn full(&self) -> Result<Amount, Vec<Missing>> {
        match self.plan.full {
            Some(full) => Ok(Amount::exact(full, Dimension::VOLTAGE)),
            None => Err(lack("cells.chemistry")),
        }
    }

    /// What ends a short circuit of a current, by the book's stand-ins where no data sheet was read.
    pub(super) fn fault_of<'b>(&'b self, current: &'b Answer) -> Fault<'b> {
        let (stand_in, quick_from) = (self.limits.get("withstand_time"), self.limits.get("quick_multiple"));
        Fault { current, stand_in, quick_from }
    }

    /// What the elements of a circuit have in common.
    pub(super) fn common(&self, fuses: &Fuses, fault: &Fault<'_>) -> Common {
        let all_listed = self.record.rig.complete.yes() == Some(true);
        Common {
            smallest_fuse: fuses.smallest(all_listed),
            let_through: fuses.let_through(all_listed, fault),
        }
    }

    /// Facts of the rig that its elements, its loads and its source are judged by.
    pub(super) fn facts(&self, trunk: &Branch) -> Values {
        let mut values = Values::new();
        values.insert("rig.fault_current", self.fault());
        values.insert("rig.overcurrent_devices", trunk.of_path("path.overcurrent_devices"));
        let highest = self.highest();
        let slack = self.plan.series.map_or(0.0, f64::from)
            * self.limits.get("cell_voltage_tolerance").map_or(0.0, Amount::value);
        let limit = highest.clone().map(|highest| Worked {
            steps: vec![format!(
                "{} with {} for the rounding of nameplates (limit `cell_voltage_tolerance` for each cell)",
                highest.show(),
                show(slack, Dimension::VOLTAGE)
            )],
            ..amount(Amount { number: highest.number.shifted(slack), ..highest })
        });
        values.insert("rig.charge_voltage_limit", limit);
        values.insert("rig.highest_voltage", highest.map(amount));
        values
    }

    /// Facts of the loads and the instruments together.
    fn facts_of_the_whole(
        &self,
        needed: Option<f64>,
        all_set: Option<f64>,
        names: &[String],
        drop: &LeadDrop,
    ) -> Values {
        let mut values = Values::new();
        let current = |current: Option<f64>, name: &str| match current {
            Some(current) => Ok(amount(Amount::exact(current, Dimension::CURRENT))),
            None => Err(lack(name)),
        };
        let loads_set = if names.is_empty() {
            let what = "no load (`[[rig.load]]`) is recorded";
            Err(vec![Missing::told("load.power", what, Reason::NotRecorded)])
        } else {
            Ok(Worked::of(Val::YesNo(all_set.is_some())))
        };
        values.insert("rig.loads_set", loads_set);
        values.insert("rig.set_current", current(all_set, "load.set_current"));
        values.insert("rig.needed_current", current(needed, "claims.continuous_current"));
        values.insert("rig.listed", equipment::listed(self.record));
        values.insert("rig.reads_all", equipment::coverage(self.record, names));
        values.insert("rig.unsensed_drop", self.unsensed_drop(drop));
        values
    }

    /// The drop between the pack's terminals and the place where the voltage is sensed, for one cell.
    fn unsensed_drop(&self, drop: &LeadDrop) -> Answer {
        let sense = &self.record.rig.sense;
        match sense.known() {
            Some(Sense::AtThePack) => Ok(amount(Amount::exact(0.0, Dimension::VOLTAGE))),
            None => Err(vec![Missing::fact("rig.sense", "", equipment::why(sense.found()))]),
            Some(Sense::AtTheLoad) => {
                let (Some(known), Some(series)) = (&drop.known, self.plan.series) else {
                    let mut all = drop.missing.clone();
                    if self.plan.series.is_none() {
                        all.extend(lack("cells.series"));
                    }
                    return Err(all);
                };
                let number = known.number.scaled(1.0 / f64::from(series));
                // What is left out adds to the drop.
                let missing = drop.missing.clone();
                Ok(Worked {
                    steps: vec![format!(
                        "drop of the leads at the capacity test's current {}, {series} cells",
                        known.show()
                    )],
                    bound: (!missing.is_empty()).then_some(Bound {
                        side: Side::AtLeast,
                        missing,
                        by_definition: false,
                    }),
                    ..amount(Amount { number, dimension: known.dimension })
                })
            }
        }
    }

    /// Applies the rules to parts of the rig, and names them.
    pub(super) fn apply(&self, derived: &Derived, parts: impl Fn(&Scope) -> Vec<Subject>) -> Vec<Finding> {
        let Self { record, limits, .. } = *self;
        let mut findings = judge_rig(self.book, |scope| {
            let facts = |subject| Facts { record, derived, limits, subject };
            parts(scope).into_iter().map(facts).collect()
        });
        for finding in &mut findings {
            let rig = &record.rig;
            let load = |index: usize| rig.load.get(index).map(|load| equipment::load_name(load, index));
            let meter = |index: usize| rig.meter.get(index).map(|meter| meter_name(meter, index));
            let name = match finding.at {
                Subject::Load(index) => load(index),
                Subject::Meter(index) => meter(index),
                Subject::Source => Some(rig.source.name.text().unwrap_or("the source").to_owned()),
                _ => Some("the rig".to_owned()),
            };
            finding.subject = name.unwrap_or_default();
        }
        findings
    }

    /// The prospective short-circuit current at the pack's terminals: as recorded for the rig, or from the pack; where both
    /// are known the higher one, which is the safer one to choose a fuse by.
    pub(super) fn fault(&self) -> Answer {
        let of_pack = self.derived.of_pack("path.short_circuit_current");
        let entry = &self.record.rig.fault_current;
        let Some(quantity) = entry.quantity() else {
            return of_pack.cloned().unwrap_or_else(|| Err(lack("rig.fault_current")));
        };
        let found = entry.found();
        let implausible = Missing::implausible(found);
        if !implausible.is_empty() {
            return of_pack.filter(|of_pack| of_pack.is_ok()).cloned().unwrap_or(Err(implausible));
        }
        let recorded = self.derived.sources.amount(quantity, found, 0);
        let mut steps = vec![format!("recorded for the rig: {}", recorded.show())];
        let claimed = found.how == Some(How::Claimed);
        let claims = claimed.then(|| "rig.fault_current".to_owned()).into_iter().collect();
        if let Some(Ok(worked)) = of_pack
            && let Some(higher) = worked
                .value
                .amount()
                .filter(|amount| amount.value() + amount.number.expanded() > recorded.value())
        {
            steps.extend(worked.steps.iter().cloned());
            steps.push(format!("{} from the pack is the higher one, and is taken", higher.show()));
            return Ok(Worked { steps, ..worked.clone() });
        }
        Ok(Worked { steps, claims, contradicted: found.doubts.clone(), ..amount(recorded) })
    }

    fn facts_of_loads(&self, shares: &[LoadShare], needed: Option<f64>) -> Vec<Values> {
        let full = self.full();
        let loads = self.record.rig.load.iter().zip(shares);
        let of = |(load, share): (&RigLoad, &LoadShare)| {
            let each = match share.each {
                Some(each) => Ok(Amount::exact(each, Dimension::CURRENT)),
                None if needed.is_none() => Err(lack("claims.continuous_current")),
                None => {
                    let what =
                        format!("the share of the current that falls to {} does not follow", share.name);
                    Err(vec![Missing::told("load.set_current", what, Reason::NotRecorded)])
                }
            };
            equipment::of_load(load, each, &full)
        };
        loads.map(of).collect()
    }

    fn facts_of_meters(&self, shares: &[LoadShare], set: Option<f64>) -> Vec<Values> {
        let of = |(index, meter): (usize, &RigMeter)| {
            let exact = |current| Ok(Amount::exact(current, Dimension::CURRENT));
            let reading = match meter.reads.known() {
                Some(Reads::WholeCurrent) => {
                    set.map_or_else(|| Err(lack("claims.continuous_current")), exact)
                }
                Some(Reads::BranchCurrent) => {
                    let share = shares.iter().find(|share| meter.load.text() == Some(share.name.as_str()));
                    match (share.and_then(|share| share.current), meter.load.text()) {
                        (Some(current), _) => exact(current),
                        (None, None) => Err(lack("meter.load")),
                        (None, Some(_)) => Err(lack("load.set_current")),
                    }
                }
                Some(Reads::PackVoltage | Reads::Temperature) | None => {
                    Err(vec![Missing::refused("it reads no current")])
                }
            };
            let name = meter_name(meter, index);
            equipment::of_meter(self.record, &self.derived.sources, meter, &name, reading)
        };
        self.record.rig.meter.iter().enumerate().map(of).collect()
    }

    /// The drop of the leads at the capacity test's current, through the branch with the most resistance.
    fn drop_in_capacity_test(&self, trunk: &Branch, branches: &[Branch]) -> LeadDrop {
        let mut drop = LeadDrop { known: None, missing: Vec::new() };
        let Some(session) = self.plan.capacity else {
            drop.missing = lack("claims.capacity");
            return drop;
        };
        let mut resistance = |branch: &Branch| -> Option<Amount> {
            if branch.elements().is_empty() {
                return None;
            }
            match branch.of_path("path.resistance") {
                Ok(worked) => {
                    drop.missing.extend(worked.bound.into_iter().flat_map(|bound| bound.missing));
                    worked.value.amount().cloned()
                }
                Err(missing) => {
                    drop.missing.extend(missing);
                    None
                }
            }
        };
        let whole = resistance(trunk);
        let worst =
            branches.iter().filter_map(&mut resistance).max_by(|a, b| a.value().total_cmp(&b.value()));
        let sum = match (whole, worst) {
            (Some(a), Some(b)) => Some(a.number.plus(&b.number)),
            (a, b) => a.or(b).map(|amount| amount.number),
        };
        drop.known =
            sum.map(|sum| Amount { number: sum.scaled(session.current), dimension: Dimension::VOLTAGE });
        if drop.known.is_none() && drop.missing.is_empty() {
            drop.missing.push(Missing::told(
                "",
                "no lead (`[[rig.element]]`) is recorded",
                Reason::NotRecorded,
            ));
        }
        drop
    }

    fn notes(&self, branches: &[Branch]) -> Vec<String> {
        let mut notes = Vec::new();
        let percent = |ratio: f64| significant(ratio * 100.0, 2);
        for (load, branch) in self.record.rig.load.iter().zip(branches) {
            let name = branch.name();
            let Some((full, cutoff)) = self.plan.full.zip(self.plan.cutoff) else { continue };
            let higher = full / cutoff;
            let from_to = |to: f64| {
                let amps = |value| show(value, Dimension::CURRENT);
                branch.current.map_or_else(String::new, |i| format!(", from {} to {}", amps(i), amps(i * to)))
            };
            match load.kind.known() {
                Some(LoadKind::Inverter) => notes.push(format!(
                    "{name} draws constant power, as an inverter does. Left alone, its current rises by {} % between full and \
                     cut-off{}. Turn down what it feeds as the voltage falls: the leads are checked at the test current only.",
                    percent(higher - 1.0),
                    from_to(higher)
                )),
                Some(LoadKind::ResistorBank) => notes.push(format!(
                    "{name} is a resistor bank: its current falls by {} % between full and cut-off{}. Switch steps in so that \
                     the test current is held.",
                    percent(1.0 - 1.0 / higher),
                    from_to(1.0 / higher)
                )),
                Some(LoadKind::ElectronicLoad) | None => {}
            }
        }
        notes
    }
}

/// A meter by what it reads.
fn meter_name(meter: &RigMeter, index: usize) -> String {
    let instrument = meter.instrument.text().map_or_else(|| format!("no. {}", index + 1), str::to_owned);
    match (meter.reads.known(), meter.load.text()) {
        (Some(Reads::BranchCurrent), Some(load)) => format!("meter {instrument}, current of {load}"),
        (Some(reads), _) => format!("meter {instrument}, {}", reads.word()),
        (None, _) => format!("meter {instrument}"),
    }
}
