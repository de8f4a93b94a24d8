//! Plans a session from the claims: currents, durations, energies, what the load must take, what the
//! instruments must read. It knows nothing of the test rig; that is a current path of its own and is checked
//! as one before full load is applied.

use thiserror::Error;
use uom::si::electric_charge::coulomb;
use uom::si::electric_current::ampere;
use uom::si::electric_potential::volt;
use uom::si::f64::{ElectricCharge, ElectricCurrent, ElectricPotential, Energy, Power, Time};
use uom::si::power::watt;
use uom::si::time::{hour, minute};

use crate::physics::cells::Chemistry;

/// Rate of a capacity test (IEC 61960 and IEC 62620 use 0.2 It; from memory), per hour.
pub const CAPACITY_RATE: f64 = 0.2;
/// Duration of a full-load test where none is stated, min (common practice, no source).
pub const FULL_LOAD_MINUTES: f64 = 15.0;
/// An instrument should read at least this part of the current above it (common practice, no source).
const RANGE_MARGIN: f64 = 1.25;
/// Parallel loads that are proposed at most.
const BRANCHES: f64 = 64.0;

/// What is claimed, and what the load can take.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Claims {
    /// Chemistry of the cells.
    pub chemistry: Chemistry,
    /// Cells in series.
    pub series: u32,
    /// Rated capacity.
    pub capacity: ElectricCharge,
    /// Rated continuous current.
    pub current: Option<ElectricCurrent>,
    /// What one load takes at most.
    pub load_power: Option<Power>,
    /// What one load takes at most.
    pub load_current: Option<ElectricCurrent>,
}

/// One test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Session {
    /// Current to set.
    pub current: ElectricCurrent,
    /// Its C-rate.
    pub rate: f64,
    /// Expected duration.
    pub duration: Time,
    /// Expected energy at nominal voltage.
    pub energy: Energy,
    /// Power of the load at the start, at the voltage of rest when full: the most it will be.
    pub power: Power,
    /// Loads in parallel that this takes; `None` where the load is not stated.
    pub branches: Option<u32>,
    /// Current of each.
    pub branch_current: Option<ElectricCurrent>,
    /// Range that the instrument for the whole current needs.
    pub instrument_range: ElectricCurrent,
}

/// The session.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Plan {
    /// Nominal voltage.
    pub nominal: ElectricPotential,
    /// Cut-off for the load, and of one cell.
    pub cutoff: ElectricPotential,
    /// Cut-off of one cell.
    pub cutoff_cell: ElectricPotential,
    /// Charge limit.
    pub charge_limit: ElectricPotential,
    /// The capacity test.
    pub capacity: Session,
    /// The full-load test, where a rated current is claimed.
    pub full_load: Option<Session>,
}

/// Claims from which no session follows.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("no session follows from the claims: {0}")]
pub struct NoPlan(pub String);

/// Proposes a session.
///
/// # Errors
/// Refuses claims that are not positive, and loads so small that more than 64 would be needed.
pub fn propose(claims: &Claims) -> Result<Plan, NoPlan> {
    let positive = |what: &str, value: f64| {
        if value > 0.0 && value < 1e9 {
            Ok(())
        } else {
            Err(NoPlan(format!("{what} is not a positive number")))
        }
    };
    positive("the number of cells in series", f64::from(claims.series))?;
    positive("the rated capacity", claims.capacity.get::<coulomb>())?;
    for (what, value) in [
        ("the rated current", claims.current.map(|i| i.get::<ampere>())),
        ("the power of the load", claims.load_power.map(|p| p.get::<watt>())),
        ("the current of the load", claims.load_current.map(|i| i.get::<ampere>())),
    ] {
        if let Some(value) = value {
            positive(what, value)?;
        }
    }
    let series = f64::from(claims.series);
    let cell = claims.chemistry.voltages();
    let one_hour = Time::new::<hour>(1.0);
    let at_one_c: ElectricCurrent = claims.capacity / one_hour;
    let low = at_one_c * CAPACITY_RATE;
    let capacity = session(claims, low, claims.capacity / low)?;
    let full_load = claims
        .current
        .map(|current| {
            // A pack that is empty earlier is not asked for more than it claims to hold.
            let wanted = Time::new::<minute>(FULL_LOAD_MINUTES);
            let whole: Time = claims.capacity / current;
            session(claims, current, if whole < wanted { whole } else { wanted })
        })
        .transpose()?;
    Ok(Plan {
        nominal: cell.nominal * series,
        cutoff: cell.discharge * series,
        cutoff_cell: cell.discharge,
        charge_limit: cell.charge * series,
        capacity,
        full_load,
    })
}

