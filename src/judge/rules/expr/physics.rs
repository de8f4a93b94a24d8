//! Named physics that expressions may call.

use uom::si::area::square_meter;
use uom::si::electric_current::ampere;
use uom::si::f64::{Area, ElectricCurrent, Length, TemperatureInterval, ThermodynamicTemperature};
use uom::si::length::meter;
use uom::si::temperature_interval::kelvin as kelvin_step;
use uom::si::thermodynamic_temperature::kelvin;

use super::{Function, FunctionKind};
use crate::physics::busbar::{self, Busbar, Orientation};
use crate::physics::material::Material;
use crate::physics::{adiabatic, cable};
use crate::units::Dimension;

const MATERIALS: &[&str] =
    &["copper", "aluminium", "brass", "nickel", "nickel-plated steel", "copper-clad aluminium"];

/// Emissivity used by [`busbar_current`]: a bar dull from use, as in the CDA tables.
const DULL: f64 = 0.4;

/// Physics functions by name.
pub(super) const PHYSICS: &[Function] = &[
    Function {
        name: "busbar_current",
        arguments: "material, width, thickness, ambient, rise",
        about: "continuous current of one flat bar on edge, dull from use",
        example: "busbar_current(\"copper\", 25 mm, 3 mm, 40 degC, 50 K)",
        kind: FunctionKind::Physics {
            words: MATERIALS,
            takes: &[
                Dimension::LENGTH,
                Dimension::LENGTH,
                Dimension::TEMPERATURE,
                Dimension::TEMPERATURE_DIFFERENCE,
            ],
            gives: Dimension::CURRENT,
            function: busbar_current,
        },
    },
    Function {
        name: "cable_ampacity",
        arguments: "size, insulation temperature, ambient",
        about: "continuous current of one copper cable",
        example: "cable_ampacity(35 mm2, 105 degC, 40 degC)",
        kind: FunctionKind::Physics {
            words: &[],
            takes: &[Dimension::AREA, Dimension::TEMPERATURE, Dimension::TEMPERATURE],
            gives: Dimension::CURRENT,
            function: cable_ampacity,
        },
    },
    Function {
        name: "adiabatic_time",
        arguments: "material, cross-section, current",
        about: "time for which a conductor withstands a short-circuit current",
        example: "adiabatic_time(\"copper\", 25 mm2, 2875 A)",
        kind: FunctionKind::Physics {
            words: MATERIALS,
            takes: &[Dimension::AREA, Dimension::CURRENT],
            gives: Dimension::TIME,
            function: adiabatic_time,
        },
    },
];

fn material(words: &[&str]) -> Result<Material, String> {
    words
        .first()
        .and_then(|word| Material::from_word(word))
        .ok_or_else(|| format!("the material is one of: {}", MATERIALS.join(", ")))
}

fn busbar_current(values: &[f64], words: &[&str]) -> Result<f64, String> {
    let [width, thickness, ambient, rise] = *values else {
        return Err("four amounts are needed".to_owned());
    };
    let bar = Busbar {
        material: material(words)?,
        width: Length::new::<meter>(width),
        thickness: Length::new::<meter>(thickness),
        stacked: 1,
        emissivity: DULL,
        orientation: Orientation::OnEdge,
    };
    busbar::current_for_rise(
        &bar,
        ThermodynamicTemperature::new::<kelvin>(ambient),
        TemperatureInterval::new::<kelvin_step>(rise),
    )
    .map(|current| current.get::<ampere>())
    .map_err(|refusal| refusal.to_string())
}

fn cable_ampacity(values: &[f64], _words: &[&str]) -> Result<f64, String> {
    let [size, insulation, ambient] = *values else {
        return Err("three amounts are needed".to_owned());
    };
    cable::ampacity(
        Area::new::<square_meter>(size),
        ThermodynamicTemperature::new::<kelvin>(insulation),
        ThermodynamicTemperature::new::<kelvin>(ambient),
        1,
        1,
    )
    .map(|current| current.get::<ampere>())
    .map_err(|refusal| refusal.to_string())
}

fn adiabatic_time(values: &[f64], words: &[&str]) -> Result<f64, String> {
    let [area, current] = *values else {
        return Err("two amounts are needed".to_owned());
    };
    adiabatic::withstand(
        material(words)?,
        Area::new::<square_meter>(area),
        ElectricCurrent::new::<ampere>(current),
    )
    .map(|time| time.value)
    .map_err(|refusal| refusal.to_string())
}
