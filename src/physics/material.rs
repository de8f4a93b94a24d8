//! Conductor materials and surfaces: each constant once, with its source.

use uom::si::electrical_resistivity::ohm_meter;
use uom::si::f64::{ElectricalResistivity, MassDensity};
use uom::si::mass_density::kilogram_per_cubic_meter;

pub use crate::record::parts::{Finish, Material};

/// Resistivity of annealed copper at 20 °C, 100 % IACS (IEC 60028; from memory), Ω·m.
const IACS: f64 = 1.724_1e-8;
/// Copper share of the cross-section of copper-clad aluminium, the common 15 % grade (ASTM B566 class
/// 15; from memory).
const CLAD_COPPER: f64 = 0.15;

struct Constants {
    resistivity: f64,
    temperature_coefficient: f64,
    density: f64,
    specific_heat: f64,
    /// Anodic index, V, of the galvanic series in MIL-STD-889 style tables.
    galvanic: f64,
}

impl Material {
    const fn constants(self) -> Constants {
        match self {
            // C11000, 99 % IACS as bars are sold: CDA busbar tables (read). Coefficient and density: IEC 60028 (from memory).
            Self::Copper => Constants {
                resistivity: IACS / 0.99,
                temperature_coefficient: 0.003_93 * 0.99,
                density: 8890.0,
                specific_heat: 385.0,
                galvanic: 0.35,
            },
            // 1350, 61 % IACS, 0.00403 /K, 2.70 g/cm³: handbook values for alloy 1350 (from memory).
            Self::Aluminium => Constants {
                resistivity: IACS / 0.61,
                temperature_coefficient: 0.004_03,
                density: 2700.0,
                specific_heat: 897.0,
                galvanic: 0.90,
            },
            // 28 % IACS, 8.53 g/cm³: C26000 (from memory).
            Self::Brass => Constants {
                resistivity: IACS / 0.28,
                temperature_coefficient: 0.001_5,
                density: 8530.0,
                specific_heat: 375.0,
                galvanic: 0.40,
            },
            // 8.5e-8 Ω·m, 8.9 g/cm³: Nickel 201 (from memory).
            Self::Nickel => Constants {
                resistivity: 8.5e-8,
                temperature_coefficient: 0.005,
                density: 8890.0,
                specific_heat: 456.0,
                galvanic: 0.30,
            },
            // 1.43e-7 Ω·m: low-carbon steel AISI 1010; about 7.8 g/cm³ (from memory). The coat is ignored.
            Self::NickelPlatedSteel => Constants {
                resistivity: 1.43e-7,
                temperature_coefficient: 0.004_5,
                density: 7800.0,
                specific_heat: 470.0,
                galvanic: 0.30,
            },
            // Copper skin and aluminium core in parallel.
            Self::CopperCladAluminium => Constants {
                resistivity: IACS / (CLAD_COPPER + (1.0 - CLAD_COPPER) * 0.61),
                temperature_coefficient: 0.004_0,
                density: CLAD_COPPER * 8890.0 + (1.0 - CLAD_COPPER) * 2700.0,
                specific_heat: 650.0,
                galvanic: 0.35,
            },
        }
    }

    /// Resistivity at 20 °C.
    #[must_use]
    pub fn resistivity(self) -> ElectricalResistivity {
        ElectricalResistivity::new::<ohm_meter>(self.constants().resistivity)
    }

    /// Temperature coefficient of resistance at 20 °C, 1/K.
    #[must_use]
    pub const fn temperature_coefficient(self) -> f64 {
        self.constants().temperature_coefficient
    }

    /// Density.
    #[must_use]
    pub fn density(self) -> MassDensity {
        MassDensity::new::<kilogram_per_cubic_meter>(self.constants().density)
    }

    /// Specific heat, J/(kg·K) (handbook values, from memory).
    #[must_use]
    pub const fn specific_heat(self) -> f64 {
        self.constants().specific_heat
    }

    /// Thermal conductivity near room temperature, W/(m·K), after Wiedemann and Franz: the Lorenz number 2.443e-8 W·Ω/K²
    /// times 293 K over the resistivity, less 5 % for what real metals stay below it.
    #[must_use]
    pub const fn thermal_conductivity(self) -> f64 {
        0.95 * 2.443e-8 * 293.15 / self.constants().resistivity
    }

    /// Anodic index in volts (galvanic series, from memory); a difference above 0.15 V corrodes in
    /// harsh, above 0.25 V in normal surroundings.
    #[must_use]
    pub const fn anodic_index(self) -> f64 {
        self.constants().galvanic
    }

    /// Whether a magnet sticks to it.
    #[must_use]
    pub const fn magnetic(self) -> bool {
        matches!(self, Self::Nickel | Self::NickelPlatedSteel)
    }
}

impl Finish {
    /// Emissivity of the surface.
    ///
    /// 0.4 for a bar dull from use is the value of the CDA busbar tables (read); the others are usual handbook
    /// values (from memory).
    #[must_use]
    pub const fn emissivity(self) -> f64 {
        match self {
            Self::Bright | Self::TinPlated | Self::NickelPlated => 0.1,
            Self::Oxidised => 0.4,
            Self::HeavilyOxidised => 0.7,
            Self::Sleeved => 0.9,
        }
    }
}
