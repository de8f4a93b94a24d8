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
    /// Thermal conductivity between 20 and 100 °C, W/(m·K): the middle of the values read.
    thermal_conductivity: f64,
    /// Anodic index, V, of the galvanic series in MIL-STD-889 style tables.
    galvanic: f64,
}

impl Material {
    const fn constants(self) -> Constants {
        match self {
            // C11000, 99 % IACS as bars are sold: CDA busbar tables (read). Coefficient and density: IEC 60028 (from memory).
            // Conductivity: 394 at 20 °C, 385 at 100 °C, CDA, Introduction to Copper, table 5 (copper.org, read 2026-11-26); 390 at
            // 0 °C, 380 at 100 °C for tough pitch copper, CRC Handbook, "Thermal conductivity of alloys" (read in a copy).
            Self::Copper => Constants {
                resistivity: IACS / 0.99,
                temperature_coefficient: 0.003_93 * 0.99,
                density: 8890.0,
                specific_heat: 385.0,
                thermal_conductivity: 387.0,
                galvanic: 0.35,
            },
            // 1350, 61 % IACS, 0.00403 /K, 2.70 g/cm³: handbook values for alloy 1350 (from memory). Conductivity: 230 for 1350
            // (makeitfrom.com, read 2026-11-26); 220 for 1100 at 0 and 100 °C, CRC Handbook as for copper.
            Self::Aluminium => Constants {
                resistivity: IACS / 0.61,
                temperature_coefficient: 0.004_03,
                density: 2700.0,
                specific_heat: 897.0,
                thermal_conductivity: 225.0,
                galvanic: 0.90,
            },
            // 28 % IACS, 8.53 g/cm³: C26000 (from memory). Conductivity: 120 for leaded brass at 0 °C, 110 for 68 % copper and 32 %
            // zinc at 100 °C, CRC Handbook as for copper.
            Self::Brass => Constants {
                resistivity: IACS / 0.28,
                temperature_coefficient: 0.001_5,
                density: 8530.0,
                specific_heat: 375.0,
                thermal_conductivity: 115.0,
                galvanic: 0.40,
            },
            // 8.5e-8 Ω·m, 8.9 g/cm³: Nickel 201 (from memory). Conductivity: 59 at 18 °C for 97 % nickel (Jäger and Diesselhorst,
            // nickel.atomistry.com, read 2026-11-26), 90 for pure nickel (biologyinsights.com, read 2026-11-26).
            Self::Nickel => Constants {
                resistivity: 8.5e-8,
                temperature_coefficient: 0.005,
                density: 8890.0,
                specific_heat: 456.0,
                thermal_conductivity: 75.0,
                galvanic: 0.30,
            },
            // 1.43e-7 Ω·m: low-carbon steel AISI 1010; about 7.8 g/cm³ (from memory). The coat is ignored. Conductivity: 47 for 1010
            // (makeitfrom.com, read 2026-11-26), 65 for 1020 at 0 and 100 °C, CRC Handbook as for copper.
            Self::NickelPlatedSteel => Constants {
                resistivity: 1.43e-7,
                temperature_coefficient: 0.004_5,
                density: 7800.0,
                specific_heat: 470.0,
                thermal_conductivity: 56.0,
                galvanic: 0.30,
            },
            // Copper skin and aluminium core in parallel.
            Self::CopperCladAluminium => Constants {
                resistivity: IACS / (CLAD_COPPER + (1.0 - CLAD_COPPER) * 0.61),
                temperature_coefficient: 0.004_0,
                density: CLAD_COPPER * 8890.0 + (1.0 - CLAD_COPPER) * 2700.0,
                specific_heat: 650.0,
                thermal_conductivity: CLAD_COPPER * 387.0 + (1.0 - CLAD_COPPER) * 225.0,
                galvanic: 0.35,
            },
        }
    }

    /// Resistivity at 20 °C.
    pub fn resistivity(self) -> ElectricalResistivity {
        ElectricalResistivity::new::<ohm_meter>(self.constants().resistivity)
    }

    /// Temperature coefficient of resistance at 20 °C, 1/K.
    pub const fn temperature_coefficient(self) -> f64 {
        self.constants().temperature_coefficient
    }

    /// Density.
    pub fn density(self) -> MassDensity {
        MassDensity::new::<kilogram_per_cubic_meter>(self.constants().density)
    }

    /// Specific heat, J/(kg·K) (handbook values, from memory).
    pub const fn specific_heat(self) -> f64 {
        self.constants().specific_heat
    }

    /// Thermal conductivity between 20 and 100 °C, W/(m·K): the middle of the values read, which stand with the constants.
    pub const fn thermal_conductivity(self) -> f64 {
        self.constants().thermal_conductivity
    }

    /// Anodic index in volts (galvanic series, from memory); a difference above 0.15 V corrodes in
    /// harsh, above 0.25 V in normal surroundings.
    pub const fn anodic_index(self) -> f64 {
        self.constants().galvanic
    }
}

impl Finish {
    /// Emissivity of the surface.
    ///
    /// 0.4 for a bar dull from use is the value of the CDA busbar tables (read); the others are usual handbook
    /// values (from memory).
    pub const fn emissivity(self) -> f64 {
        match self {
            Self::Bright | Self::TinPlated | Self::NickelPlated => 0.1,
            Self::Oxidised => 0.4,
            Self::HeavilyOxidised => 0.7,
            Self::Sleeved => 0.9,
        }
    }
}
