//! The rig, judged: the current it is to carry, how that is shared out, what each element does, and every check.

use std::collections::BTreeMap;

use uom::si::electric_current::ampere;
use uom::si::electric_potential::volt;
use uom::si::f64::{ElectricCurrent, Power};
use uom::si::power::watt;

use super::branch::{Branch, Carries};
use super::checks::{self, Check, Pack};
use super::claims::Given;
use super::equipment::{self, LeadDrop, LoadNeed, Reading};
use super::view::{FULL_LOAD, RigView, conclude};
use super::withstand;
use crate::judge::facts::{Answer, Derived, Missing, Reason, Val, Worked};
use crate::logs::plan::{Limits, Plan, current_to_set, split};
use crate::record::Record;
use crate::record::parts::ElementKind;
use crate::units::{Amount, Dimension, show, significant};

/// Share of its marking at which a shunt is run for long (common practice, no source).
const SHUNT_SHARE: f64 = 2.0 / 3.0;

/// What falls to a load.
pub(super) struct LoadShare {
    pub(super) name: String,
    pub(super) count: u32,
    /// All of the group.
    pub(super) current: Option<f64>,
    /// One of them.
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
    pub(super) limits: &'a BTreeMap<String, Amount>,
    pub(super) plan: &'a Plan,
    pub(super) given: &'a Given,
}

