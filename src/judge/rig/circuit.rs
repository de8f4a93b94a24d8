//! What the fuses of a circuit of the rig mean for what is in series with them.
//!
//! All the heat of a short circuit stays in the metal: I²t = k²S² (IEC 60364-4-43, 434.5.2). What a fuse lets through until it
//! has cleared is what its data sheet says, or follows from the time in which it clears. Where no data sheet was read, the
//! rule book's limit `withstand_time` stands in, as the most that it may take, and only at many times the fuse's rating: just
//! above its rating a fuse takes minutes.

use uom::si::area::square_meter;
use uom::si::electric_current::ampere;
use uom::si::f64::{Area, ElectricCurrent, ThermodynamicTemperature};
use uom::si::thermodynamic_temperature::kelvin;
use uom::si::time::second;

use super::branch::{Branch, Carries, no_ambient, renamed, told_of_a_rig};
use crate::judge::facts::block::Block;
use crate::judge::facts::{
    Answer, Bound, Facts, Missing, Reason, Side, Subject, Val, Values, Worked, capped,
};
use crate::judge::rules::{Book, Finding, Scope, judge_rig};
use crate::physics::material::Material;
use crate::physics::{Refusal, ZERO_CELSIUS, adiabatic};
use crate::units::{Amount, Dimension, SourceId, propagate, show, significant};

/// Square millimetres in a square metre: k is per square millimetre.
const MM2: f64 = 1e6;

/// The pack's own protection protects nothing here.
const NOT_COUNTED: &str = "the pack's own fuse and BMS are not counted: they are under test";

fn refused(refusal: &Refusal) -> Vec<Missing> {
    vec![Missing::refused(&refusal.to_string())]
}

fn wrong_kind() -> Vec<Missing> {
    vec![Missing::refused("a fact has the wrong kind")]
}

/// Source of the range of what a fuse lets through, beyond those of other modules.
const PASSED: SourceId = Block::Rig.first();

fn squared_seconds(number: crate::units::Uncertain) -> Amount {
    Amount { number, dimension: Dimension::LET_THROUGH }
}

/// The lack of a statement that the rig's list is complete.
pub(super) fn incomplete() -> Missing {
    let what = "`rig.complete` does not say yes, so there may be more elements";
    Missing::told("rig.complete", what, Reason::NotRecorded)
}

/// A fuse that responds to current.
#[derive(Clone)]
struct Fuse {
    name: String,
    rating: Amount,
    let_through: Option<Amount>,
    clearing: Option<Amount>,
    /// Its interrupting rating, where it is surely below the fault current.
    too_small: Option<Amount>,
}

/// Fuses in series with each other, and what is not known of some.
#[derive(Clone, Default)]
pub(super) struct Fuses {
    known: Vec<Fuse>,
    missing: Vec<Missing>,
}

/// What a short circuit is judged by.
pub(super) struct Fault<'a> {
    /// Prospective short-circuit current at the pack's terminals.
    pub(super) current: &'a Answer,
    /// Time that stands in for the clearing time of a fuse that does not say its own.
    pub(super) stand_in: Option<&'a Amount>,
    /// Multiple of a fuse's rating from which it does.
    pub(super) quick_from: Option<&'a Amount>,
}

impl Fault<'_> {
    fn amount(&self) -> Result<&Amount, Vec<Missing>> {
        match self.current {
            Ok(worked) => worked.value.amount().ok_or_else(wrong_kind),
            Err(missing) => {
                let mut all = vec![Missing::fact("rig.fault_current", "", Reason::NotRecorded)];
                all.extend(missing.iter().cloned());
                Err(all)
            }
        }
    }
}

impl Fuses {
    pub(super) fn of(branch: &Branch, fault: &Fault<'_>) -> Self {
        let mut fuses = Self::default();
        for index in branch.fuses() {
            let responds = branch.fact(index, "element.responds_to");
            match (responds, branch.fact(index, "element.rating")) {
                (Ok(responds), Ok(rating)) if responds.value == Val::Text("current".to_owned()) => {
                    let Some(rating) = rating.value.amount() else { continue };
                    let (let_through, clearing) = branch.clearing(index);
                    let surely_below = |least: &Amount| {
                        let current = fault.amount().ok()?;
                        let short = current.number.minus(&least.number);
                        (short.value > short.expanded()).then(|| least.clone())
                    };
                    let interrupting = branch.amount(index, "element.interrupting_found");
                    let too_small = interrupting.as_ref().and_then(surely_below);
                    let (name, rating) = (branch.label(index), rating.clone());
                    fuses.known.push(Fuse { name, rating, let_through, clearing, too_small });
                }
                (Ok(responds), Err(more)) if responds.value == Val::Text("current".to_owned()) => {
                    fuses.missing.extend(more);
                }
                (Err(more), _) => fuses.missing.extend(more),
                _ => {}
            }
        }
        fuses.missing = capped(std::mem::take(&mut fuses.missing));
        fuses
    }

