//! Leads and fuses that a session needs, whatever the rig that is recorded.

use serde::Serialize;
use uom::si::area::square_millimeter;
use uom::si::electric_current::ampere;
use uom::si::electrical_resistance::ohm;
use uom::si::f64::{ElectricCurrent, Length, ThermodynamicTemperature};
use uom::si::length::meter;
use uom::si::thermodynamic_temperature::kelvin;
use uom::si::time::second;

use super::branch;
use super::judged::{Basis, LoadShare};
use super::plan::{LeadNeed, Limits, SizedLead, equal_loads, next_fuse, smallest_lead};
use crate::physics::material::Material;
use crate::physics::{REFERENCE, ZERO_CELSIUS, adiabatic, cable, resistance};
use crate::units::{Amount, Dimension, show, significant};

/// Insulation class that is taken where none is given, °C: usual for flexible battery leads (common practice, no source).
const INSULATION: f64 = 105.0;
/// Conductors that lie together where nothing is said: both legs side by side.
const TOGETHER: u32 = 2;

/// A lead for one current.
#[derive(Debug, Clone, Serialize, schemars::JsonSchema)]
pub struct LeadProposal {
    /// What it carries.
    pub carries: String,
    /// The current.
    pub current: String,
    /// Smallest sizes that carry it, metric and gauge.
    pub sizes: Vec<String>,
    /// Smallest usual fuse above the current with its margin.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fuse: Option<String>,
    /// Smallest sizes that such a fuse protects.
    pub sizes_behind_fuse: Vec<String>,
    /// Drop of both legs for each metre between pack and load, with the first of the sizes that carry it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub drop: Option<String>,
    /// What the first of the sizes behind the fuse takes in a short circuit, where its current is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub withstands: Option<String>,
    /// The working.
    pub working: Vec<String>,
}

/// The leads that the session needs.
#[derive(Debug, Clone, Serialize, schemars::JsonSchema)]
pub struct Leads {
    /// One for each current.
    pub leads: Vec<LeadProposal>,
    /// What was assumed of insulation, ambient and bundling.
    pub assumed: Vec<String>,
    /// Source of the ampacity.
    pub source: &'static str,
}

/// A load that is known from the command line alone, and how many of it are needed.
pub(super) struct Equal {
    pub(super) number: u32,
    pub(super) each: f64,
}

impl Basis<'_> {
    /// How many equal loads a current needs, where the record has none and the command line describes one.
    ///
    /// # Errors
    /// Says that it would take too many.
    pub(super) fn equal_loads(&self, current: f64) -> Result<Option<Equal>, String> {
        let one = Limits {
            power: self.given.load_power.as_ref().map(|q| q.value),
            current: self.given.load_current.as_ref().map(|q| q.value),
            count: 1,
            set: None,
        };
        if !self.record.rig.load.is_empty() || (one.power.is_none() && one.current.is_none()) {
            return Ok(None);
        }
        let found = equal_loads(current, self.plan.full, &one).map_err(|error| error.0)?;
        Ok(found.map(|(number, each)| Equal { number, each }))
    }

    /// Leads for the whole current, for each share of it and for the charge current.
    pub(super) fn leads(
        &self,
        set: Option<f64>,
        shares: &[LoadShare],
        equal: Option<&Equal>,
    ) -> Option<Leads> {
        let (ambient, recorded) = branch::ambient(self.record, self.limits)?;
        let insulation = self.given.insulation.as_ref().map(|quantity| quantity.value);
        let together = self.given.together.unwrap_or(TOGETHER);
        let need = |current: f64| LeadNeed {
            current: ElectricCurrent::new::<ampere>(current),
            insulation: ThermodynamicTemperature::new::<kelvin>(
                insulation.unwrap_or(ZERO_CELSIUS + INSULATION),
            ),
            ambient: ThermodynamicTemperature::new::<kelvin>(ambient),
            together,
        };
        let factor = self.limits.get("fuse_load_factor").map(|limit| limit.value());
        let fault = self.fault().ok().and_then(|worked| worked.value.amount().map(Amount::value));
        let mut leads: Vec<LeadProposal> = Vec::new();
        let mut told: Vec<f64> = Vec::new();
        let mut add = |name: String, current: f64| {
            if !told.iter().any(|known| (known - current).abs() < 0.5) {
                told.push(current);
                leads.push(proposal(&name, current, need, factor, fault));
            }
        };
        if let Some(set) = set {
            add("the whole current".to_owned(), set);
        }
        for share in shares {
            if let Some(each) = share.each {
                let one = if share.count > 1 { "one of " } else { "" };
                add(format!("the share of {one}{}", share.name), each);
            }
        }
        if let Some(equal) = equal {
            add(format!("the share of one of {} equal loads", equal.number), equal.each);
        }
        if let Some(charge) = self.charge_current() {
            add("the charge current".to_owned(), charge);
        }
        if leads.is_empty() {
            return None;
        }
        let mut assumed = Vec::new();
        let temperature = |value| show(value, Dimension::TEMPERATURE);
        assumed.push(match insulation {
            Some(class) => format!("insulation for {}, as given", temperature(class)),
            None => format!(
                "insulation for {}; a lower class needs a thicker lead (--insulation)",
                temperature(ZERO_CELSIUS + INSULATION)
            ),
        });
        assumed.push(if recorded {
            format!("air around the leads {}, as recorded", temperature(ambient))
        } else {
            format!(
                "air around the leads {}: `rig.ambient` is not recorded, the limit `inner_ambient` stands in",
                temperature(ambient)
            )
        });
        assumed.push(format!(
            "{together} current-carrying conductors lie together for each lead of a leg{}",
            if self.given.together.is_some() { ", as given" } else { ": both legs side by side (--bundled)" }
        ));
        assumed.push("copper, free air, leads of a leg of equal length".to_owned());
        if fault.is_some() {
            assumed.push(format!(
                "in a short circuit a lead is no warmer than {} before, and its insulation bears {}; k = {} A·s^½/mm² \
                 ({}). A fuse protects it that lets less through than the lead takes",
                temperature(ZERO_CELSIUS + adiabatic::STARTS_AT),
                temperature(ZERO_CELSIUS + adiabatic::ENDS_AT),
                significant(adiabatic::k(Material::Copper), 3),
                adiabatic::METHOD.source
            ));
        }
        Some(Leads { leads, assumed, source: cable::METHOD.source })
    }
}

