//! Plans a session from the claims: currents, durations, energies, what loads must take, what instruments must read.
//!
//! A claim that is missing takes away what follows from it and nothing else: half a plan is worth more than none, and
//! whoever shows it says what is missing. Nothing here knows of the record or judges the test rig; the rig is a current
//! path of its own and is checked as one before full load is applied.

mod bank;
mod lead;
mod split;

use thiserror::Error;
use uom::si::electric_charge::coulomb;
use uom::si::electric_current::ampere;
use uom::si::electric_potential::volt;
use uom::si::f64::{ElectricCharge, ElectricCurrent, ElectricPotential, Energy, Power, Ratio, Time};
use uom::si::ratio::ratio;
use uom::si::time::hour;

pub use bank::{Bank, bank};
pub use lead::{LeadNeed, SizedLead, next_fuse, smallest_lead};
pub use split::{Limits, MOST_LOADS, equal_loads, split};

use crate::physics::cells::Chemistry;

/// Rate of a capacity test (IEC 61960 and IEC 62620 use 0.2 It; from memory), per hour.
pub const CAPACITY_RATE: f64 = 0.2;
/// Charge current of a cold-charge test, per hour: enough to be seen, little where nothing blocks it (common practice,
/// no source).
pub const COLD_RATE: f64 = 0.05;

/// What is claimed; what is not known is left out.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct SessionClaims {
    /// Chemistry of the cells.
    pub chemistry: Option<Chemistry>,
    /// Cells in series.
    pub series: Option<u32>,
    /// Rated capacity.
    pub capacity: Option<ElectricCharge>,
    /// Rated continuous current.
    pub current: Option<ElectricCurrent>,
    /// Nominal voltage; the chemistry's where it is not claimed.
    pub nominal: Option<ElectricPotential>,
    /// Discharge cut-off; the chemistry's where it is not claimed.
    pub cutoff: Option<ElectricPotential>,
    /// Charge limit; the chemistry's where it is not claimed.
    pub charge_limit: Option<ElectricPotential>,
    /// How long the rated current is to be held; without it until the pack is empty. No claim, but a limit of the rule book.
    pub hold: Option<Time>,
}

/// One discharge.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Session {
    /// Current to set.
    pub current: ElectricCurrent,
    /// Its C-rate, where a capacity is claimed.
    pub rate: Option<f64>,
    /// Expected duration.
    pub duration: Option<Time>,
    /// Charge taken out.
    pub charge: Option<ElectricCharge>,
    /// Expected energy at nominal voltage.
    pub energy: Option<Energy>,
    /// Power of the load at the start, at the voltage of rest when full: the most it will be.
    pub power_full: Option<Power>,
    /// Power of the load at the cut-off.
    pub power_cutoff: Option<Power>,
}

/// The session.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Plan {
    /// Cells in series, claimed or from nominal voltage and chemistry.
    pub series: Option<u32>,
    /// Nominal voltage.
    pub nominal: Option<ElectricPotential>,
    /// Voltage at rest when full; the charge limit, which is higher, where the chemistry is not known.
    pub full: Option<ElectricPotential>,
    /// Cut-off for the load.
    pub cutoff: Option<ElectricPotential>,
    /// Cut-off of one cell.
    pub cutoff_cell: Option<ElectricPotential>,
    /// Charge limit.
    pub charge_limit: Option<ElectricPotential>,
    /// Charge limit of one cell.
    pub charge_limit_cell: Option<ElectricPotential>,
    /// The capacity test.
    pub capacity: Option<Session>,
    /// The full-load test.
    pub full_load: Option<Session>,
}

/// Claims from which no session follows.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("no session follows from the claims: {0}")]
pub struct NoPlan(pub String);