    /// These and others in series.
    pub(super) fn and(&self, other: &Self) -> Self {
        let mut both = self.clone();
        both.known.extend(other.known.iter().cloned());
        both.missing.extend(other.missing.iter().cloned());
        both
    }

    /// The smallest rating among them; what nobody read may be smaller still.
    pub(super) fn smallest(&self, all_listed: bool) -> Answer {
        let least = self.known.iter().min_by(|a, b| a.rating.value().total_cmp(&b.rating.value()));
        let Some(Fuse { name, rating, .. }) = least else {
            return Err(self.none(all_listed, "no fuse of the rig is in series with it"));
        };
        Ok(Worked {
            steps: vec![format!("rating of {name}: {}", rating.show())],
            assumed: vec![NOT_COUNTED.to_owned()],
            bound: at_most(self.missing.clone()),
            ..Worked::of(Val::Amount(rating.clone()))
        })
    }

    /// Why there is none: something is not known, or it was looked for and is not there.
    fn none(&self, all_listed: bool, absent: &str) -> Vec<Missing> {
        if !self.missing.is_empty() {
            return self.missing.clone();
        }
        if !all_listed {
            return vec![incomplete()];
        }
        vec![Missing::told("", absent, Reason::Absent)]
    }

    /// What passes in a short circuit until the quickest of them has ended it; what nobody read may be quicker still.
    pub(super) fn let_through(&self, all_listed: bool, fault: &Fault<'_>) -> Answer {
        let current = fault.amount().map_err(|mut missing| {
            missing.extend(self.missing.iter().cloned());
            missing
        })?;
        let mut open = self.missing.clone();
        let mut least: Option<Worked> = None;
        let mut offer = |amount: Amount, step: Option<String>, assumed: Option<String>| {
            let quicker = |known: &Worked| known.value.amount().is_some_and(|k| k.value() <= amount.value());
            if !least.as_ref().is_some_and(quicker) {
                let (steps, assumed) = (step.into_iter().collect(), assumed.into_iter().collect());
                least = Some(Worked { steps, assumed, ..Worked::of(Val::Amount(amount)) });
            }
        };
        let mut unable = Vec::new();
        for fuse in &self.known {
            let name = &fuse.name;
            if let Some(rating) = &fuse.too_small {
                unable.push(format!("{name} interrupts no more than {}", rating.show()));
                continue;
            }
            if let Some(amount) = &fuse.let_through {
                let step = format!("{name} lets {} through, by its data sheet", amount.show());
                offer(amount.clone(), Some(step), None);
            }
            // At the ends: the fault current is a range too wide for a slope at its middle.
            let after = |time: &Amount| {
                let ((least, most), (quick, slow)) = (current.ends(), time.ends());
                let ends = (least.powi(2) * quick, most.powi(2) * slow);
                Amount::between(ends.0, ends.1, PASSED, Dimension::LET_THROUGH)
            };
            if let Some(time) = &fuse.clearing {
                let passes = after(time);
                let step = format!(
                    "{name} clears within {}, by its curve: {} until then",
                    time.show(),
                    passes.show()
                );
                offer(passes, Some(step), None);
            }
            if fuse.let_through.is_none() && fuse.clearing.is_none() {
                let what =
                    format!("what {name} lets through, or the time in which it clears, is not recorded");
                open.push(Missing::told("clearing.let_through", what, Reason::NotRecorded));
                // At the least current that may flow: only well above its rating is a fuse quick.
                let multiple = current.ends().0 / fuse.rating.value();
                let quick = fault.quick_from.is_some_and(|from| multiple >= from.value());
                if let Some(time) = fault.stand_in.filter(|_| quick) {
                    let assumed = format!(
                        "what {} lets through is not recorded; {} to clear {} times its rating taken (limit \
                         `withstand_time`)",
                        fuse.name,
                        time.show(),
                        significant(multiple, 2)
                    );
                    offer(after(time), None, Some(assumed));
                }
            }
        }
        match least {
            Some(worked) => Ok(Worked { bound: at_most(open), ..worked }),
            None if !open.is_empty() => Err(capped(open)),
            None => {
                let mut what = "no fuse of the rig ends a short circuit".to_owned();
                if !unable.is_empty() {
                    what = format!("{what} of {}: {}", current.show(), unable.join("; "));
                }
                Err(self.none(all_listed, &what))
            }
        }
    }
}

