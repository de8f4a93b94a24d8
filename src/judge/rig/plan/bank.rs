//! A bank of resistors as a load: which resistance a current needs while the pack's voltage falls.
//!
//! A resistor sets no current. What a bank draws falls with the voltage, so that the resistance has to come down from
//! the full pack to the cut-off for a current to be held. The pack's voltage at rest when full is taken for the start: under
//! load it is lower, so the resistance that is needed then lies inside the range.

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bank {
    /// Resistance at the start, between the ends of its leads, Ω.
    pub full: f64,
    /// Resistance at the cut-off, between the ends of its leads, Ω.
    pub cutoff: f64,
    /// Power that the current takes at the start, leads included, W.
    pub power_full: f64,
    /// Power that the current takes at the cut-off, leads included, W.
    pub power_cutoff: f64,
    /// Current at the cut-off when the resistance of the start is left as it is, A.
    pub left_alone: f64,
}

/// The bank for a current in a voltage window, with leads of a known resistance to it and back.
///
/// `None` where the window is none, or where the leads alone have more resistance than the current allows.
pub fn bank(current: f64, full: f64, cutoff: f64, leads: f64) -> Option<Bank> {
    let at = |voltage: f64| -> Option<f64> {
        let resistance = voltage / current - leads;
        (resistance > 0.0 && resistance.is_finite()).then_some(resistance)
    };
    let share = cutoff / full;
    if !(share > 0.0 && share <= 1.0) {
        return None;
    }
    Some(Bank {
        full: at(full)?,
        cutoff: at(cutoff)?,
        power_full: full * current,
        power_cutoff: cutoff * current,
        left_alone: current * share,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_bank() {
        for (amperes, full, cutoff, leads) in [
            (100.0, 13.6, 10.0, 0.1),
            (0.0, 13.6, 10.0, 0.0),
            (100.0, 10.0, 13.6, 0.0),
            (100.0, 13.6, 0.0, 0.0),
            (f64::NAN, 13.6, 10.0, 0.0),
            (f64::INFINITY, 13.6, 10.0, 0.0),
        ] {
            assert_eq!(bank(amperes, full, cutoff, leads), None);
        }
    }
}
