//! Dry air at atmospheric pressure.
//!
//! Viscosity and conductivity after Sutherland (White, *Viscous Fluid Flow*, constants from memory), density of
//! an ideal gas, constant specific heat. Good to about 1 % from −50 °C to 200 °C; compared with the `fluids`
//! and `ht` libraries in the tests.

/// Properties of air at one temperature, SI units.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Air {
    /// Kinematic viscosity, m²/s.
    pub viscosity: f64,
    /// Thermal conductivity, W/(m·K).
    pub conductivity: f64,
    /// Prandtl number.
    pub prandtl: f64,
}

/// Sea-level pressure, Pa (ISO 2533).
const PRESSURE: f64 = 101_325.0;
/// Gas constant of dry air, J/(kg·K) (ISO 2533).
const GAS_CONSTANT: f64 = 287.05;
/// Specific heat at constant pressure, J/(kg·K).
const SPECIFIC_HEAT: f64 = 1006.0;

/// Properties at a temperature in kelvin.
#[inline(always)]
pub fn air(kelvin: f64) -> Air {
    let ratio = kelvin / 273.15 * (kelvin / 273.15).sqrt();
    let dynamic = 1.716e-5 * ratio * (273.15 + 110.4) / (kelvin + 110.4);
    let conductivity = 0.024_14 * ratio * (273.15 + 194.0) / (kelvin + 194.0);
    let density = PRESSURE / (GAS_CONSTANT * kelvin);
    Air { viscosity: dynamic / density, conductivity, prandtl: dynamic * SPECIFIC_HEAT / conductivity }
}