fn proposal(
    carries: &str,
    current: f64,
    need: impl Fn(f64) -> LeadNeed,
    factor: Option<f64>,
    fault: Option<f64>,
) -> LeadProposal {
    let shown = |value: f64| show(value, Dimension::CURRENT);
    let sizes = smallest_lead(&need(current));
    let mut working: Vec<String> = sizes.iter().flatten().map(|lead| working_of(lead, current)).collect();
    let fuse = factor.and_then(|factor| {
        let least = factor * current;
        let rating = next_fuse(least)?;
        working.push(format!(
            "fuse: {} × {} = {}, next usual rating {}",
            significant(factor, 3),
            shown(current),
            shown(least),
            shown(rating)
        ));
        Some(rating)
    });
    let behind = fuse.map(|rating| smallest_lead(&need(rating)));
    if let (Some(behind), Some(rating)) = (&behind, fuse) {
        working.extend(behind.iter().flatten().map(|lead| working_of(lead, rating)));
    }
    let drop = sizes.iter().flatten().next().and_then(|lead| drop_of(lead, current));
    let thickest = behind.as_ref().unwrap_or(&sizes).iter().flatten().next();
    let withstands = thickest.zip(fault).and_then(|(lead, fault)| withstands(lead, fault));
    let names = |leads: &[Option<SizedLead>; 2]| leads.iter().flatten().map(name_of).collect::<Vec<_>>();
    LeadProposal {
        carries: carries.to_owned(),
        current: shown(current),
        sizes: names(&sizes),
        fuse: fuse.map(shown),
        sizes_behind_fuse: behind.as_ref().map(names).unwrap_or_default(),
        drop,
        withstands,
        working,
    }
}

/// What a lead takes in a short circuit, and for how long.
fn withstands(lead: &SizedLead, fault: f64) -> Option<String> {
    let area = lead.size * f64::from(lead.worked.parallel);
    let time = adiabatic::withstand(Material::Copper, area, ElectricCurrent::new::<ampere>(fault)).ok()?;
    let seconds = time.get::<second>();
    // k has three digits, and the figure no more.
    let exact = seconds * fault * fault;
    let let_through: f64 = format!("{exact:.2e}").parse().unwrap_or(exact);
    Some(format!(
        "{}: I²t up to {}, that is {} at {}",
        name_of(lead),
        show(let_through, Dimension::LET_THROUGH),
        show(seconds, Dimension::TIME),
        show(fault, Dimension::CURRENT)
    ))
}

fn name_of(lead: &SizedLead) -> String {
    match lead.worked.parallel {
        1 => lead.name.clone(),
        several => format!("{several} × {} side by side", lead.name),
    }
}

fn working_of(lead: &SizedLead, needed: f64) -> String {
    let worked = &lead.worked;
    let several = if worked.parallel > 1 { format!(" × {} leads", worked.parallel) } else { String::new() };
    format!(
        "{}: {} at 30 °C × {} for the air × {} for bundling{several} = {}; at least {} is needed",
        lead.name,
        show(worked.listed.get::<ampere>(), Dimension::CURRENT),
        significant(worked.ambient_factor, 3),
        significant(worked.bundling_factor, 2),
        show(worked.total.get::<ampere>(), Dimension::CURRENT),
        show(needed, Dimension::CURRENT)
    )
}

/// Drop of both legs for a metre of distance, copper at 20 °C.
fn drop_of(lead: &SizedLead, current: f64) -> Option<String> {
    let one = resistance::of_conductor(
        Material::Copper,
        Length::new::<meter>(2.0),
        lead.size,
        ThermodynamicTemperature::new::<kelvin>(REFERENCE),
    );
    let ohms = one.ok()?.get::<ohm>() / f64::from(lead.worked.parallel);
    Some(format!(
        "{} for each metre between pack and equipment, both legs of {} mm², copper at 20 °C",
        show(ohms * current, Dimension::VOLTAGE),
        significant(lead.size.get::<square_millimeter>() * f64::from(lead.worked.parallel), 3)
    ))
}
