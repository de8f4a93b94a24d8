//! Plans a session from the claims: currents, durations, energies, what loads must take, what instruments must read.
//!
//! A claim that is missing takes away what follows from it and nothing else: half a plan is worth more than none, and
//! whoever shows it says what is missing. Nothing here knows of the record or judges the test rig; the rig is a current
//! path of its own and is checked as one before full load is applied.

mod lead;
mod split;

use thiserror::Error;

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
    pub chemistry: Option<Chemistry>,
    pub series: Option<u32>,
    /// Rated capacity, C.
    pub capacity: Option<f64>,
    /// Rated continuous current, A.
    pub current: Option<f64>,
    /// Nominal voltage, V; the chemistry's where it is not claimed.
    pub nominal: Option<f64>,
    /// Discharge cut-off, V; the chemistry's where it is not claimed.
    pub cutoff: Option<f64>,
    /// Charge limit, V; the chemistry's where it is not claimed.
    pub charge_limit: Option<f64>,
    /// How long the rated current is to be held, s; without it until the pack is empty. No claim, but a limit of the rule book.
    pub hold: Option<f64>,
}

/// One discharge.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Session {
    /// Current to set, A.
    pub current: f64,
    /// Its C-rate, where a capacity is claimed.
    pub rate: Option<f64>,
    /// Expected duration, s.
    pub duration: Option<f64>,
    /// Charge taken out, C.
    pub charge: Option<f64>,
    /// Expected energy at nominal voltage, J.
    pub energy: Option<f64>,
    /// Power of the load at the start, at the voltage of rest when full: the most it will be, W.
    pub power_full: Option<f64>,
    /// Power of the load at the cut-off, W.
    pub power_cutoff: Option<f64>,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Plan {
    /// Cells in series, claimed or from nominal voltage and chemistry.
    pub series: Option<u32>,
    /// Nominal voltage, V.
    pub nominal: Option<f64>,
    /// Voltage at rest when full, V; the charge limit, which is higher, where the chemistry is not known.
    pub full: Option<f64>,
    /// Cut-off for the load, V.
    pub cutoff: Option<f64>,
    /// Cut-off of one cell, V.
    pub cutoff_cell: Option<f64>,
    /// Charge limit, V.
    pub charge_limit: Option<f64>,
    /// Charge limit of one cell, V.
    pub charge_limit_cell: Option<f64>,
    pub capacity: Option<Session>,
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
        ("the rated capacity", claims.capacity),
        ("the rated current", claims.current),
        ("the nominal voltage", claims.nominal),
        ("the cut-off voltage", claims.cutoff),
        ("the charge voltage", claims.charge_limit),
    ] {
        if value.is_some_and(|value| !(value > 0.0 && value < 1e9)) {
            return Err(NoPlan(format!("{what} is zero, or larger than any pack has")));
        }
    }
    let series = claims.series.or_else(|| series_from(claims));
    let of_pack = |pick: fn(&crate::physics::cells::Voltages) -> f64| {
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
    let each = |pack: Option<f64>| pack.zip(series).map(|(pack, n)| pack / f64::from(n));
    let full = of_pack(|v| v.rest_full).or(charge_limit);
    let voltages = Levels { nominal, full, cutoff };
    let capacity = claims.capacity.map(|charge| {
        let current = charge / 3600.0 * CAPACITY_RATE;
        session(claims.capacity, &voltages, current, Some(charge / current))
    });
    let full_load = claims.current.map(|current| {
        // A pack that is empty earlier is not asked for more than it claims to hold.
        let whole: Option<f64> = claims.capacity.map(|charge| charge / current);
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
    let cells = claims.nominal? / cell;
    let whole = cells.round();
    let fits = (1.0..=1000.0).contains(&whole) && (cells / whole - 1.0).abs() <= SERIES_SLACK;
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 1 and 1000")]
    fits.then_some(whole as u32)
}

struct Levels {
    nominal: Option<f64>,
    full: Option<f64>,
    cutoff: Option<f64>,
}

fn session(capacity: Option<f64>, voltages: &Levels, current: f64, duration: Option<f64>) -> Session {
    let rate = capacity.map(|capacity| current * 3600.0 / capacity);
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
pub fn current_to_set(rated: f64, expanded: impl Fn(f64) -> f64) -> f64 {
    let mut set = rated;
    // An uncertainty is a small share of its reading: this settles within a few rounds, and a wild one ends here.
    for _ in 0..20 {
        set = rated + expanded(set);
    }
    let whole = (set - 1e-9).ceil();
    if whole.is_finite() { whole } else { rated }
}

/// Time in which a heater warms cells of a heat capacity by a rise, without losses.
pub fn warm_up(heat: f64, power: f64) -> Option<f64> {
    let time = heat / power;
    time.is_finite().then_some(time)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn large() -> SessionClaims {
        SessionClaims {
            chemistry: Some(Chemistry::Lfp),
            series: Some(4),
            capacity: Some(460.0 * 3600.0),
            current: Some(250.0),
            hold: Some(15.0 * 60.0),
            ..SessionClaims::default()
        }
    }

    /// 12.8 V, 25.6 V and 51.2 V are 4, 8 and 16 LFP cells (common practice, no source).
    #[test]
    fn cells_in_series_from_the_nominal_voltage() {
        for (nominal, series) in
            [(12.8, Some(4)), (25.6, Some(8)), (51.2, Some(16)), (12.0, None), (0.5, None)]
        {
            let nominal = Some(nominal);
            let plan = propose(&SessionClaims { series: None, nominal, ..large() }).unwrap();
            assert_eq!(plan.series, series, "{nominal:?}");
        }
    }

    #[test]
    fn refusals() {
        let nothing = 0.0 * 3600.0;
        assert!(propose(&SessionClaims { capacity: Some(nothing), ..large() }).is_err());
        assert!(propose(&SessionClaims { series: Some(0), ..large() }).is_err());
        let odd = f64::NAN;
        assert!(propose(&SessionClaims { current: Some(odd), ..large() }).is_err());
        let above = Some(15.0);
        assert!(propose(&SessionClaims { cutoff: above, ..large() }).is_err());
    }

    /// A reading of 203 A with 2 % covers 200 A; a reading of 250 A without uncertainty is 250 A.
    #[test]
    fn the_current_to_set_covers_the_uncertainty() {
        for (rated, share, expected) in [(250.0, 0.0, 250.0), (200.0, 0.02, 205.0), (200.0, 0.001, 201.0)] {
            let set = current_to_set(rated, |i| i * share);
            assert_eq!(set, expected);
            assert!(set - set * share >= rated);
        }
        assert_eq!(current_to_set(200.0, |_| f64::INFINITY), 200.0);
    }
}
