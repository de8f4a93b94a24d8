//! What the session says of resistors as a load: the range of resistance, the power, and how the current falls.
//!
//! A recorded bank is told for its share, with the leads in series with it taken off. Where no load is recorded a bank is
//! told as one way to do it. It is a caution in any case: its surfaces are as hot as its power makes them.

use super::judged::{Basis, Judged};
use super::line::Line;
use super::plan::{Bank, Session, bank};
use crate::record::parts::{LoadKind, RigLoad};
use crate::units::{Dimension, show};

/// Where no load is recorded.
const INSTEAD: &str = "a bank of resistors as the load";

fn is_bank(load: &RigLoad) -> bool {
    load.kind.known() == Some(LoadKind::ResistorBank)
}

/// The bank for a current between the pack's voltage at rest when full and its cut-off.
fn of(basis: &Basis<'_>, current: f64, leads: f64) -> Option<Bank> {
    let plan = basis.plan;
    let (current, leads) = (current, leads);
    bank(current, plan.full?, plan.cutoff?, leads)
}

/// The range of resistance with the power, and what becomes of a resistance that nobody changes.
fn lines(name: &str, bank: &Bank, current: f64, leads: f64) -> [Line; 2] {
    let resistance = |r: f64| show(r, Dimension::RESISTANCE);
    let amperes = |i: f64| show(i, Dimension::CURRENT);
    let power = |p: f64| show(p, Dimension::POWER);
    let (start, end) = (bank.power_full, bank.power_cutoff);
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
                resistance(bank.full),
                power(start),
                resistance(bank.cutoff),
                power(end)
            ),
        ),
        Line::words(
            "left as it is at the start",
            &format!(
                "its current falls with the voltage, from {} to {} at the cut-off, its power to {}",
                amperes(current),
                amperes(left),
                power(end * left / current)
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