/// Proposes a session.
///
/// # Errors
/// Refuses claims that are not positive, and a charge limit that is not above the cut-off.
pub fn propose(claims: &SessionClaims) -> Result<Plan, NoPlan> {
    for (what, value) in [
        ("the number of cells in series", claims.series.map(f64::from)),
        ("the rated capacity", claims.capacity.map(|q| q.get::<coulomb>())),
        ("the rated current", claims.current.map(|i| i.get::<ampere>())),
        ("the nominal voltage", claims.nominal.map(|u| u.get::<volt>())),
        ("the cut-off voltage", claims.cutoff.map(|u| u.get::<volt>())),
        ("the charge voltage", claims.charge_limit.map(|u| u.get::<volt>())),
    ] {
        if value.is_some_and(|value| !(value > 0.0 && value < 1e9)) {
            return Err(NoPlan(format!("{what} is zero, or larger than any pack has")));
        }
    }
    let series = claims.series.or_else(|| series_from(claims));
    let of_pack = |pick: fn(&crate::physics::cells::Voltages) -> ElectricPotential| {
        claims
            .chemistry
            .zip(series)
            .map(|(chemistry, series)| pick(&chemistry.voltages()) * f64::from(series))
    };
    let nominal = claims.nominal.or_else(|| of_pack(|v| v.nominal));
    let cutoff = claims.cutoff.or_else(|| of_pack(|v| v.discharge));
    let charge_limit = claims.charge_limit.or_else(|| of_pack(|v| v.charge));
    if let (Some(cutoff), Some(limit)) = (cutoff, charge_limit)
        && cutoff >= limit
    {
        return Err(NoPlan("the charge voltage is not above the cut-off voltage".to_owned()));
    }
    let each = |pack: Option<ElectricPotential>| pack.zip(series).map(|(pack, n)| pack / f64::from(n));
    let full = of_pack(|v| v.rest_full).or(charge_limit);
    let voltages = Levels { nominal, full, cutoff };
    let capacity = claims.capacity.map(|charge| {
        let current = charge / Time::new::<hour>(1.0) * CAPACITY_RATE;
        session(claims.capacity, &voltages, current, Some(charge / current))
    });
    let full_load = claims.current.map(|current| {
        // A pack that is empty earlier is not asked for more than it claims to hold.
        let whole: Option<Time> = claims.capacity.map(|charge| charge / current);
        let duration = claims.hold.filter(|hold| whole.is_none_or(|whole| *hold <= whole)).or(whole);
        session(claims.capacity, &voltages, current, duration)
    });
    Ok(Plan {
        series,
        nominal,
        full,
        cutoff,
        cutoff_cell: each(cutoff),
        charge_limit,
        charge_limit_cell: each(charge_limit),
        capacity,
        full_load,
    })
}

/// How far claimed nominal voltage may lie from a whole number of cells.
const SERIES_SLACK: f64 = 0.03;

/// Cells in series that make up the claimed nominal voltage.
fn series_from(claims: &SessionClaims) -> Option<u32> {
    let cell = claims.chemistry?.voltages().nominal;
    let cells: f64 = (claims.nominal? / cell).get::<ratio>();
    let whole = cells.round();
    let fits = (1.0..=1000.0).contains(&whole) && (cells / whole - 1.0).abs() <= SERIES_SLACK;
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 1 and 1000")]
    fits.then_some(whole as u32)
}

struct Levels {
    nominal: Option<ElectricPotential>,
    full: Option<ElectricPotential>,
    cutoff: Option<ElectricPotential>,
}

fn session(
    capacity: Option<ElectricCharge>,
    voltages: &Levels,
    current: ElectricCurrent,
    duration: Option<Time>,
) -> Session {
    let rate = capacity.map(|capacity| {
        let rate: Ratio = current * Time::new::<hour>(1.0) / capacity;
        rate.get::<ratio>()
    });
    Session {
        current,
        rate,
        duration,
        charge: duration.map(|duration| current * duration),
        energy: voltages.nominal.zip(duration).map(|(nominal, duration)| nominal * current * duration),
        power_full: voltages.full.map(|full| full * current),
        power_cutoff: voltages.cutoff.map(|cutoff| cutoff * current),
    }
}

/// The current to set, so that the rated one is shown beyond the uncertainty of what reads it.
///
/// `expanded` gives the expanded uncertainty (k = 2) of a reading. The result is a whole ampere.
pub fn current_to_set(
    rated: ElectricCurrent,
    expanded: impl Fn(ElectricCurrent) -> ElectricCurrent,
) -> ElectricCurrent {
    let mut set = rated;
    // An uncertainty is a small share of its reading: this settles within a few rounds, and a wild one ends here.
    for _ in 0..20 {
        set = rated + expanded(set);
    }
    let whole = (set.get::<ampere>() - 1e-9).ceil();
    if whole.is_finite() { ElectricCurrent::new::<ampere>(whole) } else { rated }
}

/// Time in which a heater warms cells of a heat capacity by a rise, without losses.
pub fn warm_up(heat: Energy, power: Power) -> Option<Time> {
    let time: Time = heat / power;
    time.value.is_finite().then_some(time)
}

#[cfg(test)]
mod tests {
    use super::*;
    use uom::si::electric_charge::ampere_hour;
    use uom::si::energy::watt_hour;
    use uom::si::power::watt;
    use uom::si::time::minute;

    fn large() -> SessionClaims {
        SessionClaims {
            chemistry: Some(Chemistry::Lfp),
            series: Some(4),
            capacity: Some(ElectricCharge::new::<ampere_hour>(460.0)),
            current: Some(ElectricCurrent::new::<ampere>(250.0)),
            hold: Some(Time::new::<minute>(15.0)),
            ..SessionClaims::default()
        }
    }