fn session(claims: &Claims, current: ElectricCurrent, duration: Time) -> Result<Session, NoPlan> {
    let cell = claims.chemistry.voltages();
    let series = f64::from(claims.series);
    let power: Power = cell.rest_full * series * current;
    let by_power = claims.load_power.map(|load| (power / load).get::<uom::si::ratio::ratio>());
    let by_current = claims.load_current.map(|load| (current / load).get::<uom::si::ratio::ratio>());
    let needed = match (by_power, by_current) {
        (Some(a), Some(b)) => Some(a.max(b)),
        (a, b) => a.or(b),
    };
    // A load at exactly its limit counts as one.
    let needed = needed.map(|needed| (needed - 1e-9).ceil().max(1.0));
    if let Some(needed) = needed.filter(|needed| *needed > BRANCHES) {
        return Err(NoPlan(format!("it would take {needed} such loads in parallel")));
    }
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 1 and 64")]
    let branches = needed.map(|needed| needed as u32);
    let rate = (current / claims.capacity * Time::new::<hour>(1.0)).get::<uom::si::ratio::ratio>();
    Ok(Session {
        current,
        rate,
        duration,
        energy: cell.nominal * series * current * duration,
        power,
        branches,
        branch_current: needed.map(|needed| current / needed),
        instrument_range: current * RANGE_MARGIN,
    })
}

/// The cut-off of a pack, for messages.
#[must_use]
pub fn cutoff_of(chemistry: Chemistry, series: u32) -> ElectricPotential {
    ElectricPotential::new::<volt>(chemistry.voltages().discharge.get::<volt>() * f64::from(series))
}

#[cfg(test)]
mod tests {
    use super::*;
    use uom::si::electric_charge::ampere_hour;
    use uom::si::energy::watt_hour;

    /// 92 A is 0.2 C of 460 Ah; four LFP cells are emptied to 10 V (common practice, no source).
    #[test]
    fn a_large_pack() {
        let plan = propose(&Claims {
            chemistry: Chemistry::Lfp,
            series: 4,
            capacity: ElectricCharge::new::<ampere_hour>(460.0),
            current: Some(ElectricCurrent::new::<ampere>(250.0)),
            load_power: Some(Power::new::<watt>(1500.0)),
            load_current: None,
        })
        .unwrap();
        assert!((plan.capacity.current.get::<ampere>() - 92.0).abs() < 1e-9);
        assert!((plan.capacity.duration.get::<hour>() - 5.0).abs() < 1e-9);
        assert!((plan.capacity.energy.get::<watt_hour>() - 5888.0).abs() < 1e-6);
        assert!((plan.cutoff.get::<volt>() - 10.0).abs() < 1e-12);
        // 13.6 V · 92 A = 1251 W: one load. 13.6 V · 250 A = 3400 W: three.
        assert_eq!(plan.capacity.branches, Some(1));
        let full = plan.full_load.unwrap();
        assert_eq!(full.branches, Some(3));
        assert!((full.power.get::<watt>() - 3400.0).abs() < 1e-9);
        assert!((full.instrument_range.get::<ampere>() - 312.5).abs() < 1e-9);
    }

    #[test]
    fn refusals() {
        let claims = Claims {
            chemistry: Chemistry::Lfp,
            series: 8,
            capacity: ElectricCharge::new::<ampere_hour>(150.0),
            current: None,
            load_power: Some(Power::new::<watt>(1.0)),
            load_current: None,
        };
        assert!(propose(&claims).is_err(), "hundreds of loads");
        assert!(propose(&Claims { series: 0, ..claims }).is_err());
        let nothing = ElectricCharge::new::<ampere_hour>(0.0);
        assert!(propose(&Claims { capacity: nothing, ..claims }).is_err());
    }
}