fn ampere_of(value: f64) -> ElectricCurrent {
    ElectricCurrent::new::<ampere>(value)
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
        let rated = self.plan.full_load.map(|session| session.current.get::<ampere>());
        let (needed, uncertainty) = match rated {
            Some(rated) => self.needed(rated, &names, &loads),
            None => (None, None),
        };
        let amps_set = || loads.iter().map(|load| load.set.map(|i| i.get::<ampere>()));
        let all_set: Option<f64> = amps_set().sum::<Option<f64>>().filter(|_| !loads.is_empty());
        // The trunk carries what is set even where that is more than the test needs.
        let at_least: f64 = amps_set().flatten().sum();
        let set = needed.map(|needed| needed.max(at_least)).or(all_set);
        let shares = set.and_then(|set| split(ampere_of(set), self.plan.full, &loads));
        let mut shares: Vec<LoadShare> = names
            .iter()
            .zip(&loads)
            .enumerate()
            .map(|(index, (name, load))| {
                let share = shares.as_ref().and_then(|shares| shares.get(index));
                let of_one = load.set.map(|i| i.get::<ampere>());
                LoadShare {
                    name: name.clone(),
                    count: load.count,
                    current: share.map(|share| share.current.get::<ampere>()).or(of_one),
                    each: share
                        .map(|share| share.each.get::<ampere>())
                        .or(of_one.map(|i| i / f64::from(load.count))),
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
        let mut checks = vec![equipment::listed(self.record)];
        checks.extend(checks::of_elements(&trunk, &branches, &self.pack()));
        self.check_loads(&shares, needed, all_set, &mut checks);
        self.check_meters(&names, &shares, set, &mut checks);
        let drop = self.drop_in_capacity_test(&trunk, &branches);
        let tolerance = self.limit("cell_voltage_tolerance");
        checks.push(equipment::sense(self.record, &drop, self.plan.series, tolerance.as_ref()));
        let recorded = !(rig.element.is_empty() && rig.load.is_empty() && rig.meter.is_empty());
        let all: Vec<&Branch> = std::iter::once(&trunk).chain(&branches).collect();
        let mut view = RigView::of(&all, set, recorded, checks);
        view.notes = self.notes(&trunk, &branches);
        view.unfused = withstand::unfused(&all, &self.fault());
        conclude(&mut view, &FULL_LOAD);
        Judged { view, set, needed, uncertainty, shares, drop }
    }

    /// The loads' limits; what the command line gives stands in for what is not recorded.
    pub(super) fn load_limits(&self) -> Vec<Limits> {
        let of = |load: &crate::record::parts::RigLoad| Limits {
            power: load
                .power
                .quantity()
                .or(self.given.load_power.as_ref())
                .map(|quantity| Power::new::<watt>(quantity.value)),
            current: load
                .current
                .quantity()
                .or(self.given.load_current.as_ref())
                .map(|quantity| ampere_of(quantity.value)),
            count: load.count.count().unwrap_or(1).max(1),
            set: load.set_current.quantity().map(|quantity| ampere_of(quantity.value)),
        };
        self.record.rig.load.iter().map(of).collect()
    }

    fn limit(&self, name: &str) -> Option<Amount> {
        self.limits.get(name).cloned()
    }

    /// The current to set so that the rated one is shown beyond the uncertainty of what reads it, and that uncertainty.
    fn needed(&self, rated: f64, names: &[String], loads: &[Limits]) -> (Option<f64>, Option<f64>) {
        let expanded =
            |current: f64| self.whole_reading(current, names, loads).map(|reading| reading.number.expanded());
        if expanded(rated).is_none() {
            return (Some(rated), None);
        }
        let set = current_to_set(ampere_of(rated), |i| ampere_of(expanded(i.get::<ampere>()).unwrap_or(0.0)));
        let set = set.get::<ampere>();
        (Some(set), expanded(set))
    }

    /// The reading of the whole current: by one instrument, or the sum of those of all branches.
    fn whole_reading(&self, current: f64, names: &[String], loads: &[Limits]) -> Option<Amount> {
        let meters = &self.record.rig.meter;
        let read =
            |id: &str, amperes| equipment::reading(self.record, &self.derived.sources, id, amperes).ok();
        let whole = meters.iter().find(|meter| meter.reads.word() == Some("whole current"));
        if let Some(reading) = whole.and_then(|meter| read(meter.instrument.text()?, current)) {
            return Some(reading);
        }
        let shares = split(ampere_of(current), self.plan.full, loads)?;
        let readings: Option<Vec<Amount>> = names
            .iter()
            .zip(&shares)
            .map(|(name, share)| {
                let meter = meters.iter().find(|meter| {
                    meter.reads.word() == Some("branch current") && meter.load.text() == Some(name.as_str())
                })?;
                read(meter.instrument.text()?, share.current.get::<ampere>())
            })
            .collect();
        readings.filter(|readings| !readings.is_empty()).map(|readings| equipment::sum(&readings))
    }

    pub(super) fn highest(&self) -> Result<Amount, Vec<Missing>> {
        match self.plan.charge_limit {
            Some(limit) => Ok(Amount::exact(limit.get::<volt>(), Dimension::VOLTAGE)),
            None => Err(lack("claims.charge_voltage")),
        }
    }

    fn full(&self) -> Result<Amount, Vec<Missing>> {
        match self.plan.full {
            Some(full) => Ok(Amount::exact(full.get::<volt>(), Dimension::VOLTAGE)),
            None => Err(lack("cells.chemistry")),
        }
    }

    pub(super) fn pack(&self) -> Pack {
        Pack {
            highest: self.highest(),
            fault: self.fault(),
            fuse_distance: self.limit("fuse_distance"),
            withstand_time: self.limit("withstand_time"),
        }
    }

    /// The prospective short-circuit current at the pack's terminals: as recorded for the rig, or from the pack.
    pub(super) fn fault(&self) -> Answer {
        let entry = &self.record.rig.fault_current;
        if let Some(quantity) = entry.quantity() {
            let amount = self.derived.sources.amount(quantity, entry.found(), 0);
            return Ok(Worked {
                steps: vec![format!("recorded for the rig: {}", amount.show())],
                sources: Vec::new(),
                assumed: Vec::new(),
                bound: None,
                claims: Vec::new(),
                value: Val::Amount(amount),
            });
        }
        match self.derived.of_pack("path.short_circuit_current") {
            Some(answer) => answer.clone(),
            None => Err(lack("rig.fault_current")),
        }
    }

    fn check_loads(
        &self,
        shares: &[LoadShare],
        needed: Option<f64>,
        all_set: Option<f64>,
        checks: &mut Vec<Check>,
    ) {
        if shares.is_empty() {
            checks.push(equipment::no_load());
        }
        if let (Some(set), Some(needed)) = (all_set, needed) {
            checks.push(equipment::together(set, needed));
        }
        for (load, share) in self.record.rig.load.iter().zip(shares) {
            let each = match share.each {
                Some(each) => Ok(Amount::exact(each, Dimension::CURRENT)),
                None if needed.is_none() => Err(lack("claims.continuous_current")),
                None => Err(vec![Missing {
                    name: "load.set_current".to_owned(),
                    what: format!("the share of the current that falls to {} does not follow", share.name),
                    reason: Reason::NotRecorded,
                }]),
            };
            let need = LoadNeed { each, full: self.full(), highest: self.highest() };
            let mut load = load.clone();
            self.fill_in(&mut load);
            checks.extend(equipment::of_load(&self.derived.sources, &load, &share.name, &need));
        }
    }

    /// What the command line gives stands in for what is not recorded.
    fn fill_in(&self, load: &mut crate::record::parts::RigLoad) {
        use crate::record::{Found, State, Value};
        let known = |quantity: &crate::units::Quantity| Found {
            state: State::Known(Value::Quantity(quantity.clone())),
            ..Found::default()
        };
        if let (None, Some(power)) = (load.power.quantity(), &self.given.load_power) {
            *load.power.found_mut() = known(power);
        }
        if let (None, Some(current)) = (load.current.quantity(), &self.given.load_current) {
            *load.current.found_mut() = known(current);
        }
    }

    fn check_meters(
        &self,
        names: &[String],
        shares: &[LoadShare],
        set: Option<f64>,
        checks: &mut Vec<Check>,
    ) {
        checks.push(equipment::coverage(self.record, names));
        for (index, meter) in self.record.rig.meter.iter().enumerate() {
            let word = meter.reads.word();
            let reading = match word {
                Some("whole current") => {
                    set.map_or_else(|| Reading::Unknown(lack("claims.continuous_current")), Reading::Current)
                }
                Some("branch current") => {
                    let share = shares.iter().find(|share| meter.load.text() == Some(share.name.as_str()));
                    match (share.and_then(|share| share.current), meter.load.text()) {
                        (Some(current), _) => Reading::Current(current),
                        (None, None) => Reading::Unknown(lack("meter.load")),
                        (None, Some(_)) => Reading::Unknown(lack("load.set_current")),
                    }
                }
                Some("pack voltage") => match self.highest() {
                    Ok(highest) => Reading::Voltage(highest.value()),
                    Err(missing) => Reading::Unknown(missing),
                },
                Some(_) => Reading::Other,
                None => Reading::Unknown(lack("meter.reads")),
            };
            let instrument =
                meter.instrument.text().map_or_else(|| format!("no. {}", index + 1), str::to_owned);
            let name = match (word, meter.load.text()) {
                (Some("branch current"), Some(load)) => format!("meter {instrument}, current of {load}"),
                (Some(word), _) => format!("meter {instrument}, {word}"),
                (None, _) => format!("meter {instrument}"),
            };
            checks.extend(equipment::of_meter(self.record, &self.derived.sources, meter, &name, &reading));
        }
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
        drop.known = sum.map(|sum| Amount {
            number: sum.scaled(session.current.get::<ampere>()),
            dimension: Dimension::VOLTAGE,
        });
        if drop.known.is_none() && drop.missing.is_empty() {
            drop.missing.push(equipment_missing());
        }
        drop
    }

    fn notes(&self, trunk: &Branch, branches: &[Branch]) -> Vec<String> {
        let mut notes = Vec::new();
        let all: Vec<&Branch> = std::iter::once(trunk).chain(branches).collect();
        let percent = |ratio: f64| significant(ratio * 100.0, 2);
        for (load, branch) in self.record.rig.load.iter().zip(branches) {
            let name = branch.name();
            let Some((full, cutoff)) = self.plan.full.zip(self.plan.cutoff) else { continue };
            let higher: f64 = (full / cutoff).get::<uom::si::ratio::ratio>();
            let from_to = |to: f64| {
                let amps = |value| show(value, Dimension::CURRENT);
                branch.current.map_or_else(String::new, |i| format!(", from {} to {}", amps(i), amps(i * to)))
            };
            match load.kind.word() {
                Some("inverter") => notes.push(format!(
                    "{name} draws constant power, as an inverter does. Left alone, its current rises by {} % between full and \
                     cut-off{}. Turn down what it feeds as the voltage falls: the leads are checked at the test current only.",
                    percent(higher - 1.0),
                    from_to(higher)
                )),
                Some("resistor bank") => notes.push(format!(
                    "{name} is a resistor bank: its current falls by {} % between full and cut-off{}. Switch steps in so that \
                     the test current is held.",
                    percent(1.0 - 1.0 / higher),
                    from_to(1.0 / higher)
                )),
                _ => {}
            }
        }
        for branch in all {
            for index in 0..branch.elements().len() {
                let marked = branch.amount(index, "element.marked_current");
                if let (Some(current), Some(marked)) = (branch.current, marked)
                    && branch.elements()[index].kind() == Some(ElementKind::Shunt)
                    && current > SHUNT_SHARE * marked.value()
                {
                    notes.push(format!(
                        "{} would run at {} % of its marking; shunts are usually run for long at two thirds of it at most \
                         (common practice, no source): above that they read wrong from their own heat.",
                        branch.label(index),
                        percent(current / marked.value())
                    ));
                }
            }
        }
        notes
    }
}

fn equipment_missing() -> Missing {
    Missing {
        name: String::new(),
        what: "no lead (`[[rig.element]]`) is recorded".to_owned(),
        reason: Reason::NotRecorded,
    }
}