    /// 92 A is 0.2 C of 460 Ah; four LFP cells are emptied to 10 V; 250 A for 15 min are 62.5 Ah (common practice, no
    /// source).
    #[test]
    fn a_large_pack() {
        let plan = propose(&large()).unwrap();
        let capacity = plan.capacity.unwrap();
        assert!((capacity.current.get::<ampere>() - 92.0).abs() < 1e-9);
        assert!((capacity.rate.unwrap() - 0.2).abs() < 1e-12);
        assert!((capacity.duration.unwrap().get::<hour>() - 5.0).abs() < 1e-9);
        assert!((capacity.energy.unwrap().get::<watt_hour>() - 5888.0).abs() < 1e-6);
        // 13.6 V and 10 V times 92 A.
        assert!((capacity.power_full.unwrap().get::<watt>() - 1251.2).abs() < 1e-9);
        assert!((capacity.power_cutoff.unwrap().get::<watt>() - 920.0).abs() < 1e-9);
        assert!((plan.cutoff.unwrap().get::<volt>() - 10.0).abs() < 1e-12);
        assert!((plan.cutoff_cell.unwrap().get::<volt>() - 2.5).abs() < 1e-12);
        assert!((plan.charge_limit.unwrap().get::<volt>() - 14.6).abs() < 1e-12);
        let full = plan.full_load.unwrap();
        assert!((full.power_full.unwrap().get::<watt>() - 3400.0).abs() < 1e-9);
        assert!((full.charge.unwrap().get::<ampere_hour>() - 62.5).abs() < 1e-9);
    }

    #[test]
    fn what_is_missing_takes_away_only_what_follows_from_it() {
        let nothing = propose(&SessionClaims::default()).unwrap();
        assert!(nothing.capacity.is_none() && nothing.full_load.is_none() && nothing.cutoff.is_none());
        let no_chemistry = propose(&SessionClaims { chemistry: None, ..large() }).unwrap();
        let capacity = no_chemistry.capacity.unwrap();
        assert!((capacity.current.get::<ampere>() - 92.0).abs() < 1e-9);
        assert!(capacity.energy.is_none() && capacity.power_full.is_none() && no_chemistry.cutoff.is_none());
        let no_capacity = propose(&SessionClaims { capacity: None, ..large() }).unwrap();
        let full = no_capacity.full_load.unwrap();
        assert!(no_capacity.capacity.is_none() && full.rate.is_none());
        assert!((full.duration.unwrap().get::<minute>() - 15.0).abs() < 1e-9);
        // A small pack with a large rating is empty before the quarter of an hour is over.
        let small = ElectricCharge::new::<ampere_hour>(20.0);
        let full = propose(&SessionClaims { capacity: Some(small), ..large() }).unwrap().full_load.unwrap();
        assert!((full.duration.unwrap().get::<minute>() - 4.8).abs() < 1e-9);
    }

    /// 12.8 V, 25.6 V and 51.2 V are 4, 8 and 16 LFP cells (common practice, no source).
    #[test]
    fn cells_in_series_from_the_nominal_voltage() {
        for (nominal, series) in
            [(12.8, Some(4)), (25.6, Some(8)), (51.2, Some(16)), (12.0, None), (0.5, None)]
        {
            let nominal = Some(ElectricPotential::new::<volt>(nominal));
            let plan = propose(&SessionClaims { series: None, nominal, ..large() }).unwrap();
            assert_eq!(plan.series, series, "{nominal:?}");
        }
    }

    #[test]
    fn refusals() {
        let nothing = ElectricCharge::new::<ampere_hour>(0.0);
        assert!(propose(&SessionClaims { capacity: Some(nothing), ..large() }).is_err());
        assert!(propose(&SessionClaims { series: Some(0), ..large() }).is_err());
        let odd = ElectricCurrent::new::<ampere>(f64::NAN);
        assert!(propose(&SessionClaims { current: Some(odd), ..large() }).is_err());
        let above = Some(ElectricPotential::new::<volt>(15.0));
        assert!(propose(&SessionClaims { cutoff: above, ..large() }).is_err());
    }

    /// A reading of 203 A with 2 % covers 200 A; a reading of 250 A without uncertainty is 250 A.
    #[test]
    fn the_current_to_set_covers_the_uncertainty() {
        let amps = ElectricCurrent::new::<ampere>;
        for (rated, share, expected) in [(250.0, 0.0, 250.0), (200.0, 0.02, 205.0), (200.0, 0.001, 201.0)] {
            let set = current_to_set(amps(rated), |i| i * share);
            assert_eq!(set, amps(expected));
            assert!(set - set * share >= amps(rated));
        }
        assert_eq!(current_to_set(amps(200.0), |_| amps(f64::INFINITY)), amps(200.0));
    }
}