fn at_most(missing: Vec<Missing>) -> Option<Bound> {
    (!missing.is_empty()).then(|| Bound {
        side: Side::AtMost,
        missing: capped(missing),
        by_definition: false,
    })
}

/// The answers that the elements of a circuit have in common.
pub(super) struct Common {
    pub(super) smallest_fuse: Answer,
    pub(super) let_through: Answer,
}

impl Branch {
    /// Applies the rules of the rig's elements; `rig` holds the facts of the rig as a whole.
    pub(super) fn judge(
        &self,
        book: &Book,
        rig: &Values,
        common: &Common,
        fault: &Fault<'_>,
    ) -> Vec<Finding> {
        let mut derived = self.derived.clone();
        derived.each_answer(&mut |answer| *answer = told_of_a_rig(answer.clone()));
        derived.add_rig(rig.clone(), Vec::new(), Vec::new());
        for index in 0..self.elements().len() {
            derived.add_element(index, of_element(self, index, common, fault));
        }
        let limits = &self.limits;
        let mut findings = judge_rig(book, |scope| match scope {
            Scope::RigElements(kinds) => (0..self.elements().len())
                .filter(|index| self.kind(*index).is_some_and(|kind| kinds.contains(&kind)))
                .map(|index| {
                    let subject = Subject::Element(index);
                    Facts { record: &self.record, derived: &derived, limits, subject }
                })
                .collect(),
            _ => Vec::new(),
        });
        for finding in &mut findings {
            if let Subject::Element(index) = finding.at {
                finding.subject = self.label(index);
            }
            finding.missing = finding.missing.iter().map(renamed).collect();
        }
        findings
    }
}

/// What only an element of a rig has. Where the air around the rig is not recorded, what rests on it is missing.
pub(super) fn of_element(branch: &Branch, index: usize, common: &Common, fault: &Fault<'_>) -> Values {
    let mut values = Values::new();
    let part = match branch.carries {
        Carries::Whole => "whole current",
        Carries::Share(_) => "load",
        Carries::Charge => "source",
    };
    values.insert("circuit.part", Ok(Worked::of(Val::Text(part.to_owned()))));
    values.insert("circuit.current", branch.current_answer());
    let known = branch.ambient_known(index);
    if !known {
        let answer = branch.fact(index, "element.permissible_current");
        let missing = answer.err().unwrap_or_default().into_iter().chain([no_ambient()]);
        values.insert("element.permissible_current", Err(capped(missing)));
    }
    if branch.is_lead(index) {
        values.insert("circuit.smallest_fuse", common.smallest_fuse.clone());
        values.insert("circuit.let_through", common.let_through.clone());
        let withstands = fault.amount().and_then(|current| Ok(withstands(branch, index, current)?.worked));
        values.insert("circuit.withstands", if known { withstands } else { Err(vec![no_ambient()]) });
    }
    values
}

/// What a lead takes in a short circuit.
struct Withstands {
    /// I²t until its insulation is spoiled.
    worked: Worked,
    /// Time until then, s.
    time: f64,
    /// Time until it melts, s, where the metal's melting point is known.
    melts: Option<f64>,
}

