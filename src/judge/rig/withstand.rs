//! Whether a lead outlives a short circuit for as long as a fuse takes to end it.
//!
//! All the heat stays in the metal: I²t = k²S² (IEC 60364-4-43, 434.5.2). It is held against what the quickest fuse in
//! series lets through or takes until it has cleared, as its data sheet says. Where no data sheet was read, the rule
//! book's limit `withstand_time` stands in, and only at many times the fuse's rating: just above its rating a fuse takes
//! minutes. Without a fuse a lead carries the fault until it melts, and that is said with its time.

use uom::si::area::square_meter;
use uom::si::electric_current::ampere;
use uom::si::f64::{Area, ElectricCurrent, ThermodynamicTemperature};
use uom::si::thermodynamic_temperature::kelvin;
use uom::si::time::second;

use super::branch::{Branch, Carries};
use super::checks::{self, Asked, Check, Fuses, Lacking, incomplete, line_for, without_ambient};
use crate::judge::facts::{Answer, Missing, Reason};
use crate::judge::rules::Outcome;
use crate::judge::rules::expr::Relation;
use crate::physics::material::Material;
use crate::physics::{Refusal, ZERO_CELSIUS, adiabatic};
use crate::record::parts::ElementTrait;
use crate::units::{Amount, Dimension, propagate, show, significant};

/// The stand-in for a clearing time holds from this multiple of a fuse's rating on (common practice, no source).
const QUICK_FROM: f64 = 10.0;

/// Square millimetres in a square metre: k is per square millimetre.
const MM2: f64 = 1e6;

const WITHSTANDS: Asked = Asked {
    check: "withstands",
    title: "Outlives a short circuit until a fuse of the rig has cleared it",
    basis: "IEC 60364-4-43, 434.5.2: I²t = k²S², k of table 43A (from memory)",
    remedy: "Use a thicker lead, or a fuse that lets less through, at the pack's terminal.",
};

/// What a short circuit is judged by.
pub(super) struct Fault<'a> {
    /// Prospective short-circuit current at the pack's terminals.
    pub(super) current: &'a Answer,
    /// Time that stands in for the clearing time of a fuse that does not say its own.
    pub(super) stand_in: Option<&'a Amount>,
}

type Named = (Amount, String);

/// The quickest fuses of a group: by what they let through, by their time, and those that say neither.
pub(super) struct Quickest {
    let_through: Option<Named>,
    clearing: Option<Named>,
    unread: Option<Named>,
}

fn offer(least: &mut Option<Named>, amount: &Amount, name: &str) {
    if least.as_ref().is_none_or(|(known, _)| amount.value() < known.value()) {
        *least = Some((amount.clone(), name.to_owned()));
    }
}

impl Quickest {
    pub(super) const fn none() -> Self {
        Self { let_through: None, clearing: None, unread: None }
    }

    /// Takes a fuse of a rating in.
    pub(super) fn offer(&mut self, branch: &Branch, fuse: usize, rating: &Amount) {
        let name = branch.label(fuse);
        let (let_through, clearing) = branch.clearing(fuse);
        if let_through.is_none() && clearing.is_none() {
            offer(&mut self.unread, rating, &name);
        }
        if let Some(amount) = let_through {
            offer(&mut self.let_through, &amount, &name);
        }
        if let Some(amount) = clearing {
            offer(&mut self.clearing, &amount, &name);
        }
    }

    /// These and others in series.
    pub(super) fn and(&self, other: &Self) -> Self {
        let quicker = |own: &Option<Named>, other: &Option<Named>| {
            let mut least = own.clone();
            if let Some((amount, name)) = other {
                offer(&mut least, amount, name);
            }
            least
        };
        Self {
            let_through: quicker(&self.let_through, &other.let_through),
            clearing: quicker(&self.clearing, &other.clearing),
            unread: quicker(&self.unread, &other.unread),
        }
    }

    const fn is_none(&self) -> bool {
        self.let_through.is_none() && self.clearing.is_none() && self.unread.is_none()
    }
}

/// What a lead takes in a short circuit.
struct Takes {
    /// Time until its insulation is spoiled.
    time: Amount,
    /// I²t until then.
    heat: Amount,
    /// Time until it melts, s, where the metal's melting point is known.
    melts: Option<f64>,
    steps: Vec<String>,
    assumed: Vec<String>,
}

fn takes(branch: &Branch, index: usize, fault: &Amount) -> Result<Takes, Vec<Missing>> {
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
    let (Some(area), Some(metal)) = (area.value.amount(), metal) else {
        return Err(vec![Missing::refused("a fact has the wrong kind")]);
    };
    let (k, start) = k_of(branch, index, metal, &mut assumed).map_err(refused)?;
    let number = propagate(&[&area.number, &fault.number], |x| time(k, x[0], x[1])).map_err(refused)?;
    let heat = Amount { number: area.number.scaled(k * MM2).power(2), dimension: Dimension::LET_THROUGH };
    let time_to = Amount { number, dimension: Dimension::TIME };
    let melts = adiabatic::melting_point(metal)
        .and_then(|end| adiabatic::factor(metal, start, end).ok())
        .and_then(|k| time(k, area.value(), fault.value()).ok());
    let k_shown = significant(k, 3);
    let steps = vec![
        format!("I²t = ({k_shown} A·s^½/mm² × {})² = {}", area.show(), heat.show()),
        format!("{} for {} until its insulation is spoiled", fault.show(), time_to.show()),
    ];
    Ok(Takes { time: time_to, heat, melts, steps, assumed })
}

