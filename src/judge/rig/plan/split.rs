//! Sharing the current out over several loads.
//!
//! A load is limited by its current and by its power, the latter at the highest voltage it will see. Where one load does
//! not take the whole current, each takes a share by what it can take, so that all are loaded alike.

use uom::si::electric_current::ampere;
use uom::si::electric_potential::volt;
use uom::si::f64::{ElectricCurrent, ElectricPotential, Power};
use uom::si::ratio::ratio;

use super::NoPlan;

/// Parallel loads that are proposed at most.
pub const MOST_LOADS: u32 = 64;

/// What a load, or a group of equal loads, takes.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Limits {
    pub power: Option<Power>,
    pub current: Option<ElectricCurrent>,
    /// Equal ones side by side.
    pub count: u32,
    /// Current that is set for all of them together.
    pub set: Option<ElectricCurrent>,
}

impl Limits {
    /// The current that one takes at a voltage; `None` where neither limit is known, or only a power and no voltage.
    pub fn takes(&self, voltage: Option<ElectricPotential>) -> Option<ElectricCurrent> {
        let by_power: Option<ElectricCurrent> = match (self.power, voltage) {
            (Some(power), Some(voltage)) if voltage.get::<volt>() > 0.0 => Some(power / voltage),
            (Some(_), _) => return None,
            (None, _) => None,
        };
        match (by_power, self.current) {
            (Some(a), Some(b)) => Some(if a < b { a } else { b }),
            (a, b) => a.or(b),
        }
    }
}

/// What falls to a load, or to a group of equal loads.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Share {
    /// All of the group together.
    pub current: ElectricCurrent,
    /// One of them.
    pub each: ElectricCurrent,
    /// What one of them takes at most; `None` where it is not known.
    pub takes: Option<ElectricCurrent>,
}

/// Shares a current out: what is set stays, the rest goes by what each takes.
///
/// The shares add up to the whole whether or not the loads take it; a share above [`Share::takes`] shows that they do not.
/// `None` where a load without a set current has no known limit, unless it is the only one that is open.
pub fn split(
    whole: ElectricCurrent,
    voltage: Option<ElectricPotential>,
    loads: &[Limits],
) -> Option<Vec<Share>> {
    let set: f64 = loads.iter().filter_map(|load| load.set).map(|i| i.get::<ampere>()).sum();
    let rest = (whole.get::<ampere>() - set).max(0.0);
    let open: Vec<&Limits> = loads.iter().filter(|load| load.set.is_none()).collect();
    let group = |load: &Limits| load.takes(voltage).map(|i| i.get::<ampere>() * f64::from(load.count.max(1)));
    let together: Option<f64> = open.iter().map(|load| group(load)).sum();
    let shares = loads.iter().map(|load| {
        let current = match load.set {
            Some(set) => set.get::<ampere>(),
            None if open.len() == 1 => rest,
            None => {
                let together = together.filter(|sum| *sum > 0.0)?;
                rest * group(load)? / together
            }
        };
        let current = ElectricCurrent::new::<ampere>(current);
        Some(Share { current, each: current / f64::from(load.count.max(1)), takes: load.takes(voltage) })
    });
    shares.collect()
}

/// How many equal loads a current needs, and what falls to each; `None` where the load's limits are not known.
///
/// # Errors
/// Refuses loads so small that more than [`MOST_LOADS`] would be needed.
pub fn equal_loads(
    whole: ElectricCurrent,
    voltage: Option<ElectricPotential>,
    one: &Limits,
) -> Result<Option<(u32, ElectricCurrent)>, NoPlan> {
    let Some(takes) = one.takes(voltage) else { return Ok(None) };
    // A load at exactly its limit counts as one.
    let needed = ((whole / takes).get::<ratio>() - 1e-9).ceil().max(1.0);
    if !needed.is_finite() || needed > f64::from(MOST_LOADS) {
        return Err(NoPlan(format!("more than {MOST_LOADS} such loads would be needed in parallel")));
    }
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 1 and 64")]
    Ok(Some((needed as u32, whole / needed)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use uom::si::power::watt;

    fn amps(value: f64) -> ElectricCurrent {
        ElectricCurrent::new::<ampere>(value)
    }

    fn load(power: Option<f64>, current: Option<f64>, set: Option<f64>) -> Limits {
        Limits {
            power: power.map(Power::new::<watt>),
            current: current.map(amps),
            count: 1,
            set: set.map(amps),
        }
    }

    const VOLTAGE: f64 = 13.6;

    fn shares(whole: f64, loads: &[Limits]) -> Option<Vec<f64>> {
        let voltage = Some(ElectricPotential::new::<volt>(VOLTAGE));
        Some(split(amps(whole), voltage, loads)?.iter().map(|s| s.current.get::<ampere>()).collect())
    }

    /// Branch readings of 77 A and 174 A add to 251 A (common practice, no source).
    #[test]
    fn what_is_set_stays() {
        let both = [load(None, None, Some(77.0)), load(None, None, Some(174.0))];
        let found = shares(251.0, &both).unwrap();
        assert_eq!(found, [77.0, 174.0]);
        assert_eq!(found.iter().sum::<f64>(), 251.0);
        // The rest goes to the one that is open, whether its limits are known or not.
        assert_eq!(shares(251.0, &[both[0], load(None, None, None)]).unwrap(), [77.0, 174.0]);
    }

    #[test]
    fn the_rest_goes_by_what_each_takes() {
        let cases = [
            // 1360 W and 2720 W at 13.6 V are 100 A and 200 A.
            (
                vec![load(Some(1360.0), None, None), load(Some(2720.0), None, None)],
                vec![83.333_333, 166.666_667],
            ),
            // The smaller of power and current counts.
            (vec![load(Some(1360.0), Some(50.0), None), load(None, Some(200.0), None)], vec![50.0, 200.0]),
            (vec![load(None, Some(100.0), None), load(None, Some(100.0), Some(50.0))], vec![200.0, 50.0]),
        ];
        for (loads, expected) in cases {
            let found = shares(250.0, &loads).unwrap();
            assert!((found.iter().sum::<f64>() - 250.0).abs() < 1e-9);
            for (found, expected) in found.iter().zip(expected) {
                assert!((found - expected).abs() < 1e-5, "{found} {expected}");
            }
        }
        assert!(shares(250.0, &[load(None, Some(9.0), None), load(None, None, None)]).is_none());
        assert!(
            split(amps(9.0), None, &[load(Some(9.0), None, None), load(Some(9.0), None, None)]).is_none()
        );
        assert_eq!(shares(250.0, &[]).unwrap(), Vec::<f64>::new());
    }

    /// 13.6 V · 92 A = 1251 W: one load of 1500 W. 13.6 V · 250 A = 3400 W: three.
    #[test]
    fn equal_loads_side_by_side() {
        let voltage = Some(ElectricPotential::new::<volt>(VOLTAGE));
        let one = load(Some(1500.0), None, None);
        for (whole, needed) in [(92.0, 1), (250.0, 3), (1500.0 / VOLTAGE, 1)] {
            let (number, each) = equal_loads(amps(whole), voltage, &one).unwrap().unwrap();
            assert_eq!(number, needed);
            assert!((each.get::<ampere>() * f64::from(number) - whole).abs() < 1e-9);
        }
        assert_eq!(equal_loads(amps(9.0), voltage, &load(None, None, None)).unwrap(), None);
        assert!(equal_loads(amps(250.0), voltage, &load(Some(1.0), None, None)).is_err());
        assert!(equal_loads(amps(250.0), voltage, &load(Some(0.0), None, None)).is_err());
    }
}