fn withstands(branch: &Branch, index: usize, fault: &Amount) -> Result<Withstands, Vec<Missing>> {
    let (area, material) = (branch.fact(index, "element.area"), branch.fact(index, "element.material"));
    let (area, material) = match (area, material) {
        (Ok(area), Ok(material)) => (area, material),
        (area, material) => {
            let mut missing = area.err().unwrap_or_default();
            missing.extend(material.err().unwrap_or_default());
            return Err(missing);
        }
    };
    let mut assumed = area.assumed.clone();
    let metal = Material::from_word(&material.value.show());
    let (Some(area), Some(metal)) = (area.value.amount(), metal) else { return Err(wrong_kind()) };
    let (k, start) = k_of(branch, index, metal, &mut assumed).map_err(|refusal| refused(&refusal))?;
    // The method refuses times and sizes that it does not hold for.
    let until = |x: &[f64]| time(k, x[0], x[1]);
    let number = propagate(&[&area.number, &fault.number], until).map_err(|refusal| refused(&refusal))?;
    let heat = squared_seconds(area.number.scaled(k * MM2).power(2));
    let time_to = Amount { number, dimension: Dimension::TIME };
    let melts = adiabatic::factor(metal, start, adiabatic::melting_point(metal))
        .ok()
        .and_then(|k| time(k, area.value(), fault.value()).ok());
    let steps = vec![
        format!("I²t = ({} A·s^½/mm² × {})² = {}", significant(k, 3), area.show(), heat.show()),
        format!("{} for {} until its insulation is spoiled", fault.show(), time_to.show()),
    ];
    let sources = vec![adiabatic::METHOD.source.to_owned()];
    let worked = Worked { steps, sources, assumed, ..Worked::of(Val::Amount(heat)) };
    Ok(Withstands { worked, time: time_to.value(), melts })
}

fn time(k: f64, area: f64, current: f64) -> Result<f64, Refusal> {
    let (area, current) = (Area::new::<square_meter>(area), ElectricCurrent::new::<ampere>(current));
    adiabatic::time(k, area, current).map(|time| time.get::<second>())
}

/// The table's k, or a lower one for a lead that is hotter when the fault begins, and the temperature it starts from.
fn k_of(
    branch: &Branch,
    index: usize,
    metal: Material,
    assumed: &mut Vec<String>,
) -> Result<(f64, ThermodynamicTemperature), Refusal> {
    let celsius = |value: f64| ThermodynamicTemperature::new::<kelvin>(value + ZERO_CELSIUS);
    let (tabled, end) = (celsius(adiabatic::STARTS_AT), celsius(adiabatic::ENDS_AT));
    let shown = |t: ThermodynamicTemperature| show(t.get::<kelvin>(), Dimension::TEMPERATURE);
    let predicted = branch.amount(index, "element.temperature_at_rated");
    let predicted = predicted.map(|amount| ThermodynamicTemperature::new::<kelvin>(amount.value()));
    if let Some(hot) = predicted.filter(|hot| *hot > tabled) {
        assumed.push(format!(
            "the lead is at {}, as predicted, when the fault begins, and its insulation bears {}",
            shown(hot),
            shown(end)
        ));
        return Ok((adiabatic::factor(metal, hot, end)?, hot));
    }
    assumed.push(format!(
        "the lead is no warmer than {} when the fault begins, and its insulation bears {}",
        shown(tabled),
        shown(end)
    ));
    Ok((adiabatic::k(metal), tabled))
}

/// What elements without a fuse among them mean, for the lead that melts first; `None` where there is one, or nothing at all.
pub(super) fn unfused(branches: &[&Branch], fault: &Answer) -> Option<String> {
    let any = branches.iter().any(|branch| !branch.elements().is_empty());
    if !any || branches.iter().any(|branch| branch.fuses().next().is_some()) {
        return None;
    }
    let what = match branches {
        [one] if one.carries == Carries::Charge => "the leads of the source",
        _ => "the rig",
    };
    let nothing = format!(
        "Nothing that is listed fuses {what}: in a short circuit the leads carry the fault until they melt"
    );
    let Ok(Some(current)) = fault.as_ref().map(|worked| worked.value.amount()) else {
        return Some(format!("{nothing}."));
    };
    let leads = branches.iter().flat_map(|branch| (0..branch.elements().len()).map(move |i| (*branch, i)));
    let first = leads
        .filter(|(branch, index)| branch.is_lead(*index))
        .filter_map(|(branch, index)| {
            let takes = withstands(branch, index, current).ok()?;
            Some((takes.melts?, takes.time, branch.label(index)))
        })
        .min_by(|a, b| a.0.total_cmp(&b.0));
    let time = |seconds| show(seconds, Dimension::TIME);
    Some(match first {
        Some((melts, spoiled, label)) => format!(
            "{nothing}. At {}, {label} spoils its insulation after {} and melts after {} at the earliest (adiabatic, IEC 60949).",
            show(current.value(), Dimension::CURRENT),
            time(spoiled),
            time(melts)
        ),
        None => format!("{nothing}."),
    })
}
