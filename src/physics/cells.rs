//! Cell arithmetic: what series and parallel make of a cell, and the limits of its chemistry.

pub(crate) use crate::record::parts::Chemistry;

/// Usual voltages of one cell, V. LFP: common practice, no source; the others likewise.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Voltages {
    pub nominal: f64,
    pub charge: f64,
    pub discharge: f64,
    /// At rest, fully charged: what drives a short circuit.
    pub rest_full: f64,
}

impl Chemistry {
    /// Usual voltages (common practice, no source).
    pub fn voltages(self) -> Voltages {
        let [nominal, charge, discharge, rest_full] = match self {
            Self::Lfp => [3.2, 3.65, 2.5, 3.4],
            Self::Nmc | Self::Nca | Self::Lmo | Self::Lco => [3.65, 4.2, 2.75, 4.15],
            Self::Lto => [2.3, 2.8, 1.5, 2.6],
        };
        Voltages { nominal, charge, discharge, rest_full }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Four LFP cells in series: 12.8 V nominal, 14.6 V charge (common practice, no source).
    #[test]
    fn four_in_series() {
        let voltages = Chemistry::Lfp.voltages();
        assert!((4.0 * voltages.nominal - 12.8).abs() < 1e-12);
        assert!((4.0 * voltages.charge - 14.6).abs() < 1e-12);
    }
}
