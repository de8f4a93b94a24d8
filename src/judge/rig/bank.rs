//! What the session says of resistors as a load: the range of resistance, the power, and how the current falls.
//!
//! A recorded bank is told for its share, with the leads in series with it taken off. Where no load is recorded a bank is
//! told as one way to do it. It is a caution in any case: its surfaces are as hot as its power makes them.

use super::judged::{Basis, Judged};
use super::line::Line;
use super::plan::Session;
use crate::record::parts::{LoadKind, RigLoad};
use crate::units::{Dimension, show};

/// Where no load is recorded.
const INSTEAD: &str = "a bank of resistors as the load";

fn is_bank(load: &RigLoad) -> bool {
    load.kind.known() == Some(LoadKind::ResistorBank)
}

/// What a bank has to be, with the pack full and at the cut-off.
struct Bank {
    /// Between the ends of its leads, Ω.
    resistance: [f64; 2],
    /// Leads included, W.
    power: [f64; 2],
    /// Current at the cut-off when the resistance of the start is left as it is, A.
    left_alone: f64,
}

/// The bank for a current, A, between the pack's voltage at rest when full (under load it is lower, so what is needed then
/// lies inside the range) and its cut-off, with leads of a known resistance, Ω. `None` where the leads alone have more
/// than the current allows.
fn of(basis: &Basis<'_>, current: f64, leads: f64) -> Option<Bank> {
    let voltages = [basis.plan.full?, basis.plan.cutoff?];
    let share = voltages[1] / voltages[0];
    let resistance = voltages.map(|voltage| voltage / current - leads);
    let possible = share > 0.0 && share <= 1.0 && resistance.iter().all(|r| *r > 0.0 && r.is_finite());
    possible.then(|| Bank { resistance, power: voltages.map(|u| u * current), left_alone: current * share })
}

/// The range of resistance with the power, and what becomes of a resistance that nobody changes.
fn lines(name: &str, bank: &Bank, current: f64, leads: f64) -> [Line; 2] {
    let resistance = bank.resistance.map(|r| show(r, Dimension::RESISTANCE));
    let power = bank.power.map(|p| show(p, Dimension::POWER));
    let left = bank.left_alone;
    let whose = if leads > 0.0 {
        format!("the {} of its leads taken off", show(leads, Dimension::RESISTANCE))
    } else {
        "its leads included".to_owned()
    };
    [
        Line::words(
            name,
            &format!(
                "{} and {} with the pack full, down to {} and {} at the cut-off; {whose}",
                resistance[0], power[0], resistance[1], power[1]
            ),
        ),
        Line::words(
            "left as it is at the start",
            &format!(
                "its current falls with the voltage, from {} to {} at the cut-off, its power to {}",
                show(current, Dimension::CURRENT),
                show(left, Dimension::CURRENT),
                show(bank.power[1] * left / current, Dimension::POWER)
            ),
        ),
    ]
}

/// For the capacity test, where a bank is recorded or no load at all.
pub(super) fn for_capacity(basis: &Basis<'_>, session: &Session) -> Vec<Line> {
    let loads = &basis.record.rig.load;
    if !(loads.is_empty() || loads.iter().any(is_bank)) {
        return Vec::new();
    }
    let current = session.current;
    let name = if loads.is_empty() { INSTEAD } else { "resistor bank, alone" };
    let bank = of(basis, current, 0.0);
    bank.map(|bank| lines(name, &bank, current, 0.0)).into_iter().flatten().collect()
}

/// For the full-load test: each recorded bank for its share, or one for the whole current where no load is recorded.
pub(super) fn for_full_load(basis: &Basis<'_>, judged: &Judged, session: &Session) -> Vec<Line> {
    let loads = &basis.record.rig.load;
    if loads.is_empty() {
        let current = judged.set.unwrap_or(session.current);
        let bank = of(basis, current, 0.0);
        return bank.map(|bank| lines(INSTEAD, &bank, current, 0.0)).into_iter().flatten().collect();
    }
    let banks = loads.iter().zip(&judged.shares).filter(|(load, _)| is_bank(load));
    banks
        .filter_map(|(_, share)| {
            let each = share.each?;
            // A bank that its leads leave no room for is told by the drop of the leads.
            let leads = share.leads.filter(|leads| of(basis, each, *leads).is_some()).unwrap_or(0.0);
            let one = if share.count > 1 { "each of " } else { "" };
            Some(lines(&format!("resistance of {one}{}", share.name), &of(basis, each, leads)?, each, leads))
        })
        .flatten()
        .collect()
}

/// The caution of hot resistors, where a bank is recorded.
pub(super) fn caution(basis: &Basis<'_>) -> Option<String> {
    basis.record.rig.load.iter().any(is_bank).then(|| {
        "A resistor bank turns all of the power into heat: its surfaces burn skin and set things on fire, and stay hot for long after. \
         Nothing lies on or near it, and its fan runs before the load does."
            .to_owned()
    })
}
