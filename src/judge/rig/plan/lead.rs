//! The smallest standard lead for a current, and the fuse that goes with it.
//!
//! A lead has to carry the current, and it has to carry the rating of the fuse that protects it: between its ampacity
//! and the fuse's rating the lead would be the fuse. Only sizes of the ampacity table are proposed.

use uom::si::area::square_millimeter;
use uom::si::f64::{Area, ElectricCurrent, ThermodynamicTemperature};

use crate::physics::cable::{self, CableRating, awg_area, awg_name};

/// Nominal cross-sections of conductors, mm² (IEC 60228, table 3, from memory).
pub const METRIC_SIZES: [f64; 12] = [1.0, 1.5, 2.5, 4.0, 6.0, 10.0, 16.0, 25.0, 35.0, 50.0, 70.0, 95.0];
/// Gauge numbers of the ampacity table, thinnest first; 4/0 is −3.
pub const AWG_NUMBERS: [i32; 15] = [18, 16, 14, 12, 10, 8, 6, 4, 3, 2, 1, 0, -1, -2, -3];
/// Usual fuse ratings, A (NEC 240.6(A), from memory).
const FUSES: [f64; 32] = [
    15.0, 20.0, 25.0, 30.0, 35.0, 40.0, 45.0, 50.0, 60.0, 70.0, 80.0, 90.0, 100.0, 110.0, 125.0, 150.0,
    175.0, 200.0, 225.0, 250.0, 300.0, 350.0, 400.0, 450.0, 500.0, 600.0, 700.0, 800.0, 1000.0, 1200.0,
    1600.0, 2000.0,
];
/// Leads side by side that are proposed at most for one leg.
const MOST_PARALLEL: u32 = 4;

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LeadNeed {
    pub current: ElectricCurrent,
    pub insulation: ThermodynamicTemperature,
    /// Air around it.
    pub ambient: ThermodynamicTemperature,
    /// Current-carrying conductors that lie together for each lead of a leg: 2 when both legs run side by side.
    pub together: u32,
}

/// A size that carries it.
#[derive(Debug, Clone, PartialEq)]
pub struct SizedLead {
    /// The size as the trade writes it, `35 mm²` or `2 AWG`.
    pub name: String,
    /// Cross-section of one lead.
    pub size: Area,
    /// The ampacity and its pieces; its `parallel` counts the leads of one leg.
    pub worked: CableRating,
}

/// The smallest metric and the smallest gauge size, each with as few leads in parallel as will do; `None` where even four
/// of the largest do not carry the current, or the surroundings are too hot for the insulation.
pub fn smallest_lead(need: &LeadNeed) -> [Option<SizedLead>; 2] {
    let metric = METRIC_SIZES.iter().map(|mm2| (format!("{mm2} mm²"), Area::new::<square_millimeter>(*mm2)));
    let gauge = AWG_NUMBERS.iter().map(|number| (awg_name(*number), awg_area(*number)));
    [smallest(need, &metric.collect::<Vec<_>>()), smallest(need, &gauge.collect::<Vec<_>>())]
}

fn smallest(need: &LeadNeed, sizes: &[(String, Area)]) -> Option<SizedLead> {
    (1..=MOST_PARALLEL).find_map(|parallel| {
        sizes.iter().find_map(|(name, size)| {
            let bundled = need.together.saturating_mul(parallel);
            let worked = cable::worked(*size, need.insulation, need.ambient, parallel, bundled).ok()?;
            (worked.total >= need.current).then(|| SizedLead { name: name.clone(), size: *size, worked })
        })
    })
}

/// The smallest usual fuse rating that is not below a current, A; `None` beyond the largest.
pub fn next_fuse(current: f64) -> Option<f64> {
    FUSES.iter().copied().find(|rating| *rating >= current * (1.0 - 1e-9))
}

#[cfg(test)]
mod tests {
    use uom::si::electric_current::ampere;

    use super::*;
    use uom::si::thermodynamic_temperature::degree_celsius;

    fn need(current: f64, insulation: f64, ambient: f64, together: u32) -> LeadNeed {
        LeadNeed {
            current: ElectricCurrent::new::<ampere>(current),
            insulation: ThermodynamicTemperature::new::<degree_celsius>(insulation),
            ambient: ThermodynamicTemperature::new::<degree_celsius>(ambient),
            together,
        }
    }

    fn sizes(need: &LeadNeed) -> [Option<(String, u32)>; 2] {
        smallest_lead(need).map(|lead| lead.map(|lead| (lead.name, lead.worked.parallel)))
    }

    /// 33 CFR 183.425, table 5 (read), 105 °C at 30 °C: 8 AWG carries 80 A, 4 AWG 160 A, 2 AWG 210 A, 1/0 285 A,
    /// 4/0 445 A. The next smaller size of the table does not.
    #[test]
    fn rows_of_the_regulation() {
        for (amperes, gauge) in [
            (60.0, "10 AWG"),
            (80.0, "8 AWG"),
            (80.1, "6 AWG"),
            (160.0, "4 AWG"),
            (181.0, "2 AWG"),
            (210.0, "2 AWG"),
            (285.0, "1/0 AWG"),
            (445.0, "4/0 AWG"),
        ] {
            let [_, found] = sizes(&need(amperes, 105.0, 30.0, 1));
            assert_eq!(found, Some((gauge.to_owned(), 1)), "{amperes} A");
        }
        for (amperes, metric) in [(210.0, "35 mm²"), (285.0, "70 mm²"), (20.0, "1 mm²")] {
            let [found, _] = sizes(&need(amperes, 105.0, 30.0, 1));
            assert_eq!(found, Some((metric.to_owned(), 1)), "{amperes} A");
        }
    }

    /// The note of the regulation: 0.85 at 50 °C for 105 °C insulation (read), 0.7 for three conductors (from memory).
    #[test]
    fn surroundings_take_from_it() {
        assert_eq!(sizes(&need(210.0 * 0.85, 105.0, 50.0, 1))[1], Some(("2 AWG".to_owned(), 1)));
        assert_eq!(sizes(&need(210.0 * 0.86, 105.0, 50.0, 1))[1], Some(("1 AWG".to_owned(), 1)));
        assert_eq!(sizes(&need(210.0 * 0.7, 105.0, 30.0, 3))[1], Some(("2 AWG".to_owned(), 1)));
        assert_eq!(sizes(&need(50.0, 60.0, 58.0, 1)), [None, None], "too hot for the insulation");
    }

    #[test]
    fn beyond_one_lead_there_are_several() {
        let [metric, gauge] = sizes(&need(700.0, 105.0, 30.0, 2));
        assert!(metric.is_some_and(|(_, parallel)| parallel > 1));
        assert!(gauge.is_some_and(|(_, parallel)| parallel > 1));
        assert_eq!(sizes(&need(5000.0, 105.0, 30.0, 2)), [None, None]);
        assert_eq!(sizes(&need(f64::NAN, 105.0, 30.0, 2)), [None, None]);
    }

    #[test]
    fn fuses_go_up_to_the_next_rating() {
        let next = |i: f64| next_fuse(i);
        for (current, rating) in
            [(250.0, Some(250.0)), (251.0, Some(300.0)), (1.0, Some(15.0)), (3000.0, None)]
        {
            assert_eq!(next(current), rating);
        }
        assert_eq!(next(f64::NAN), None);
    }
}
