//! Sharing the current out over several loads.
//!
//! A load is limited by its current and by its power, the latter at the highest voltage it will see. Where one load does
//! not take the whole current, each takes a share by what it can take, so that all are loaded alike.

use super::NoPlan;

/// Parallel loads that are proposed at most.
pub const MOST_LOADS: u32 = 64;

/// What a load, or a group of equal loads, takes.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Limits {
    pub power: Option<f64>,
    pub current: Option<f64>,
    /// Equal ones side by side.
    pub count: u32,
    /// Current that is set for all of them together, A.
    pub set: Option<f64>,
}

impl Limits {
    /// The current that one takes at a voltage; `None` where neither limit is known, or only a power and no voltage.
    pub fn takes(&self, voltage: Option<f64>) -> Option<f64> {
        let by_power: Option<f64> = match (self.power, voltage) {
            (Some(power), Some(voltage)) if voltage > 0.0 => Some(power / voltage),
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
    /// All of the group together, A.
    pub current: f64,
    /// One of them, A.
    pub each: f64,
    /// What one of them takes at most, A; `None` where it is not known.
    pub takes: Option<f64>,
}

/// Shares a current out: what is set stays, the rest goes by what each takes.
///
/// The shares add up to the whole whether or not the loads take it; a share above [`Share::takes`] shows that they do not.
/// `None` where a load without a set current has no known limit, unless it is the only one that is open.
pub fn split(whole: f64, voltage: Option<f64>, loads: &[Limits]) -> Option<Vec<Share>> {
    let set: f64 = loads.iter().filter_map(|load| load.set).sum();
    let rest = (whole - set).max(0.0);
    let open: Vec<&Limits> = loads.iter().filter(|load| load.set.is_none()).collect();
    let group = |load: &Limits| load.takes(voltage).map(|i| i * f64::from(load.count.max(1)));
    let together: Option<f64> = open.iter().map(|load| group(load)).sum();
    let shares = loads.iter().map(|load| {
        let current = match load.set {
            Some(set) => set,
            None if open.len() == 1 => rest,
            None => {
                let together = together.filter(|sum| *sum > 0.0)?;
                rest * group(load)? / together
            }
        };
        Some(Share { current, each: current / f64::from(load.count.max(1)), takes: load.takes(voltage) })
    });
    shares.collect()
}

/// How many equal loads a current needs, and what falls to each; `None` where the load's limits are not known.
///
/// # Errors
/// Refuses loads so small that more than [`MOST_LOADS`] would be needed.
pub fn equal_loads(whole: f64, voltage: Option<f64>, one: &Limits) -> Result<Option<(u32, f64)>, NoPlan> {
    let Some(takes) = one.takes(voltage) else { return Ok(None) };
    // A load at exactly its limit counts as one.
    let needed = (whole / takes - 1e-9).ceil().max(1.0);
    if !needed.is_finite() || needed > f64::from(MOST_LOADS) {
        return Err(NoPlan(format!("more than {MOST_LOADS} such loads would be needed in parallel")));
    }
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 1 and 64")]
    Ok(Some((needed as u32, whole / needed)))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn load(power: Option<f64>, current: Option<f64>, set: Option<f64>) -> Limits {
        Limits { power, current, count: 1, set }
    }

    const VOLTAGE: f64 = 13.6;

    fn shares(whole: f64, loads: &[Limits]) -> Option<Vec<f64>> {
        let voltage = Some(VOLTAGE);
        Some(split(whole, voltage, loads)?.iter().map(|s| s.current).collect())
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
        assert!(split(9.0, None, &[load(Some(9.0), None, None), load(Some(9.0), None, None)]).is_none());
        assert_eq!(shares(250.0, &[]).unwrap(), Vec::<f64>::new());
    }
}