fn refused(refusal: Refusal) -> Vec<Missing> {
    vec![Missing::refused(&refusal.to_string())]
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

/// Whether a lead outlives a short circuit until one of the fuses in series has cleared it.
pub(super) fn of(fuses: &Fuses, all_listed: bool, branch: &Branch, index: usize, fault: &Fault<'_>) -> Check {
    let label = branch.label(index);
    let (current, takes) = match fault.current.as_ref().map(|worked| worked.value.amount()) {
        Ok(Some(current)) => (current, takes(branch, index, current)),
        Ok(None) => return WITHSTANDS.open(&label, &[Missing::refused("a fact has the wrong kind")]),
        Err(_) => {
            let mut missing = vec![Missing::fact("rig.fault_current", "", Reason::NotRecorded)];
            missing.extend(fuses.missing.iter().cloned());
            return WITHSTANDS.open(&label, &missing);
        }
    };
    let takes = match takes {
        Ok(takes) => takes,
        Err(missing) => return WITHSTANDS.open(&label, &missing),
    };
    let mut check = against(fuses, all_listed, &label, &takes, current, fault.stand_in);
    check.steps.splice(0..0, takes.steps);
    check.assumed.extend(takes.assumed);
    without_ambient(check, branch, index)
}

/// The most favourable of what the fuses say.
fn against(
    fuses: &Fuses,
    all_listed: bool,
    label: &str,
    takes: &Takes,
    current: &Amount,
    stand_in: Option<&Amount>,
) -> Check {
    let quickest = &fuses.quickest;
    if quickest.is_none() {
        let mut missing = fuses.missing.clone();
        if missing.is_empty() && !all_listed {
            missing.push(incomplete());
        }
        let mut check = if missing.is_empty() {
            WITHSTANDS.of(label, Outcome::FallsShort)
        } else {
            WITHSTANDS.open(label, &missing)
        };
        check.steps.push("no fuse of the rig ends a short circuit".to_owned());
        if let Some(melts) = takes.melts {
            check.steps.push(format!(
                "it melts after {} at the earliest, all heat staying in the metal",
                show(melts, Dimension::TIME)
            ));
        }
        return check;
    }
    let mut found = Vec::new();
    if let Some((let_through, name)) = &quickest.let_through {
        let mut check = WITHSTANDS.compare(label, &takes.heat, Relation::AtLeast, let_through);
        check.steps.push(format!("{name} lets {} through, by its data sheet", let_through.show()));
        found.push(check);
    }
    if let Some((clearing, name)) = &quickest.clearing {
        let mut check = WITHSTANDS.compare(label, &takes.time, Relation::AtLeast, clearing);
        check.steps.push(format!("{name} clears within {}, by its curve", clearing.show()));
        found.push(check);
    }
    if let Some((rating, name)) = &quickest.unread {
        found.push(unread(label, takes, current, rating, name, stand_in));
    }
    // Of fuses in series the quickest counts; one that nobody read may be quicker than one that is too slow.
    let least = |outcome: Outcome| match outcome {
        Outcome::Meets => 0,
        Outcome::NotDecided => 1,
        Outcome::FallsShort => 2,
    };
    let best = found.into_iter().min_by_key(|check| least(check.outcome));
    let mut check = best.unwrap_or_else(|| WITHSTANDS.open(label, &fuses.missing));
    if check.outcome == Outcome::FallsShort && !fuses.missing.is_empty() {
        check.outcome = Outcome::NotDecided;
        check.missing.extend(fuses.missing.iter().map(Into::into));
    }
    check
}

/// Against a fuse whose data sheet nobody read.
fn unread(
    label: &str,
    takes: &Takes,
    current: &Amount,
    rating: &Amount,
    name: &str,
    stand_in: Option<&Amount>,
) -> Check {
    let multiple = current.value() / rating.value();
    if let Some(limit) = stand_in.filter(|_| multiple >= QUICK_FROM) {
        let mut check = WITHSTANDS.compare(label, &takes.time, Relation::AtLeast, limit);
        if check.outcome == Outcome::Meets {
            check.assumed.push(format!(
                "what {name} lets through is not recorded; {} to clear {} times its rating taken (limit `withstand_time`)",
                limit.show(),
                significant(multiple, 2)
            ));
            return check;
        }
    }
    let mut check = WITHSTANDS.of(label, Outcome::NotDecided);
    check.missing.push(Lacking {
        what: format!("what {name} lets through, or the time in which it clears, is not recorded"),
        write: line_for("clearing.let_through")
            .map(|line| format!("{line}, whose `of` is the id of the fuse")),
    });
    check
}

/// What elements without a fuse among them mean, for the lead that melts first; `None` where there is one, or nothing at all.
pub(super) fn unfused(branches: &[&Branch], fault: &Answer) -> Option<String> {
    let any = branches.iter().any(|branch| !branch.elements().is_empty());
    if !any || branches.iter().any(|branch| checks::fuses(branch).next().is_some()) {
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
        .filter(|(branch, index)| branch.has(*index, ElementTrait::Conductor))
        .filter_map(|(branch, index)| {
            let takes = takes(branch, index, current).ok()?;
            Some((takes.melts?, takes.time.value(), branch.label(index)))
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
