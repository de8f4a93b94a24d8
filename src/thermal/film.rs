//! Natural convection of air at bars and cases, and radiation: the film coefficients every heat balance shares.
//!
//! Upright faces after Churchill and Chu (1975), the form for all Rayleigh numbers; level faces after Incropera and
//! DeWitt, eqs. 9.30 and 9.32, averaged over the top and the bottom. Plain SI numbers: callers check the ranges.

use super::air::air;

/// Stefan-Boltzmann constant, W/(m²·K⁴) (CODATA 2018; exact).
pub const STEFAN_BOLTZMANN: f64 = 5.670_374_419e-8;
/// Standard gravity, m/s² (exact).
const GRAVITY: f64 = 9.806_65;

/// Rayleigh number over the cube of the length, 1/m³, with the conductivity and the Prandtl number of the film.
#[inline(always)]
fn buoyancy(surface: f64, surroundings: f64) -> (f64, f64, f64) {
    let mean = 0.5 * (surface + surroundings);
    let air = air(mean);
    let drive = (surface - surroundings).abs();
    (GRAVITY * drive * air.prandtl / (mean * air.viscosity * air.viscosity), air.conductivity, air.prandtl)
}

/// Film coefficient of an upright face, W/(m²·K), and the power of the temperature difference with which it grows; height
/// in m, temperatures in K.
#[inline(always)]
pub fn upright(height: f64, surface: f64, surroundings: f64) -> (f64, f64) {
    let (buoyancy, conductivity, prandtl) = buoyancy(surface, surroundings);
    // The powers 9/16 and 8/27 by roots, which are quicker.
    let shape = 1.0 + (0.492 / prandtl).sqrt().sqrt().sqrt().sqrt().powi(9);
    let shape = shape.cbrt().cbrt().cbrt().powi(8);
    let sixth_root = (buoyancy * height.powi(3)).sqrt().cbrt();
    let moved = 0.387 * sixth_root / shape;
    ((0.825 + moved).powi(2) * conductivity / height, moved / (0.825 + moved) / 3.0)
}

/// Film coefficient of a level strip, mean of top and bottom, W/(m²·K), and the power of the temperature difference with
/// which it grows; width in m, temperatures in K.
#[inline(always)]
pub fn level(width: f64, surface: f64, surroundings: f64) -> (f64, f64) {
    let (buoyancy, conductivity, _) = buoyancy(surface, surroundings);
    // Characteristic length of a long strip: area over perimeter.
    let length = 0.5 * width;
    let fourth_root = (buoyancy * length.powi(3)).sqrt().sqrt();
    (0.5 * (0.54 + 0.27) * fourth_root * conductivity / length, 0.25)
}
